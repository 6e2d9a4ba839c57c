package gauntlet

import (
	"math"
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
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set")
	}
	var out []winter
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
				if c := coldseam.At(all.WaterC, i); c == c && d.Month >= 2 && d.Month <= 5 && d.Year > year {
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

// read makes the readings of the daily means.
func (w *winter) read() {
	w.water = nil
	for i, c := range w.days.WaterC {
		for h := 0; h < 24 && c == c; h += 3 {
			at := w.days.Day(i).UTC().Add(time.Duration(h) * time.Hour)
			w.water = append(w.water, coldseam.Observation{At: at, KnownAt: at, Value: math.Max(c+.05*math.Sin(float64(7*i+h)), 0)})
		}
	}
}

// doubted are the flags with which the store doubts a day's mean.
const doubted = coldseam.Equipment | coldseam.Suspect | coldseam.QCRange | coldseam.QCFlat | coldseam.QCSentinel | coldseam.QCUnit

// means takes the daily means from the readings again, and lets quality control
// flag them.
func (w *winter) means(t *testing.T) {
	t.Helper()
	s, _, err := coldseam.NewSeries(coldseam.SeriesKey{Site: "x:1", Param: coldseam.WaterTemp, Stat: coldseam.Instant}, w.water)
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
	name  string
	limit float64
	do    func(w *winter)
}{
	{"clean record", 0, func(*winter) {}},
	{"thermometer dead since October, at ten degrees", .05, func(w *winter) { w.from(10, 1, gone) }},
	{"thermometer dead since December", .05, func(w *winter) { w.from(12, 10, gone) }},
	{"thermometer dead since March", .05, func(w *winter) { w.from(3, 1, gone) }},
	{"no thermometer ever", .05, func(w *winter) { w.from(7, 1, gone) }},
	{"every third day missing", .005, func(w *winter) {
		w.from(7, 1, func(o coldseam.Observation) (coldseam.Observation, bool) { return o, o.At.YearDay()%3 != 0 })
	}},
	{"only afternoons sent", 0, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) { return o, o.At.Hour() >= 12 })
	}},
	{"warm readings marked suspect", .05, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.Value, o.Flag = o.Value+3, o.Flag|coldseam.Suspect
			return o, true
		})
	}},
	{"stuck at four degrees since February", .05, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) { o.Value = 4; return o, true })
	}},
	{"values in Fahrenheit since February", .05, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.Value = coldseam.F(o.Value)
			return o, true
		})
	}},
	{"readings without a value since February", .05, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.Value, o.Flag = 0, coldseam.Missing
			return o, true
		})
	}},
	{"stamped two days ahead", .005, func(w *winter) {
		w.from(2, 1, func(o coldseam.Observation) (coldseam.Observation, bool) {
			o.At = o.At.AddDate(0, 0, 2)
			return o, true
		})
	}},
	{"a member says open every morning", 0, func(w *winter) {
		for i := range w.days.Len() {
			w.words = append(w.words, ice.Word{At: w.days.Day(i).UTC().Add(10 * time.Hour), Open: true})
		}
	}},
	{"the admin says open every morning", 0, func(w *winter) {
		for i := range w.days.Len() {
			w.words = append(w.words, ice.Word{At: w.days.Day(i).UTC().Add(10 * time.Hour), Open: true, Admin: true})
		}
	}},
	{"no air temperature since January", 0, func(w *winter) {
		for i := range w.days.AirC {
			if w.days.Day(i).Year > w.days.First.Year {
				w.days.AirC[i] = math.NaN()
			}
		}
	}},
	{"no flow since February", 0, func(w *winter) {
		for i := range w.days.FlowM3S {
			if d := w.days.Day(i); d.Year > w.days.First.Year && d.Month >= 2 {
				w.days.FlowM3S[i] = math.NaN()
			}
		}
	}},
}

