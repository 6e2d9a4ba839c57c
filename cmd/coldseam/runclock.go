package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify"
)

// runclockCmd runs the clock of the spawning run over a file of daily values,
// without a database.
type runclockCmd struct {
	CSV         string  `type:"path" name:"csv" help:"Daily values: date,flow_m3s,water_c; blank = missing. May be left out with --counts."`
	Counts      string  `type:"path" help:"Daily counts of fish, date,count; blank = missing: scores the clock on them, what is fitted on the other years."`
	Lat         float64 `required:"" help:"Latitude in degrees north, negative in the south: there the season begins on 1 July."`
	Species     string  `default:"walleye" help:"Key of a species row."`
	Year        int     `help:"The spring to run; the last year of the file when not given."`
	Noise       string  `enum:"on,off" default:"on" help:"on: 500 draws of the parameters and the day-to-day noise, means printed; off: the middle values alone."`
	Seed        uint64  `default:"20240501" help:"Of the draws."`
	SpeciesFile string  `type:"path" help:"The club's own species rows in place of the built-in ones."`
	JSON        bool    `name:"json" help:"Print JSON."`
}

// clockDay is one day as runclock prints it; shares are 0-1 of the run.
type clockDay struct {
	Date         string  `json:"date"`
	R            float64 `json:"r"`
	Arrivals     float64 `json:"arrivals"`
	Arrived      float64 `json:"arrived"`
	Holding      float64 `json:"holding"`
	Gravel       float64 `json:"gravel"`
	DroppingBack float64 `json:"dropping_back"`
	Spawned      float64 `json:"spawned"`
	Stage        string  `json:"stage"`
	PWave        float64 `json:"p_wave"`
}

type clockReport struct {
	Species    string     `json:"species"`
	Calibrated bool       `json:"calibrated"`
	Days       []clockDay `json:"days"`
	// UnknownFrom is the first day without a water temperature that could be
	// carried forward: the clock says nothing from there.
	UnknownFrom string `json:"unknown_from,omitempty"`
}

// Run prints the clock to the command's output.
func (c *runclockCmd) Run(s *env.Streams) error {
	if c.Counts != "" {
		rep, err := c.score()
		if err != nil {
			return fmt.Errorf("runclock: %w", err)
		}
		if c.JSON {
			return json.NewEncoder(s.Out).Encode(rep)
		}
		return countTable(s.Out, rep)
	}

	rep, err := c.report()
	if err != nil {
		return fmt.Errorf("runclock: %w", err)
	}

	if c.JSON {
		enc := json.NewEncoder(s.Out)
		enc.SetIndent("", "  ")
		return enc.Encode(rep)
	}

	return rep.table(s.Out)
}

// score holds the species row against a file of counts.
func (c *runclockCmd) score() (run.CountScore, error) {
	sp, err := c.row()
	if err != nil {
		return run.CountScore{}, err
	}
	counts, err := c.file(c.Counts, "count")
	if err != nil {
		return run.CountScore{}, err
	}
	days := coldseam.Days{First: counts.First, Lat: c.Lat}
	if c.CSV != "" {
		if days, err = c.file(c.CSV, "water_c"); err != nil {
			return run.CountScore{}, err
		}
	}
	return run.ScoreCounts(sp, days, counts.First, counts.WaterC)
}

// file reads daily values whose column of that name stands in WaterC.
func (c *runclockCmd) file(path, column string) (coldseam.Days, error) {
	if c.Lat == 0 || !(math.Abs(c.Lat) <= 75) {
		return coldseam.Days{}, fmt.Errorf("latitude %g, want -75 to 75 degrees and not 0: %w", c.Lat,
			coldseam.ErrInvalid)
	}
	f, err := os.Open(path)
	if err != nil {
		return coldseam.Days{}, err
	}
	defer f.Close()
	days, err := readFrame(f, column)
	if err != nil {
		return coldseam.Days{}, fmt.Errorf("%s: %w", path, err)
	}
	days.Lat = c.Lat
	return days, nil
}

