package gauntlet

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/table"
)

// winter is a river from one July to the next: daily means, and readings of
// water every three hours, level within a day, with a tenth of noise.
type winter struct {
	name  string
	days  coldseam.Days
	water []coldseam.Observation
	words []ice.Word
}

func winters(t *testing.T) []winter {
	t.Helper()
	out := []winter{invented("hard", 1, -12), invented("mild", 2, -4), invented("late", 3, -9)}
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		return out
	}

	for _, river := range []string{"stlouis", "fox", "saginaw", "vermilion"} {
		f, err := os.Open(filepath.Join(root, "series", "greatlakes", river+".csv"))
		require.NoError(t, err)
		all, err := table.Daily(f, 45)
		require.NoError(t, err)
		require.NoError(t, f.Close())

		for year := 2011; year < 2014; year++ {
			from, to := coldseam.Date{Year: year, Month: 7, Day: 1}, coldseam.Date{Year: year + 1, Month: 6, Day: 30}
			w := winter{name: river + " " + to.String()[:4], days: coldseam.Days{First: from, Lat: 45}}
			known := 0
			for d := from; !to.Before(d); d = d.Add(1) {
				i := all.Index(d)
				w.days.FlowM3S = append(w.days.FlowM3S, coldseam.At(all.FlowM3S, i))
				w.days.WaterC = append(w.days.WaterC, coldseam.At(all.WaterC, i))
				w.days.AirC = append(w.days.AirC, coldseam.At(all.AirC, i))
				if c := coldseam.At(all.WaterC, i); !math.IsNaN(c) && d.Month >= 2 && d.Month <= 5 && d.Year > year {
					known++
				}
			}

			if known > 90 {
				w.read()
				out = append(out, w)
			}
		}
	}

	return out
}

// invented is a winter whose coldest weeks have a mean of air in degC: water
// follows the air of some days, freezes and marks its flow, and breaks up in
// spring.
func invented(name string, seed uint64, coldest float64) winter {
	rng := rand.New(rand.NewPCG(seed, seed))
	first := coldseam.Date{Year: 2024, Month: 7, Day: 1}
	w := winter{name: name, days: coldseam.Days{First: first, Lat: 45}}
	weather, water, ice, flow := 0., 18., 0., 30.

	for i := range 365 {
		weather = .8*weather + 2.5*rng.NormFloat64()
		air := (22+coldest)/2 + (22-coldest)/2*math.Cos(float64(i-20)/365*2*math.Pi) + weather
		ice = math.Min(math.Max(ice-air, 0), 60)
		if water > .5 {
			ice = 0
		}

		if water += .12 * (air - water); water < .3 || ice > 0 {
			water = .1
		}
		flow = .93*flow + .07*25
		if d := first.Add(i); ice == 0 && air > 2 && d.Year > first.Year && d.Month >= 3 && d.Month <= 5 {
			flow += 1.5 * air // the snow goes
		}
		w.days.AirC, w.days.WaterC = append(w.days.AirC, air), append(w.days.WaterC, water)
		w.days.FlowM3S, w.days.IceMark = append(w.days.FlowM3S, flow), append(w.days.IceMark, ice > 5)
	}

	w.read()
	return w
}

// read makes the readings of the daily means.
func (w *winter) read() {
	w.water = nil
	for i, c := range w.days.WaterC {
		for h := 0; h < 24 && !math.IsNaN(c); h += 3 {
			at := w.days.Day(i).UTC().Add(time.Duration(h) * time.Hour)
			w.water = append(w.water, coldseam.Observation{At: at, KnownAt: at,
				Value: math.Max(c+.05*math.Sin(float64(7*i+h)), 0)})
		}
	}
}

// doubted are the flags with which the store doubts a day's mean.
const doubted = coldseam.Equipment | coldseam.Suspect | coldseam.QCRange | coldseam.QCFlat | coldseam.QCSentinel | coldseam.QCUnit