// word is the morning's decision where nothing but ice can be wrong.
func (w *winter) word(now time.Time) verdict.Decision {
	upTo := func(obs []coldseam.Observation) []coldseam.Observation {
		i, _ := slices.BinarySearchFunc(obs, now, func(o coldseam.Observation, t time.Time) int { return o.At.Compare(t) })
		return obs[max(i-480, 0):i]
	}
	var flow []coldseam.Observation
	for h := 72; h >= 0; h-- {
		at := now.Add(-time.Duration(h)*time.Hour - time.Minute)
		flow = append(flow, coldseam.Observation{At: at, Value: 40 + .1*math.Sin(float64(h)), Flag: coldseam.Provisional})
	}
	day := coldseam.DateOf(now)
	m := ice.Moment{Now: now, Loc: time.UTC, Days: w.days.Cut(day.Add(-1)), Flow: flow[:0:0], Water: upTo(w.water), Words: w.words}
	status, _ := ice.At(m)

	ptr := func(v float64) *float64 { return &v }
	in := verdict.Inputs{
		Now: now, Day: day, Loc: time.UTC, Table: verdict.DefaultTable(), WaterModel: true, Ice: status,
		Reach: coldseam.Reach{
			ID: "r", Site: "x:1", Zone: "UTC", Lat: 45, Lon: -90, MaxFlowM3S: ptr(900), HazardsSurveyed: true, Species: []string{"walleye"},
			Rules: []coldseam.Rule{{Kind: coldseam.RuleSeason, CheckedOn: day.Add(-9), CheckedBy: "keeper"}},
		},
		Gauge:   verdict.Gauge{Discharge: flow, Water: m.Water},
		Alerts:  verdict.Alerts{At: now},
		Weather: verdict.Weather{Issued: now, RainMM: ptr(0)},
	}
	for h := range 30 {
		at := now.Truncate(time.Hour).Add(time.Duration(h) * time.Hour)
		in.Weather.Hours = append(in.Weather.Hours, verdict.Hour{
			From: at, To: at.Add(time.Hour), AirC: ptr(6), WindMS: ptr(2), GustMS: ptr(4), Thunder: ptr(0), PrecipMM: ptr(0), VisibilityM: ptr(20000),
		})
	}
	many := func(v float64, n int) []float64 { return slices.Repeat([]float64{v}, n) }
	in.Candidates = []verdict.Candidate{{
		Start: now.Add(time.Hour), End: now.Add(4 * time.Hour), WaterC: many(4, 50), FlowM3S: many(40, 50), RiseShare: many(0, 50),
		RiseM: many(0, 50), PGood: many(.8, 50), HoldP: ptr(.95), Tie: "1/4",
	}}
	return verdict.Decide(in)
}

// TestIceSeasons sends each fault through the springs of four rivers. A morning
// is dangerous when the true water is at 33 F or below, clear when it is at
// 36 F or above and was the day before.
func TestIceSeasons(t *testing.T) {
	clean := winters(t)
	step := 4
	if os.Getenv("COLDSEAM_GAUNTLET") == "full" {
		step = 1
	}
	t.Logf("%-50s %9s %7s %6s %9s %7s", "fault, in "+clean[0].name+" and others", "scenarios", "danger", "words", "of them GO", "clear mornings without a word, a season")
	for _, f := range iceFaults {
		danger, words, goes, silent := 0, 0, 0, 0
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
					danger++
					if v.ShowsOdds() {
						words++
					}
					if v == coldseam.Go {
						goes++
					}
				case truth >= coldseam.C(36) && c.days.WaterC[i-1] >= coldseam.C(36) && !v.ShowsOdds():
					silent++
				}
			}
		}
		t.Logf("%-50s %9d %7d %6d %9d %7.1f", f.name, len(clean), danger, words, goes, float64(step*silent)/float64(len(clean)))
		assert.LessOrEqual(t, float64(words), f.limit*float64(danger), f.name)
		if f.name != "stamped two days ahead" { // a first cold day that no reading shows cannot be seen
			assert.Zero(t, goes, "GO under ice: %s", f.name)
		}
	}
}
