package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/forecast/hindcast"
	"example.org/coldseam/ingest/table"
	"example.org/coldseam/notify/chart"
)

// hindcastCmd replays past issues with models that never saw what came after,
// and scores them beside the references every forecast must beat.
type hindcastCmd struct {
	CSV       string   `help:"A daily record: date,flow_m3s,water_c,air_c. No database." type:"existingfile" name:"csv"`
	Site      string   `help:"A stored gauge, instead of --csv."`
	Quantity  string   `help:"temperature or flow." default:"temperature" enum:"temperature,flow"`
	Air       string   `help:"perfect (observed air ahead: an upper bound), climatology (no air forecast) or archived." default:"climatology" enum:"perfect,climatology,archived"`
	Pool      []string `help:"Records of similar gauges, for short ones." type:"existingfile"`
	Upstream  []string `help:"Records of upstream gauges, nearest first; flow only." type:"existingfile"`
	Symbols   string   `help:"Table date,symbol: days with B or E are under ice or estimated and not fitted on." type:"existingfile"`
	Folds     int      `help:"Leave-years-out folds; 0 = 5."`
	Expanding bool     `help:"Use earlier years only: the figure to publish for a river in service."`
	Seed      uint64   `default:"20240501" help:"Of the draws."`
	Lat       float64  `help:"Latitude, degrees north." default:"45"`
	JSON      bool     `name:"json" help:"Print JSON."`
	Members   string   `help:"Write every scored issue with its members to this CSV file; in a folder to members.csv." type:"path"`
	Plot      string   `help:"Write reliability, PIT, skill and sample charts as PNG into this folder." type:"path"`
	Issued    bool     `help:"Score the forecasts that were really issued, from the database."`
	NoDates   bool     `help:"Leave crossing dates out: faster."`
}

// Run scores one record; progress goes to stderr.
func (c *hindcastCmd) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	if c.Issued {
		return c.issued(ctx, s, g)
	}
	d, name, err := c.record(ctx, s, g)
	if err != nil {
		return err
	}

	o := hindcast.Options{
		Site:      name,
		Quantity:  hindcast.Quantity(c.Quantity),
		Air:       hindcast.Air(c.Air),
		Folds:     c.Folds,
		Expanding: c.Expanding,
		Seed:      c.Seed,
		NoDates:   c.NoDates,
		Progress:  func(done, total int) { fmt.Fprintf(s.Err, "fold %d of %d\n", done, total) },
	}
	for _, f := range []struct {
		files []string
		into  *[]coldseam.Days
	}{{c.Pool, &o.Pool}, {c.Upstream, &o.Upstream}} {
		for _, p := range f.files {
			x, err := readDaily(p, c.Lat)
			if err != nil {
				return err
			}
			*f.into = append(*f.into, x)
		}
	}

	samples, done, err := c.members(&o, d)
	if err != nil {
		return err
	}
	r, err := hindcast.Run(d, o)
	if err != nil {
		return env.Fail(1, err.Error())
	}

	if err := done(); err != nil {
		return err
	}
	if c.Plot != "" {
		if err := c.plots(r, *samples, d); err != nil {
			return err
		}
	}

	if c.JSON {
		enc := json.NewEncoder(s.Out)
		enc.SetIndent("", " ")
		return enc.Encode(r)
	}
	printReport(s.Out, r)
	return nil
}

func readDaily(path string, lat float64) (coldseam.Days, error) {
	f, err := os.Open(path)
	if err != nil {
		return coldseam.Days{}, env.Fail(2, err.Error())
	}
	defer f.Close()
	d, err := table.Daily(f, lat)
	if err != nil {
		return d, env.Fail(1, env.OneLine(fmt.Sprintf("%s: %v", filepath.Base(path), err)))
	}
	return d, nil
}

// record reads the file, or the stored gauge.
func (c *hindcastCmd) record(ctx context.Context, s *env.Streams, g *env.Globals) (coldseam.Days, string, error) {
	if (c.CSV == "") == (c.Site == "") {
		return coldseam.Days{}, "", env.Fail(2, "want either --csv FILE or --site ID")
	}

	if c.CSV != "" {
		d, err := readDaily(c.CSV, c.Lat)
		if err == nil && c.Symbols != "" {
			f, e := os.Open(c.Symbols)
			if e != nil {
				return d, "", env.Fail(2, e.Error())
			}
			defer f.Close()
			err = table.Soften(&d, f, "B", "E")
		}
		return d, strings.TrimSuffix(filepath.Base(c.CSV), ".csv"), err
	}

	cfg, err := config.Load(g.Config)
	if err != nil {
		return coldseam.Days{}, "", env.Fail(2, err.Error())
	}
	a, err := parts.Open(ctx, cfg, env.Options{Log: env.NewLogger(s.Err, slog.LevelWarn)})
	if err != nil {
		return coldseam.Days{}, "", err
	}
	defer a.Close()

	site, err := a.Env.DB.Site(ctx, coldseam.SiteID(c.Site))
	if err != nil {
		return coldseam.Days{}, "", env.NoSite(ctx, a.Env.DB, err)
	}
	d, err := a.Env.DB.DailyFrame(ctx, site.ID, "", site.ID, a.Env.Now(), site.Zone)
	return d, c.Site, err
}

