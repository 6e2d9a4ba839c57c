package main

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/season"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/strip"
)

// seasonCmd replays past mornings, each by what was known then, through the
// decision of the service.
type seasonCmd struct {
	CSV      string     `help:"A daily record: date,flow_m3s,water_c,air_c. No database." type:"existingfile" name:"csv"`
	Lat      float64    `help:"Latitude of the record, degrees north."`
	Lon      float64    `help:"Longitude of the record, degrees east: sets the local hours."`
	Reach    string     `help:"With --csv a TOML file with one [[reach]] table; without it a reach of the database."`
	From     string     `required:"" help:"First morning, YYYY-MM-DD." placeholder:"DATE"`
	To       string     `required:"" help:"Last morning." placeholder:"DATE"`
	Years    string     `help:"The same season in each of these years, 2009-2014; with --json a list." placeholder:"A-B"`
	SendAt   string     `help:"Hour of the mail, local; with --csv only." default:"04:45"`
	Air      season.Air `help:"climatology (no air forecast) or observed (the air as it came: an upper bound)." default:"climatology" enum:"climatology,observed"`
	LeaveOut bool       `help:"Rank each morning among those of all other years, later ones too; else of the years before."`
	Days     bool       `help:"Print a line for each morning."`
	JSON     bool       `name:"json" help:"Print JSON."`
	HTML     string     `help:"Write the season as a page to this file." type:"path"`
	Compare  string     `help:"List the mornings whose word differs from an earlier --json." type:"existingfile"`
	Trips    string     `help:"A trip log as import --trips takes it: what the words were worth." type:"existingfile" xor:"outcomes"`
	Counts   string     `help:"A fish counter, date,count: likewise." type:"existingfile" xor:"outcomes"`
	Units    string     `help:"us or metric." default:"us" enum:"us,metric"`
	Quiet    bool       `help:"No progress on stderr."`
}

// Run replays one reach; progress goes to stderr.
func (c *seasonCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	spans, err := c.spans()
	if err != nil {
		return err
	}
	src, rec, done, err := c.source(ctx, s, g)
	if err != nil {
		return err
	}
	defer done()
	came, judged, err := c.outcomes(rec.Reach)
	if err != nil {
		return err
	}

	report := s.Err
	if c.Quiet {
		report = io.Discard
	}
	seasons, err := morning.ReplaySeasons(ctx, src, spans, report, c.keptAt())
	if ctx.Err() != nil {
		return env.ExitCode{Code: 1, Text: "cancelled; today the same command goes on from here"}
	}
	if err != nil {
		return env.ExitCode{Code: 1, Text: env.OneLine(err.Error())}
	}

	if judged {
		for i := range seasons {
			v := season.ValueOf(seasons[i:i+1], came, rec.Cost)
			seasons[i].Value = &v
		}
	}

	if c.HTML != "" {
		var page bytes.Buffer
		if err := strip.HTML(&page, seasons[0], strip.Units(c.Units)); err != nil {
			return err
		}
		if err := os.WriteFile(c.HTML, page.Bytes(), 0o644); err != nil {
			return env.ExitCode{Code: 2, Text: err.Error()}
		}
	}

	if err := c.print(s.Out, seasons); err != nil || !judged || len(seasons) == 1 || c.JSON {
		return err
	}
	fmt.Fprintln(s.Out, "\nall seasons together")
	return strip.Value(s.Out, season.ValueOf(seasons, came, rec.Cost))
}

// keptAt is where a cancelled run of the same mornings left how far it came: by
// what was asked, the files read, this program and the day. "" = nowhere.
func (c *seasonCmd) keptAt() string {
	cache, err := os.UserCacheDir()
	if err != nil {
		return ""
	}
	h := sha256.New()
	program, _ := os.Executable()
	fmt.Fprintf(h, "%v|%v|%v|%v|%v|%v|%v|%v|%v|%v|%s", c.CSV, c.Lat, c.Lon, c.Reach, c.From, c.To, c.Years, c.SendAt,
		c.Air, c.LeaveOut, time.Now().Format(time.DateOnly))
	for _, path := range []string{c.CSV, c.Reach, program} {
		if st, err := os.Stat(path); err == nil {
			fmt.Fprintf(h, "|%d|%s", st.Size(), st.ModTime())
		}
	}
	return filepath.Join(cache, "coldseam", fmt.Sprintf("season-%x.json", h.Sum(nil)[:8]))
}

func (c *seasonCmd) print(w io.Writer, seasons []coldseam.Replay) error {
	switch {
	case c.Compare != "":
		raw, err := os.ReadFile(c.Compare)
		if err != nil {
			return env.ExitCode{Code: 2, Text: err.Error()}
		}
		var before coldseam.Replay
		if err := json.Unmarshal(raw, &before); err != nil || len(before.Cells) == 0 {
			return env.ExitCode{Code: 2, Text: fmt.Sprintf("%s: want what `coldseam season --json` wrote",
				filepath.Base(c.Compare))}
		}
		return strip.Compare(w, before, seasons[0])
	case c.JSON:
		enc := json.NewEncoder(w)
		enc.SetIndent("", " ")
		if c.Years != "" {
			return enc.Encode(seasons)
		}
		return enc.Encode(seasons[0])
	}

	return strip.Text(w, seasons, strip.Units(c.Units), c.Days)
}

// maxSeasonDays bounds a replay: a mistyped year must not run for a week.
const maxSeasonDays = 366 * 40

