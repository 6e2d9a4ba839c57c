package gauntlet

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/trust"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/ingest"
)

// full asks for the long form: every reading of every event.
var full = os.Getenv("COLDSEAM_GAUNTLET") == "full"

// gauge is what a station sends. A row that a fault takes away has no time.
type gauge struct{ flow, stage, water []coldseam.Observation }

func (g gauge) clone() gauge {
	return gauge{slices.Clone(g.flow), slices.Clone(g.stage), slices.Clone(g.water)}
}

// of are the quantities a fault speaks of: "flow", "stage", "both", "water", "all".
func (g *gauge) of(name string) []*[]coldseam.Observation {
	return map[string][]*[]coldseam.Observation{
		"flow": {&g.flow}, "stage": {&g.stage}, "both": {&g.flow, &g.stage}, "water": {&g.water},
		"all": {&g.flow, &g.stage, &g.water},
	}[name]
}

// river is a station with what the decision needs to know of its reach.
type river struct {
	name      string
	step      time.Duration
	limit     float64 // m3/s
	flood     float64 // m
	regulated bool
	daily     bool
	clean     gauge

	season   verdict.SeasonFlow
	checked  gauge // the clean record after quality control of all of it
	words    map[int]verdict.Decision
	past     map[int]trust.History
	stopRows []int // at which the clean record begins to stop
}

// judged is how many rows the decision looks back on, beside the history: nine
// days, more than any of its tests.
func (r *river) judged() int { return int(9 * 24 * time.Hour / r.step) }

func (r *river) rows(d time.Duration) int { return max(int(d/r.step), 1) }

func series(p coldseam.Parameter, obs []coldseam.Observation) coldseam.Series {
	s, _, err := coldseam.NewSeries(coldseam.SeriesKey{Site: "x:1", Param: p, Stat: coldseam.Instant}, obs)
	if err != nil {
		panic(err)
	}
	return s
}

// ready checks the record once, finds the rises that stop it and the season.
func (r *river) ready(first int) {
	end := r.clean.flow[len(r.clean.flow)-1].At
	check := func(p coldseam.Parameter, obs []coldseam.Observation) []coldseam.Observation {
		return ingest.Check(series(p, obs), ingest.SiteLimits{}, end).Obs
	}
	r.checked = gauge{check(coldseam.Discharge, r.clean.flow), check(coldseam.Stage, r.clean.stage),
		check(coldseam.WaterTemp, r.clean.water)}
	r.words, r.past = map[int]verdict.Decision{}, map[int]trust.History{}
	day := r.rows(24 * time.Hour)

	for i := first; i+day < len(r.clean.flow); i += r.rows(time.Hour) {
		// A look at flow and stage alone finds where it is worth asking.
		if before := r.rows(6 * time.Hour); r.clean.flow[i].Value < r.limit &&
			r.clean.flow[i].Value < 1.2*lowest(r.clean.flow[i-before:i]) {
			continue
		}

		if n := len(r.stopRows); n > 0 && i-r.stopRows[n-1] < day || !plain(r.word(i)) ||
			plain(r.word(i-r.rows(time.Hour))) {
			continue
		}
		for i > first && plain(r.word(i-1)) {
			i--
		}

		// A rise of which one reading alone tells is none that a fault could hide.
		if foot, high := r.clean.flow[i-day/2].Value, greatest(r.clean.flow[i:i+day]); high >= 1.5*foot {
			r.stopRows = append(r.stopRows, i)
		}
	}
}

func lowest(obs []coldseam.Observation) float64 {
	low := math.Inf(1)
	for _, o := range obs {
		low = math.Min(low, o.Value)
	}
	return low
}

func greatest(obs []coldseam.Observation) float64 {
	high := math.Inf(-1)
	for _, o := range obs {
		high = math.Max(high, o.Value)
	}
	return high
}

// plain reports whether something of this moment stops, not a stop that is kept.
func plain(d verdict.Decision) bool {
	return slices.ContainsFunc(d.Stops, func(r coldseam.Reason) bool { return r.Code != "stop_kept" })
}

// word is what the clean record says at row i.
func (r *river) word(i int) verdict.Decision {
	d, ok := r.words[i]
	if !ok {
		d = r.decide(r.clean, i, len(r.clean.flow))
		r.words[i] = d
	}
	return d
}