// members opens the members file and keeps a few issues for the sample chart.
func (c *hindcastCmd) members(o *hindcast.Options, d coldseam.Days) (*[]hindcast.MemberRow, func() error, error) {
	var samples []hindcast.MemberRow
	keep := func(r hindcast.MemberRow) {
		if c.Plot != "" && r.Issued.Month == time.April {
			samples = append(samples, r)
		}
	}
	if c.Members == "" {
		o.Member = func(r hindcast.MemberRow) error { keep(r); return nil }
		return &samples, func() error { return nil }, nil
	}

	path := c.Members
	if st, err := os.Stat(path); err == nil && st.IsDir() {
		path = filepath.Join(path, "members.csv")
	}
	f, err := os.Create(path)
	if err != nil {
		return nil, nil, env.Fail(2, err.Error())
	}

	w := csv.NewWriter(f)
	_ = w.Write([]string{"series", "issued", "variable", "mode", "model", "lead_d", "observed", "members"})
	o.Member = func(r hindcast.MemberRow) error {
		keep(r)
		ms := make([]string, len(r.Members))
		for i, v := range r.Members {
			ms[i] = strconv.FormatFloat(v, 'g', 8, 64)
		}
		return w.Write([]string{o.Site, r.Issued.String(), c.Quantity, c.Air, hindcast.Coldseam, strconv.Itoa(r.Lead),
			strconv.FormatFloat(r.Observed, 'g', 8, 64), strings.Join(ms, ";")})
	}

	return &samples, func() error {
		w.Flush()
		if err := w.Error(); err != nil {
			f.Close()
			return err
		}
		return f.Close()
	}, nil
}

// printReport is the table for people.
func printReport(w io.Writer, r hindcast.Report) {
	trained := "earlier years only"
	if r.Folds > 0 {
		trained = fmt.Sprintf("%d folds of years", r.Folds)
	}
	fmt.Fprintf(w, "%s, %s, air %s: %d issues, %s, models %s\n", r.Site, r.Quantity, r.Air, r.N, trained, r.Tier)
	fmt.Fprintf(w, "Issued every %d days where the %s of that day, the day before and the ten after is on record.\n",
		r.Step, r.Quantity)
	if r.Air == hindcast.Perfect {
		fmt.Fprintf(w, "Dropped for missing air, under seven of the ten days ahead on record: %d issues.\n", r.DroppedAir)
		fmt.Fprintln(w, "The air after the issue was given as observed: an upper bound, not a forecast's skill.")
	}

	for _, b := range []struct {
		name  string
		block hindcast.Block
	}{{"cold season (issued February-May, under 10 C)", r.Cold}, {"all year", r.All}} {
		if b.block.N == 0 {
			continue
		}
		fmt.Fprintf(w, "\n%s, %d issues\nCRPS, lead in days %s\n", b.name, b.block.N, ints(r.Leads))
		for _, m := range hindcast.Methods {
			fmt.Fprintf(w, "  %-12s %s\n", m, floats(b.block.CRPS[m], "%8.4f"))
		}
		fmt.Fprintf(w, "  %-12s %s\n", "80 % covers", floats(b.block.Coverage80, "%8.2f"))

		for _, ref := range hindcast.Methods[1:] {
			fmt.Fprintf(w, "  gain over %-12s", ref)
			for _, k := range b.block.Skill[ref] {
				mark := " "
				if k[1] > 0 || k[2] < 0 {
					mark = "*"
				}
				fmt.Fprintf(w, " %5.1f%%%s", 100*k[0], mark)
			}
			fmt.Fprintln(w)
		}
	}

	fmt.Fprintln(w, "\n* the 90 % block-bootstrap interval by year is free of zero; gains without it are no wins.")
	if r.Crossing != nil {
		fmt.Fprintf(w, "\n%.1f C for good in spring, issued %s days ahead: median off by %s days, CRPS %s days, n %s\n",
			r.Crossing.ThresholdC,
			ints(r.Crossing.AheadDays), floats(r.Crossing.MAE, "%.1f"), floats(r.Crossing.CRPS, "%.2f"),
			ints(r.Crossing.N))
	}

	if b := r.Brier; b != nil {
		fmt.Fprintf(w, "crossed within %s days, every issue day before it (n %d): Brier %s; dressed %s; damped anomaly %s; date alone %s (n %d)\n", ints(b.WithinDays), b.N,
			floats(b.Coldseam, "%.4f"), floats(b.Dressed, "%.4f"), floats(b.AnomalyAR, "%.4f"),
			floats(b.Climatology, "%.4f"), b.NClimatology)
	}
}

