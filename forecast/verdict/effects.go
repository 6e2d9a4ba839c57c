package verdict

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

//go:embed effects.csv
var effectsCSV string

// effectKeys are the rows that a table of effects must have, each once.
var effectKeys = []string{"winter", "pre_run", "pre_run_tailwater", "run", "spawn", "post_spawn", "after", "warm",
	"autumn_warm", "autumn_mild", "autumn_cool", "autumn_cold", "warming", "cooling", "autumn_fall",
	"flow_low", "flow_high", "flow_very_high", "flow_falling", "flow_steady", "flow_rising", "flow_jumping",
	"wave", "no_deep_hole", "low_light", "warmest_hours", "muddy", "clearing"}

// Effects are the sizes, in log-odds, by which conditions move the odds of a good
// morning: rules of the trade until a log has a say.
type Effects map[string]float64

// maxEffect is the largest size that a row may have: odds of 1 to 20 [proposal].
const maxEffect = 3

// DefaultEffects is the shipped table.
func DefaultEffects() Effects {
	e, err := ParseEffects(strings.NewReader(effectsCSV), "effects.csv")
	if err != nil {
		panic(err) // the shipped file is tested
	}
	return e
}

// ParseEffects reads effect,size,direction,mark,source rows. Each fault is named
// with its file, its line, what was found and what is wanted.
func ParseEffects(r io.Reader, name string) (Effects, error) {
	rows, err := readCSV(r, name, []string{"effect", "size", "direction", "mark", "source"})
	if err != nil {
		return nil, err
	}
	e := Effects{}
	var errs []error
	bad := func(line int, format string, a ...any) {
		errs = append(errs, fmt.Errorf("%s line %d: %s: %w", name, line, fmt.Sprintf(format, a...),
			coldseam.ErrInvalid))
	}

	for _, r := range rows {
		key := r.f["effect"]
		size, err := strconv.ParseFloat(r.f["size"], 64)
		_, twice := e[key]
		switch {
		case !slices.Contains(effectKeys, key):
			bad(r.line, "effect %q, want one of %s", key, strings.Join(effectKeys, ", "))
		case twice:
			bad(r.line, "effect %s given twice, want it once", key)
		case err != nil || !(math.Abs(size) <= maxEffect):
			bad(r.line, "size %q, want a number of log-odds from -%d to %d", r.f["size"], maxEffect, maxEffect)
		case !knownMark(r.f["direction"]) || !knownMark(r.f["mark"]):
			bad(r.line, "marks %q and %q, want seen, from memory, proposal, common practice or log", r.f["direction"],
				r.f["mark"])
		case r.f["source"] == "":
			bad(r.line, "no source for %s, want where it comes from", key)
		default:
			e[key] = size
		}
	}

	for _, k := range effectKeys {
		if _, ok := e[k]; !ok && len(errs) == 0 {
			bad(1, "no row for %s, want one for each effect", k)
		}
	}
	return e, errors.Join(errs...)
}

// Phase is the part of the year that a morning belongs to.
type Phase int

// The phases. A log learns an offset for each.
const (
	PhaseWinter Phase = iota
	PhasePreRun
	PhaseRun
	PhaseSpawn
	PhasePost
	PhaseAfter
	PhaseWarm
	PhaseAutumn
	Phases
)

var phaseKeys = [...]string{"winter", "pre_run", "run", "spawn", "post_spawn", "after", "warm"}

// Edges of the effects [proposal]. Temperatures in F as the trade says them.
const (
	winterF, preRunF, warmF              = 36, 45, 60
	autumnColdF, autumnCoolF, autumnWarm = 37, 45, 55
	lightF                               = 42
	fullChangeC, mostCooling             = .8, 1.25
	autumnFallC                          = 2.
	waveBase                             = .20 // of the odds of a wave
	NewShare                             = .6  // of a day's own sum in the smoothed one
	beliefShare                          = .8  // of the sum: beliefs are shrunk
	baseRate                             = .40
)