func (c *runclockCmd) report() (clockReport, error) {
	if c.CSV == "" {
		return clockReport{}, fmt.Errorf("want --csv FILE or --counts FILE: %w", coldseam.ErrInvalid)
	}
	sp, err := c.row()
	if err != nil {
		return clockReport{}, err
	}

	if sp.NoClock {
		return clockReport{}, fmt.Errorf("%s: no clock for this run: %s: %w", sp.Key, sp.Sources["clock"].Words,
			coldseam.ErrUnavailable)
	}
	days, err := c.file(c.CSV, "water_c")
	if err != nil {
		return clockReport{}, err
	}

	out, err := run.Clock(sp, days, run.ClockOptions{Year: c.Year, NoNoise: c.Noise == "off", Seed: c.Seed,
		FlowPct: verdict.FlowPct(days, 10)})
	if err != nil {
		return clockReport{}, err
	}

	if len(out) == 0 {
		return clockReport{}, fmt.Errorf("%s: no day of %d: %w", c.CSV, c.Year, coldseam.ErrNotFound)
	}
	rep := clockReport{Species: sp.Key, Calibrated: sp.Calibrated}
	if last := out[len(out)-1].Date; len(out) < run.LastDay && last.Before(days.Day(days.Len()-1)) {
		rep.UnknownFrom = last.Add(1).String()
	}
	for _, d := range out {
		rep.Days = append(rep.Days, clockDay{
			Date:         d.Date.String(),
			R:            d.R,
			Arrivals:     d.Arrivals,
			Arrived:      d.Arrived,
			Holding:      d.Holding,
			Gravel:       d.Gravel,
			DroppingBack: d.DroppingBack,
			Spawned:      d.Spawned,
			Stage:        d.Stage,
			PWave:        d.PWave,
		})
	}

	return rep, nil
}

// row is the species row asked for.
func (c *runclockCmd) row() (run.Species, error) {
	rows := run.DefaultSpecies()
	if c.SpeciesFile != "" {
		f, err := os.Open(c.SpeciesFile)
		if err != nil {
			return run.Species{}, err
		}
		defer f.Close()
		if rows, err = run.ParseSpecies(f); err != nil {
			return run.Species{}, err
		}
	}
	return run.FindSpecies(rows, c.Species)
}

// cellLimits are the least and greatest value of a column; a counter may net
// fish that went back.
var cellLimits = map[string][2]float64{"water_c": {-5, 45}, "count": {-1e6, 1e7}}

// readFrame reads daily values by the names of their columns; date and the column
// named are needed, flow_m3s is used where it stands, others are passed over. Days
// that are not in the file are missing. A bad cell is refused with its line.
func readFrame(r io.Reader, column string) (coldseam.Days, error) {
	cr := csv.NewReader(r)
	head, err := cr.Read()
	if err != nil {
		return coldseam.Days{}, fmt.Errorf("header: %w: %w", err, coldseam.ErrInvalid)
	}

	col := map[string]int{}
	for i, h := range head {
		col[strings.ToLower(strings.TrimSpace(strings.TrimPrefix(h, "\ufeff")))] = i
	}
	for _, need := range []string{"date", column} {
		if _, ok := col[need]; !ok {
			return coldseam.Days{}, fmt.Errorf("header %q has no column %s: %w", strings.Join(head, ","), need,
				coldseam.ErrInvalid)
		}
	}

	var d coldseam.Days
	for {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return coldseam.Days{}, fmt.Errorf("%w: %w", err, coldseam.ErrInvalid)
		}
		line, _ := cr.FieldPos(0)
		if err := addDay(&d, rec, col, column); err != nil {
			return coldseam.Days{}, fmt.Errorf("line %d: %w", line, err)
		}
	}

	if d.Len() == 0 {
		return coldseam.Days{}, fmt.Errorf("no days: %w", coldseam.ErrInvalid)
	}
	return d, nil
}

// maxDays bounds the frame of one file: a mistyped year must not fill memory.
const maxDays = 366 * 200