// spans are the first and last morning of each season asked for.
func (c *seasonCmd) spans() ([][2]coldseam.Date, error) {
	bad := func(format string, args ...any) ([][2]coldseam.Date, error) {
		return nil, env.ExitCode{Code: 2, Text: fmt.Sprintf(format, args...)}
	}
	var from, to coldseam.Date
	for _, x := range []struct {
		flag, text string
		into       *coldseam.Date
	}{{"--from", c.From, &from}, {"--to", c.To, &to}} {
		var err error
		if *x.into, err = coldseam.ParseDate(x.text); err != nil {
			return bad("%s %q: want a day as YYYY-MM-DD", x.flag, x.text)
		}
	}

	if n := to.Sub(from); n < 0 || n > maxSeasonDays {
		return bad("--from %s --to %s: want the first day first and at most 40 years", from, to)
	}
	if c.Years == "" {
		return [][2]coldseam.Date{{from, to}}, nil
	}

	var first, last int
	if n, _ := fmt.Sscanf(c.Years, "%d-%d", &first, &last); n != 2 || first > last || last-first > 40 ||
		to.Sub(from) > 366 {
		return bad("--years %q: want the first and the last, such as 2009-2014, at most 40, of a season within a year",
			c.Years)
	}
	if c.HTML != "" || c.Compare != "" {
		return bad("--html and --compare take one season, without --years")
	}
	var out [][2]coldseam.Date
	for y := first; y <= last; y++ {
		a, b := from, to
		a.Year, b.Year = y, y+to.Year-from.Year
		out = append(out, [2]coldseam.Date{a.Add(0), b.Add(0)}) // 29 February of other years is 1 March
	}

	return out, nil
}

// source is the file, or the database.
func (c *seasonCmd) source(ctx context.Context, s *env.Streams, g *env.Globals) (
	season.Source, *season.Record, func(), error) {
	if c.CSV != "" {
		r, err := c.record()
		if err != nil {
			return nil, nil, nil, err
		}
		r.LeaveOut = c.LeaveOut
		return r, r, func() {}, nil
	}

	if c.Reach == "" {
		return nil, nil, nil, env.ExitCode{Code: 2, Text: "want either --csv FILE --lat N --lon E or --reach ID"}
	}
	cfg, err := config.Load(g.Config)
	if err != nil {
		return nil, nil, nil, env.ExitCode{Code: 2, Text: err.Error()}
	}

	a, err := parts.Open(ctx, cfg, env.Options{Log: env.NewLogger(s.Err, slog.LevelWarn)})
	if err != nil {
		return nil, nil, nil, err
	}
	r, err := a.Env.DB.Reach(ctx, coldseam.ReachID(c.Reach))
	if err != nil {
		defer a.Close()
		return nil, nil, nil, env.NoReach(ctx, a.Env.DB, err)
	}

	src, err := morning.NewPastMornings(ctx, a.Morning, r, c.Air)
	if err != nil {
		a.Close()
		return nil, nil, nil, env.NoReach(ctx, a.Env.DB, err)
	}

	src.Record.LeaveOut = c.LeaveOut
	return src, &src.Record, a.Close, nil
}

// record is a daily file as the source of a replay.
func (c *seasonCmd) record() (*season.Record, error) {
	if c.Lat == 0 && c.Lon == 0 || !(c.Lat >= -75 && c.Lat <= 75) || !(c.Lon >= -180 && c.Lon <= 180) {
		return nil, env.ExitCode{Code: 2,
			Text: fmt.Sprintf("--lat %g --lon %g: want the place of the record, -75 to 75 and -180 to 180 degrees",
				c.Lat, c.Lon)}
	}
	hour, minute, err := notify.ParseClock(c.SendAt)
	if err != nil {
		return nil, env.ExitCode{Code: 2, Text: err.Error()}
	}

	days, err := readDaily(c.CSV, c.Lat)
	if err != nil {
		return nil, err
	}

	name := strings.TrimSuffix(filepath.Base(c.CSV), ".csv")
	out := &season.Record{
		Reach:  season.BareReach(name, c.Lat, c.Lon),
		Bare:   true,
		Alone:  true,
		Days:   days,
		Loc:    season.SolarZone(c.Lon),
		Air:    c.Air,
		SendAt: time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute,
		Table:  verdict.DefaultTable(),
		Cost:   coldseam.DefaultCost,
	}
	if c.Reach != "" {
		if out.Reach, err = reachFile(c.Reach, c.Lat, c.Lon); err != nil {
			return nil, err
		}
		out.Bare, out.Loc = false, env.Zone(out.Reach.Zone)
	}

	out.Species, err = run.FindSpecies(run.DefaultSpecies(), morning.First(out.Reach.Species))
	if err != nil {
		return nil, env.ExitCode{Code: 2, Text: err.Error()}
	}

	return out, nil
}

// reachFile reads the one [[reach]] table of a file; a place that it does not
// name is that of the record.
func reachFile(path string, lat, lon float64) (coldseam.Reach, error) {
	var f struct {
		Reaches []config.Reach `toml:"reach"`
	}
	if _, err := toml.DecodeFile(path, &f); err != nil {
		return coldseam.Reach{}, env.ExitCode{Code: 2, Text: env.OneLine(err.Error())}
	}
	if len(f.Reaches) != 1 {
		return coldseam.Reach{}, env.ExitCode{Code: 2, Text: fmt.Sprintf("%s: %d [[reach]] tables, want one",
			filepath.Base(path), len(f.Reaches))}
	}
	c := f.Reaches[0]
	c.Lat, c.Lon = cmp.Or(c.Lat, lat), cmp.Or(c.Lon, lon)
	r, err := c.Build(config.Config{})
	if err != nil {
		return r, env.ExitCode{Code: 2, Text: fmt.Sprintf("%s: %v", filepath.Base(path), err)}
	}
	return r, nil
}