// ShippedA is the level of the odds, and ShippedThirds the edges of the thirds,
// until a river's own mornings give both [reference calculation: twelve seasons of
// four Great Lakes rivers].
const ShippedA = -.455

// ShippedThirds: see ShippedA.
var ShippedThirds = [2]float64{.350, .440}

// Conditions are what the effects of one day look at. NaN and "" are not known and
// move nothing.
type Conditions struct {
	Stage     string  // of the run; "" = none, or outside its season
	Autumn    bool    // past the season of the run
	WaterC    float64 // mean of the day
	Change2C  float64 // in two days
	FlowPct   float64 // percentile for the date
	FlowDay   float64 // change a day over two days, fraction
	WaveP     float64 // odds of a wave, from a counter or the log
	NoDeep    bool    // the reach has no deep hole
	Tailwater bool
	Clarity   string
}

// Phase is the part of the year by the stage of the run, else by the water.
func (c Conditions) Phase() Phase {
	f := coldseam.F(c.WaterC)
	switch {
	case c.Autumn:
		return PhaseAutumn
	case f > warmF:
		return PhaseWarm
	}
	switch c.Stage {
	case "moving":
		return PhaseRun
	case "spawning":
		return PhaseSpawn
	case "dropping back":
		return PhasePost
	case "done":
		return PhaseAfter
	}
	switch {
	case f <= winterF:
		return PhaseWinter
	case f <= preRunF || c.Stage == "staging":
		return PhasePreRun
	}
	return PhaseAfter
}

// Sum is the sum of the effects of a day, without those of a window.
func (e Effects) Sum(c Conditions) float64 {
	phase := c.Phase()
	x := e.phase(phase, coldseam.F(c.WaterC)) + e.warming(c) + e.flow(c)
	if phase == PhasePreRun {
		if c.NoDeep {
			x += e["no_deep_hole"]
		}
		if c.Tailwater {
			x += e["pre_run_tailwater"]
		}
	}
	if (phase == PhasePreRun || phase == PhaseRun) && !math.IsNaN(c.WaveP) {
		x += e["wave"] * (c.WaveP - waveBase)
	}

	switch {
	case c.Clarity == "muddy":
		x += e["muddy"]
	case c.Clarity == "stained" && c.FlowDay < 0:
		x += e["clearing"]
	}
	return x
}

func (e Effects) phase(p Phase, f float64) float64 {
	if p != PhaseAutumn {
		return e[phaseKeys[p]]
	}
	switch {
	case f < autumnColdF:
		return e["autumn_cold"]
	case f <= autumnCoolF:
		return e["autumn_cool"]
	case f <= autumnWarm:
		return e["autumn_mild"]
	case f > autumnWarm:
		return e["autumn_warm"]
	}
	return 0
}

func (e Effects) warming(c Conditions) float64 {
	d := c.Change2C
	switch {
	case c.Autumn && d <= -autumnFallC:
		return e["autumn_fall"]
	case c.Autumn || math.IsNaN(d):
		return 0
	case d >= 0:
		return e["warming"] * min(d/fullChangeC, 1)
	}
	return e["cooling"] * min(-d/fullChangeC, mostCooling)
}

func (e Effects) flow(c Conditions) float64 {
	x := 0.0
	switch {
	case c.FlowPct < .10:
		x += e["flow_low"]
	case c.FlowPct > .90:
		x += e["flow_very_high"]
	case c.FlowPct >= .75:
		x += e["flow_high"]
	}
	switch d := c.FlowDay; {
	case d > .30:
		x += e["flow_jumping"]
	case d >= .10:
		x += e["flow_rising"]
	case math.Abs(d) <= .05:
		x += e["flow_steady"]
	case d >= -.20 && d < 0:
		x += e["flow_falling"]
	}
	return x
}

// Light is the effect of a window: from 42 F first or last light, below the
// warmest hours.
func (e Effects) Light(waterC float64, lowLight, warmest bool) float64 {
	switch cold := coldseam.F(waterC) < lightF; {
	case cold && warmest:
		return e["warmest_hours"]
	case !cold && lowLight:
		return e["low_light"]
	}
	return 0
}