func addDay(d *coldseam.Days, rec []string, col map[string]int, column string) error {
	day, err := coldseam.ParseDate(strings.TrimSpace(rec[col["date"]]))
	if err != nil {
		return err
	}

	if d.Len() == 0 {
		d.First = day
	}
	i := d.Index(day)
	if i < d.Len() {
		return fmt.Errorf("date %s after %s: want rising dates, each once: %w", day, d.Day(d.Len()-1),
			coldseam.ErrInvalid)
	}

	if i > maxDays {
		return fmt.Errorf("date %s is more than 200 years after %s: %w", day, d.First, coldseam.ErrInvalid)
	}
	lim := cellLimits[column]
	water, err := dayCell(rec, col, column, lim[0], lim[1])
	if err != nil {
		return err
	}

	flow, err := dayCell(rec, col, "flow_m3s", -1e6, 1e6)
	if err != nil {
		return err
	}
	for d.Len() < i {
		d.WaterC, d.FlowM3S = append(d.WaterC, math.NaN()), append(d.FlowM3S, math.NaN())
	}
	d.WaterC, d.FlowM3S = append(d.WaterC, water), append(d.FlowM3S, flow)
	return nil
}

// dayCell reads a number; blank and NA are missing.
func dayCell(rec []string, col map[string]int, name string, lo, hi float64) (float64, error) {
	i, ok := col[name]
	if !ok {
		return math.NaN(), nil
	}
	s := strings.TrimSpace(rec[i])
	if s == "" || strings.EqualFold(s, "na") || strings.EqualFold(s, "nan") {
		return math.NaN(), nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v >= lo && v <= hi) {
		return 0, fmt.Errorf("%s %q, want a number from %g to %g or blank: %w", name, s, lo, hi, coldseam.ErrInvalid)
	}
	return v, nil
}

// table prints the days on which something changes for a reader: from the
// first half percent of arrivals on.
func (r clockReport) table(w io.Writer) error {
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	mark := ""
	if !r.Calibrated {
		mark = " (uncalibrated)"
	}
	fmt.Fprintf(tw, "%s%s, shares of the run in percent\n", r.Species, mark)
	fmt.Fprintln(tw, "date\tstage\tarrivals\tarrived\tholding\tgravel\tback\tspawned\twave")

	quiet := 0
	for _, d := range r.Days {
		if d.Arrived < 0.005 {
			quiet++
			continue
		}
		fmt.Fprintf(tw, "%s\t%s\t%.1f\t%.0f\t%.0f\t%.0f\t%.0f\t%.0f\t%s\n", d.Date, d.Stage, d.Arrivals*100,
			d.Arrived*100, d.Holding*100,
			d.Gravel*100, d.DroppingBack*100, d.Spawned*100, notify.Plain(notify.Odds(d.PWave)))
	}

	if r.UnknownFrom != "" {
		fmt.Fprintf(tw, "no water temperature: not known from %s\n", r.UnknownFrom)
	}
	if quiet > 0 {
		fmt.Fprintf(tw, "%d days before the first fish left out\n", quiet)
	}
	return tw.Flush()
}

// countTable prints what the counts say, good or bad, with the numbers behind.
func countTable(w io.Writer, r run.CountScore) error {
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintf(tw, "%d seasons, %.0f fish; what is fitted is fitted on the other years\n", r.Seasons, r.Fish)
	for _, y := range r.LeftOut {
		fmt.Fprintf(tw, "%d left out: not known from %s, while fish came\n", y.Year, y.NotKnown)
	}
	fmt.Fprintln(tw, "timing by\tseasons\tRPS, d\thalf of the run off by, d")
	for _, t := range r.Timing {
		fmt.Fprintf(tw, "%s\t%d\t%.2f\t%.1f\n", strings.ReplaceAll(t.Name, "_", " "), t.Seasons, t.RPS, t.ErrorD)
	}
	if len(r.Timing) == 1 {
		fmt.Fprintln(tw, "no water temperature of these seasons: the clock's timing cannot be scored")
	}

	fmt.Fprintf(tw, "waves on %.2f of the days of the run; lag-1 of the log count %.2f\n", r.WaveShare, r.Lag1)
	if r.Pushes == 0 {
		fmt.Fprintln(tw, "no week of the run with a fish a day: the wave odds cannot be scored")
		return tw.Flush()
	}

	fmt.Fprintf(tw, "wave odds from the counts of the days before, %d days, %d waves: Brier %.4f, their share in the other years %.4f\n",
		r.Pushes, r.Waves, r.Brier, r.BaseBrier)
	for _, b := range r.Bins {
		if b.N > 0 {
			fmt.Fprintf(tw, "said %.2f\tcame %.2f\tof %d days\n", b.P, b.Freq, b.N)
		}
	}

	return tw.Flush()
}