// means takes the daily means from the readings again, and lets quality control
// flag them.
func (w *winter) means(t *testing.T) {
	t.Helper()
	s, _, err := coldseam.NewSeries(coldseam.SeriesKey{Site: "x:1", Param: coldseam.WaterTemp, Stat: coldseam.Instant},
		w.water)
	require.NoError(t, err)
	w.water = ingest.Check(s, ingest.SiteLimits{}, w.days.Day(w.days.Len()).UTC()).Obs
	n := w.days.Len()
	sum, count := make([]float64, n), make([]float64, n)
	w.days.WaterDoubt = make([]bool, n)

	for _, o := range w.water {
		if i := w.days.Index(coldseam.DateOf(o.At)); o.Flag.Usable() && i < n {
			sum[i], count[i] = sum[i]+o.Value, count[i]+1
			w.days.WaterDoubt[i] = w.days.WaterDoubt[i] || o.Flag&doubted != 0
		}
	}

	w.days.WaterC = make([]float64, n)
	for i := range w.days.WaterC {
		w.days.WaterC[i] = math.NaN()
		if count[i] >= 6 {
			w.days.WaterC[i] = sum[i] / count[i]
		}
	}
}

// from drops or changes the readings after a day of the spring.
func (w *winter) from(month time.Month, day int, change func(coldseam.Observation) (coldseam.Observation, bool)) {
	year := w.days.First.Year
	if month < 7 {
		year++
	}
	at := coldseam.Date{Year: year, Month: month, Day: day}.UTC()
	var out []coldseam.Observation
	for _, o := range w.water {
		keep := true
		if !o.At.Before(at) {
			o, keep = change(o)
		}
		if keep {
			out = append(out, o)
		}
	}
	w.water = out
}

func gone(o coldseam.Observation) (coldseam.Observation, bool) { return o, false }