// LowLight reports whether a window holds first or last light: it begins within
// the hour of sunrise or ends within that of sunset.
func (s Sun) LowLight(from, to time.Time) bool {
	near := func(a, b time.Time) bool { return a.Sub(b).Abs() < time.Hour }
	return s.OK && (near(from, s.Rise) || near(to, s.Set))
}

// Series are consecutive days of one river, or of one member of its forecast.
type Series struct {
	First           coldseam.Date
	WaterC, FlowM3S []float64
	Stage           []string
	WaveP           []float64 // nil = nothing drives it
	Autumn          func(coldseam.Date) bool
	Flow            *FlowOfDate // nil = not known
	NoDeep          bool
	Tailwater       bool
	Clarity         string // on the last days, from ClarityFrom on
	ClarityFrom     int
}

// DaySum is the smoothed sum of a day and its phase; OK is false without water.
type DaySum struct {
	S     float64
	Phase Phase
	OK    bool
}

// Sums are the smoothed sums of a series: fish answer to yesterday too.
func (e Effects) Sums(s Series) []DaySum {
	out := make([]DaySum, len(s.WaterC))
	last := math.NaN()

	for i := range out {
		c := Conditions{
			Stage:     s.StageOn(i),
			Autumn:    s.Autumn(s.First.Add(i)),
			WaterC:    s.WaterC[i],
			Change2C:  s.WaterC[i] - coldseam.At(s.WaterC, i-2),
			FlowPct:   s.Flow.Pct(s.First.Add(i), coldseam.At(s.FlowM3S, i)),
			FlowDay:   math.Sqrt(coldseam.At(s.FlowM3S, i)/coldseam.At(s.FlowM3S, i-2)) - 1,
			WaveP:     coldseam.At(s.WaveP, i),
			NoDeep:    s.NoDeep,
			Tailwater: s.Tailwater,
		}
		if i >= s.ClarityFrom {
			c.Clarity = s.Clarity
		}
		if math.IsNaN(c.WaterC) {
			continue
		}

		x := e.Sum(c)
		if math.IsNaN(last) {
			last = x
		}
		last = NewShare*x + (1-NewShare)*last
		out[i] = DaySum{S: last, Phase: c.Phase(), OK: true}
	}
	return out
}

// StageOn is the stage of the run on day i, "" where none is known.
func (s *Series) StageOn(i int) string {
	if i < 0 || i >= len(s.Stage) {
		return ""
	}
	return s.Stage[i]
}

// FlowOfDate holds P10, P75 and P90 of the flow around the middle of each half
// month.
type FlowOfDate [24][3]float64

// flowDays are the days of record that a half month needs: two years of it.
const flowDays = 60

// FlowOfDates reads them from a record; a half month with too few days stays zero.
func FlowOfDates(days coldseam.Days) *FlowOfDate {
	var f FlowOfDate
	by := [24][]float64{}
	for i, q := range days.FlowM3S {
		if math.IsNaN(q) {
			continue
		}
		k := half(days.Day(i))
		for _, n := range []int{k + 23, k, k + 1} {
			by[n%24] = append(by[n%24], q)
		}
	}
	for k, q := range by {
		for j, p := range []float64{.10, .75, .90} {
			if len(q) >= flowDays {
				f[k][j] = coldseam.Quantile(q, p)
			}
		}
	}
	return &f
}

func half(d coldseam.Date) int { return 2*(int(d.Month)-1) + min(d.Day/16, 1) }

// Pct is a percentile as the effects tell them apart: 0, .5, .8 or 1; NaN where
// nothing is known.
func (f *FlowOfDate) Pct(d coldseam.Date, q float64) float64 {
	if f == nil || math.IsNaN(q) || f[half(d)] == [3]float64{} {
		return math.NaN()
	}
	switch e := f[half(d)]; {
	case q < e[0]:
		return 0
	case q > e[2]:
		return 1
	case q >= e[1]:
		return .8
	}
	return .5
}