// decide is the word at row i of a record that is the clean one before row from:
// the last days of it checked as they would have been, on a morning on which
// nothing else is wrong.
func (r *river) decide(g gauge, i, from int, opts ...func(*verdict.Inputs)) verdict.Decision {
	now := r.clean.flow[i].At.Add(10 * time.Minute)
	lo := max(i-r.judged(), 0)
	check := func(p coldseam.Parameter, obs []coldseam.Observation) []coldseam.Observation {
		var seen []coldseam.Observation
		for k := lo; k < len(obs); k++ {
			if o := obs[k]; !o.At.IsZero() && !o.KnownAt.After(now) {
				seen = append(seen, o)
			} else if k > i {
				break
			}
		}
		return ingest.Check(series(p, seen), ingest.SiteLimits{}, now).Obs
	}
	seen := gauge{check(coldseam.Discharge, g.flow), check(coldseam.Stage, g.stage), check(coldseam.WaterTemp, g.water)}

	in := r.morning(now)
	in.Gauge.Discharge, in.Gauge.Stage, in.Gauge.Water = seen.flow, seen.stage, seen.water
	in.Gauge.History = r.history(seen, i, lo, from, now)
	for _, o := range opts {
		o(&in)
	}
	return verdict.Decide(in)
}

// history is the station's own as of row i: of the clean record as long as the
// fault is younger than what counts as history.
func (r *river) history(seen gauge, i, lo, from int, now time.Time) trust.History {
	fresh := i-from < r.rows(24*time.Hour)
	if h, ok := r.past[i]; ok && fresh {
		return h
	}
	join := func(old, young []coldseam.Observation) []coldseam.Observation {
		return append(slices.Clip(old[:lo]), young...)
	}
	if fresh {
		seen = gauge{r.checked.flow[lo : i+1], r.checked.stage[lo : i+1], r.checked.water[lo : i+1]}
	}
	h := trust.HistoryOf(join(r.checked.flow, seen.flow), join(r.checked.stage, seen.stage),
		join(r.checked.water, seen.water), now)
	if fresh {
		r.past[i] = h
	}
	return h
}

func ptr(v float64) *float64 { return &v }

func many(v float64, n int) []float64 { return slices.Repeat([]float64{v}, n) }

// morning is one on which nothing but the gauge can be wrong.
func (r *river) morning(now time.Time) verdict.Inputs {
	day := coldseam.DateOf(now)
	in := verdict.Inputs{
		Now: now,
		Day: day,
		Loc: time.UTC,
		Reach: coldseam.Reach{
			ID: "r", Site: "x:1", Zone: "UTC", Lat: 40, Lon: -75, MaxFlowM3S: &r.limit, FloodStageM: &r.flood,
			HazardsSurveyed: true, Species: []string{"walleye"}, Regulated: r.regulated,
			Rules: []coldseam.Rule{{Kind: coldseam.RuleSeason, CheckedOn: day.Add(-9), CheckedBy: "keeper"}},
		},
		ReleasePlan: true,
		Table:       verdict.DefaultTable(),
		Season:      r.season,
		Gauge:       verdict.Gauge{DailyOnly: r.daily},
		Alerts:      verdict.Alerts{At: now},
		Weather:     verdict.Weather{Issued: now, RainMM: ptr(0)},
		WaterModel:  true,
		Ice:         ice.Status{Record: ice.Record{State: ice.Open, Cause: ice.CauseWarm, Since: day.Add(-30)}},
	}

	for h := range 30 {
		from := now.Truncate(time.Hour).Add(time.Duration(h) * time.Hour)
		in.Weather.Hours = append(in.Weather.Hours, verdict.Hour{
			From:        from,
			To:          from.Add(time.Hour),
			AirC:        ptr(15),
			WindMS:      ptr(2),
			GustMS:      ptr(4),
			Thunder:     ptr(0),
			PrecipMM:    ptr(0),
			VisibilityM: ptr(20000),
		})
	}

	in.Candidates = []verdict.Candidate{{
		Start:     now.Add(time.Hour),
		End:       now.Add(4 * time.Hour),
		WaterC:    many(8, 50),
		FlowM3S:   many(.2*r.limit, 50),
		RiseShare: many(0, 50),
		RiseM:     many(0, 50),
		PFlood:    ptr(0),
		PGood:     many(.8, 50),
		HoldP:     ptr(.95),
		Tie:       "1/4",
	}}
	return in
}