// iceFaults are what a thermometer, an agency or a person can do to the latch.
// limit is the share of dangerous mornings that are known to get through.
var iceFaults = []struct {
	class, name string
	limit       float64
	do          func(w *winter)
}{
	{"ice", "clean record", 0, func(*winter) {}},
	{"water", "thermometer dead since October, at ten degrees", .05, func(w *winter) { w.from(10, 1, gone) }},
	{"water", "thermometer dead since December", .05, func(w *winter) { w.from(12, 10, gone) }},
	{"water", "thermometer dead since March", .05, func(w *winter) { w.from(3, 1, gone) }},
	{"water", "no thermometer ever", .05, func(w *winter) { w.from(7, 1, gone) }},
	{"water", "every third day missing", .005, func(w *winter) {
		w.from(7, 1, func(o coldseam.Observation) (coldseam.Observation, bool) { return o, o.At.YearDay()%3 != 0 })
	}},
	{"water", "only afternoons sent", 0, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) { return o, o.At.Hour() >= 12 })
	}},
	{"water", "warm readings marked suspect", .05, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.Value, o.Flag = o.Value+3, o.Flag|coldseam.Suspect
			return o, true
		})
	}},
	{"water", "stuck at four degrees since February", .05, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) { o.Value = 4; return o, true })
	}},
	{"water", "values in Fahrenheit since February", .05, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.Value = coldseam.F(o.Value)
			return o, true
		})
	}},
	{"water", "readings without a value since February", .05, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.Value, o.Flag = 0, coldseam.Missing
			return o, true
		})
	}},
	{"water", "stamped two days ahead", .005, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.At = o.At.AddDate(0, 0, 2)
			return o, true
		})
	}},
	{"ice", "a member says open every morning", 0, func(w *winter) {
		for i := range w.days.Len() {
			w.words = append(w.words, ice.Word{At: w.days.Day(i).UTC().Add(10 * time.Hour), Open: true})
		}
	}},
	{"ice", "the admin says open every morning", 0, func(w *winter) {
		for i := range w.days.Len() {
			w.words = append(w.words, ice.Word{At: w.days.Day(i).UTC().Add(10 * time.Hour), Open: true, Admin: true})
		}
	}},
	{"ice", "no air temperature since January", 0, func(w *winter) {
		for i := range w.days.AirC {
			if w.days.Day(i).Year > w.days.First.Year {
				w.days.AirC[i] = math.NaN()
			}
		}
	}},
	{"ice", "no flow since February", 0, func(w *winter) {
		for i := range w.days.FlowM3S {
			if d := w.days.Day(i); d.Year > w.days.First.Year && d.Month >= 2 {
				w.days.FlowM3S[i] = math.NaN()
			}
		}
	}},
	{"ice", "no ice marks", 0, func(w *winter) { w.days.IceMark = nil }},
	{"ice", "no ice marks, thermometer dead since December", .05, func(w *winter) {
		w.days.IceMark = nil
		w.from(12, 10, gone)
	}},
	{"ice", "flow stuck since February", 0, func(w *winter) {
		for i := range w.days.FlowM3S {
			if d := w.days.Day(i); d.Year > w.days.First.Year && d.Month >= 2 {
				w.days.FlowM3S[i] = 40
			}
		}
	}},
	{"ice", "air eight degrees too warm", 0, func(w *winter) {
		for i := range w.days.AirC {
			w.days.AirC[i] += 8
		}
	}},
	{"ice", "ten days of March missing", .005, func(w *winter) {
		w.from(3, 5, func(o coldseam.Observation) (coldseam.Observation, bool) {
			return o, o.At.Month() != 3 || o.At.Day() > 15
		})
	}},
	{"ice", "two days of each week missing", .005, func(w *winter) {
		w.from(11, 1, func(o coldseam.Observation) (coldseam.Observation, bool) { return o, o.At.Weekday() > 1 })
	}},
	{"water", "a degree and a half too warm since January", warmLimit, warmer(1, 1, 1.5)},
	{"water", "three degrees too warm since December", warmLimit, warmer(12, 10, 3)},
	{"water", "three degrees too warm since February", warmLimit, warmer(2, 10, 3)},
	{"water", "six degrees too warm since March", warmLimit, warmer(3, 1, 6)},
	{"water", "only nights sent", .005, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) { return o, o.At.Hour() < 9 })
	}},
	{"water", "at zero since February", 0, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) { o.Value = 0; return o, true })
	}},
	{"water", "every other reading four degrees", .05, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			if o.At.Hour()%6 == 0 {
				o.Value = 4
			}
			return o, true
		})
	}},
	{"water", "two days behind", .05, func(w *winter) {
		w.from(10, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.At = o.At.AddDate(0, 0, -2)
			return o, true
		})
	}},
	{"water", "equipment on every reading since February", .05, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.Flag |= coldseam.Equipment
			return o, true
		})
	}},
	{"water", "estimated since February", 0, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.Flag |= coldseam.Estimated
			return o, true
		})
	}},
	{"water", "Fahrenheit taken for Celsius since February", 0, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.Value = coldseam.C(o.Value)
			return o, true
		})
	}},
}

// warmLimit is the share of dangerous mornings on which a thermometer that stands
// too warm by the same amount every day may get through: a change of it in frost is
// seen, one in a thaw is not.
const warmLimit = .25

func warmer(month time.Month, day int, by float64) func(*winter) {
	return func(w *winter) {
		w.from(month, day, func(o coldseam.Observation) (coldseam.Observation, bool) { o.Value += by; return o, true })
	}
}