func ints(x []int) string {
	s := make([]string, len(x))
	for i, v := range x {
		s[i] = strconv.Itoa(v)
	}
	return strings.Join(s, "/")
}

func floats(x []float64, format string) string {
	s := make([]string, len(x))
	for i, v := range x {
		if s[i] = fmt.Sprintf(format, v); math.IsNaN(v) {
			s[i] = "-"
		}
	}
	return strings.Join(s, " ")
}

// plots writes the pictures of the proof.
func (c *hindcastCmd) plots(r hindcast.Report, rows []hindcast.MemberRow, d coldseam.Days) error {
	if err := os.MkdirAll(c.Plot, 0o755); err != nil {
		return err
	}
	write := func(name string, png []byte, err error) error {
		if err != nil {
			return fmt.Errorf("plot %s: %w", name, err)
		}
		return os.WriteFile(filepath.Join(c.Plot, name+".png"), png, 0o644)
	}

	title := r.Site + ", " + string(r.Quantity)
	skill := chart.Skill{Title: "Gain by lead, cold season: " + title, Leads: r.Leads}
	for _, ref := range hindcast.Methods[1:] {
		s := chart.SkillSeries{Name: ref}
		for _, k := range r.Cold.Skill[ref] {
			s.Skill = append(s.Skill, k[0])
			s.Lo, s.Hi = append(s.Lo, k[1]), append(s.Hi, k[2])
		}
		if len(s.Skill) > 0 {
			skill.Series = append(skill.Series, s)
		}
	}

	png, err := skill.PNG()
	if err := write("skill", png, err); err != nil {
		return err
	}

	for i, lead := range r.Leads {
		if i < len(r.All.PIT) {
			png, err := chart.PIT{Title: fmt.Sprintf("Where the truth fell, day %d: %s", lead, title),
				Counts: r.All.PIT[i]}.PNG()
			if err := write(fmt.Sprintf("pit-day%d", lead), png, err); err != nil {
				return err
			}
		}
	}

	if r.Brier != nil {
		for i, n := range r.Brier.WithinDays {
			rel := chart.Reliability{Title: fmt.Sprintf("Crossed within %d days: %s", n, r.Site)}
			for _, b := range r.Brier.Reliability[i] {
				rel.Bins = append(rel.Bins, chart.ReliabilityBin{Said: b.P, Came: b.Freq, N: b.N})
			}
			png, err := rel.PNG()
			if err := write(fmt.Sprintf("reliability-%dd", n), png, err); err != nil {
				return err
			}
		}
	}

	png, err = sampleFan(rows, d, r).PNG()
	return write("sample", png, err)
}

// sampleFan draws the middle issue of those kept.
func sampleFan(rows []hindcast.MemberRow, d coldseam.Days, r hindcast.Report) chart.SampleFan {
	f := chart.SampleFan{Title: r.Site, Unit: "°C", Zone: "UTC"}
	x := d.WaterC
	if r.Quantity == hindcast.Flow {
		f.Unit, x = "m3/s", d.FlowM3S
	}
	if len(rows) == 0 {
		return f
	}
	day := rows[len(rows)/2].Issued
	f.Title += ", issued " + day.String()

	for _, row := range rows {
		if row.Issued == day {
			f.Valid = append(f.Valid, day.Add(row.Lead).UTC())
			f.Fan = append(f.Fan, [5]float64{coldseam.Quantile(row.Members, .1), coldseam.Quantile(row.Members, .25),
				coldseam.Quantile(row.Members, .5),
				coldseam.Quantile(row.Members, .75), coldseam.Quantile(row.Members, .9)})
		}
	}

	for k := -14; k <= 10; k++ {
		v := coldseam.At(x, d.Index(day.Add(k)))
		if math.IsNaN(v) {
			continue
		}
		p := coldseam.Point{At: day.Add(k).UTC(), V: v}
		if k <= 0 {
			f.Before = append(f.Before, p)
		} else {
			f.After = append(f.After, p)
		}
	}

	return f
}

// issued scores the forecasts that were really issued this season: the mornings
// whose catch was logged, and flow and water temperature of every issue.
func (c *hindcastCmd) issued(ctx context.Context, s *env.Streams, g *env.Globals) error {
	cfg, err := config.Load(g.Config)
	if err != nil {
		return env.Fail(2, err.Error())
	}
	a, err := parts.Open(ctx, cfg, env.Options{Log: env.NewLogger(s.Err, slog.LevelWarn)})
	if err != nil {
		return err
	}
	defer a.Close()
	return a.Recap.PrintIssued(ctx, s.Out)
}