// station makes the readings of an invented river of days days: flow by q, in
// m3/s at an hour, which stands in the record as the rating gives it for a stage
// in hundredths of a foot.
func station(name string, step time.Duration, days int, water float64, q func(hour float64) float64) *river {
	rng := rand.New(rand.NewPCG(uint64(len(name)), uint64(days)))
	r := &river{name: name, step: step}
	start := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	noise := 0.
	for at := start; at.Before(start.AddDate(0, 0, days)); at = at.Add(step) {
		h := at.Sub(start).Hours()
		noise = .9*noise + .002*rng.NormFloat64()
		stage := coldseam.MetrePerFoot * math.Round(100*rating(q(h)*math.Exp(noise))/coldseam.MetrePerFoot) / 100
		put := func(to *[]coldseam.Observation, v float64) {
			*to = append(*to, coldseam.Observation{At: at, KnownAt: at, Value: v, Flag: coldseam.Provisional})
		}
		put(&r.clean.stage, stage)
		put(&r.clean.flow, flowAt(stage))
		put(&r.clean.water, math.Round(10*(water+1.5*math.Sin((h-9)/24*2*math.Pi)+.1*rng.NormFloat64()))/10)
	}
	return r
}

// rating is the stage of a flow on every invented river, and flowAt its inverse.
func rating(q float64) float64 { return .3 + .25*math.Sqrt(q) }

func flowAt(stage float64) float64 {
	x := (stage - .3) / .25
	return math.Round(1000*x*x) / 1000
}

// storm is what a rain adds to the flow: up within rise hours, then halved every
// half hours.
func storm(h, at, rise, peak, half float64) float64 {
	switch d := h - at; {
	case d < 0:
		return 0
	case d < rise:
		return peak * math.Pow(math.Sin(d/rise*math.Pi/2), 2)
	default:
		return peak * math.Exp2(-(d-rise)/half)
	}
}

// rivers are the invented ones and, with real data, one that is not.
var rivers = sync.OnceValue(func() []*river {
	rain := station("rain", 15*time.Minute, 36, 9, func(h float64) float64 {
		return 4 + storm(h, 190, 5, 9, 9) + storm(h, 340, 7, 26, 8) + storm(h, 560, 4, 40, 10) +
			storm(h, 700, 10, 18, 14)
	})
	rain.limit, rain.flood = 13, 1.7

	snow := station("snow", time.Hour, 40, 6, func(h float64) float64 {
		melt := 1 + .06*math.Sin((h-15)/24*2*math.Pi)
		return melt * (22 + 8*h/960 + storm(h, 400, 30, 55, 60) + storm(h, 640, 22, 80, 90))
	})
	snow.limit, snow.flood = 60, 2.6

	dam := station("dam", 15*time.Minute, 36, 8, func(h float64) float64 {
		q := 12.
		if d := math.Mod(h, 24); d >= 7 && d < 11 {
			q = 14.4
		}
		return q + storm(h, 410.2, 3, 24, 12) + storm(h, 590.1, 2, 40, 9)
	})
	dam.limit, dam.flood, dam.regulated = 24, 1.9, true

	for _, r := range []*river{rain, snow, dam} {
		r.season = verdict.SeasonFlow{Years: 20, MedianM3S: r.limit / 3, P75M3S: r.limit / 2}
		r.ready(r.rows(8 * 24 * time.Hour))
	}
	out := []*river{rain, snow, dam}
	if b := brandywine(); b != nil {
		out = append(out, b)
	}
	return out
})

// brandywine reads the half-hourly record, with the stage in hundredths of a
// foot and 4 mm of noise: the file's depth is flow in disguise. Nil without real
// data.
func brandywine() *river {
	dir := os.Getenv("COLDSEAM_REAL_DATA")
	if dir == "" {
		return nil
	}
	must := func(err error) {
		if err != nil {
			panic(err)
		}
	}

	f, err := os.Open(filepath.Join(dir, "series", "subdaily", "brandywine_30min.csv"))
	must(err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	must(err)

	r := &river{
		name:   "Brandywine",
		step:   30 * time.Minute,
		limit:  2.8,
		flood:  9,
		season: verdict.SeasonFlow{Years: 20, MedianM3S: 1, P75M3S: 1.5},
	}
	rng := rand.New(rand.NewPCG(7, 7))
	g := &r.clean

	for _, row := range rows[1:] {
		at, err := time.Parse("2006-01-02 15:04:05", row[0])
		must(err)
		at = at.Round(30 * time.Minute)
		put := func(to *[]coldseam.Observation, v float64) {
			*to = append(*to, coldseam.Observation{At: at, KnownAt: at, Value: v, Flag: coldseam.Provisional})
		}

		num := func(s string) float64 {
			v, err := strconv.ParseFloat(s, 64)
			must(err)
			return v
		}
		put(&g.flow, num(row[1]))
		put(&g.water, num(row[2]))
		hundredth := .01 * coldseam.MetrePerFoot
		put(&g.stage, math.Round((num(row[3])+.004*rng.NormFloat64())/hundredth)*hundredth)
	}

	// Some of its largest rises are in the first days: four of them are history.
	r.ready(190)
	return r
}