// word is the morning's decision where nothing but ice can be wrong.
func (w *winter) word(now time.Time) verdict.Decision {
	upTo := func(obs []coldseam.Observation) []coldseam.Observation {
		i, _ := slices.BinarySearchFunc(obs, now,
			func(o coldseam.Observation, t time.Time) int { return o.At.Compare(t) })
		return obs[max(i-480, 0):i]
	}
	var flow []coldseam.Observation
	for h := 72; h >= 0; h-- {
		at := now.Add(-time.Duration(h)*time.Hour - time.Minute)
		flow = append(flow, coldseam.Observation{At: at, Value: 40 + .1*math.Sin(float64(h)),
			Flag: coldseam.Provisional})
	}

	day := coldseam.DateOf(now)
	m := ice.Moment{
		Now:   now,
		Loc:   time.UTC,
		Days:  w.days.Cut(day.Add(-1)),
		Flow:  flow[:0:0],
		Water: upTo(w.water),
		Words: w.words,
	}
	status, _ := ice.At(m)

	ptr := func(v float64) *float64 { return &v }
	in := verdict.Inputs{
		Now:        now,
		Day:        day,
		Loc:        time.UTC,
		Table:      verdict.DefaultTable(),
		WaterModel: true,
		Ice:        status,
		Reach: coldseam.Reach{
			ID: "r", Site: "x:1", Zone: "UTC", Lat: 45, Lon: -90, MaxFlowM3S: ptr(900), HazardsSurveyed: true,
			Species: []string{"walleye"},
			Rules:   []coldseam.Rule{{Kind: coldseam.RuleSeason, CheckedOn: day.Add(-9), CheckedBy: "keeper"}},
		},
		Gauge:   verdict.Gauge{Discharge: flow, Water: m.Water},
		Alerts:  verdict.Alerts{At: now},
		Weather: verdict.Weather{Issued: now, RainMM: ptr(0)},
	}

	for h := range 30 {
		at := now.Truncate(time.Hour).Add(time.Duration(h) * time.Hour)
		in.Weather.Hours = append(in.Weather.Hours, verdict.Hour{
			From:        at,
			To:          at.Add(time.Hour),
			AirC:        ptr(6),
			WindMS:      ptr(2),
			GustMS:      ptr(4),
			Thunder:     ptr(0),
			PrecipMM:    ptr(0),
			VisibilityM: ptr(20000),
		})
	}

	many := func(v float64, n int) []float64 { return slices.Repeat([]float64{v}, n) }
	in.Candidates = []verdict.Candidate{{
		Start:     now.Add(time.Hour),
		End:       now.Add(4 * time.Hour),
		WaterC:    many(4, 50),
		FlowM3S:   many(40, 50),
		RiseShare: many(0, 50),
		RiseM:     many(0, 50),
		PGood:     many(.8, 50),
		HoldP:     ptr(.95),
		Tie:       "1/4",
	}}
	return verdict.Decide(in)
}

// TestIceSeasons sends each fault through the springs of four rivers. A morning
// is dangerous when the true water is at 33 F or below, clear when it is at
// 36 F or above and was the day before.
func TestIceSeasons(t *testing.T) {
	clean := winters(t)
	step := 4
	if full {
		step = 1
	}

	for _, f := range iceFaults {
		var n count
		silent := 0

		for _, c := range clean {
			w := c
			w.days.AirC, w.days.FlowM3S = slices.Clone(c.days.AirC), slices.Clone(c.days.FlowM3S)
			w.water = slices.Clone(c.water)
			f.do(&w)
			w.means(t)

			for i := 1; i < c.days.Len(); i += step {
				d := c.days.Day(i)
				if k := int(d.Month)*100 + d.Day; d.Year == c.days.First.Year || k < 215 || k > 531 {
					continue
				}
				truth := c.days.WaterC[i]
				v := w.word(d.UTC().Add(11 * time.Hour)).Verdict
				switch {
				case truth <= ice.ColdC:
					n.take(v)
				case truth >= coldseam.C(36) && c.days.WaterC[i-1] >= coldseam.C(36) && !v.ShowsOdds():
					silent++
				}
			}
		}

		known := "-"
		if f.limit == warmLimit {
			known = "thermometer too warm on ice"
		}
		row(t, f.class, f.name, n, known)
		if f.name == "clean record" {
			cost(t, "ice latch", "all rivers", float64(step*silent)/float64(len(clean)), 0)
		}
		assert.LessOrEqual(t, float64(n.words), f.limit*float64(n.danger), f.name)
		// a first cold day that no reading shows cannot be seen
		if f.limit < warmLimit && f.name != "stamped two days ahead" {
			assert.Zero(t, n.goes, "GO under ice: %s", f.name)
		}
	}
}
