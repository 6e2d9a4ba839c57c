package gauntlet

import (
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/ingest"
)

// gauge is what a station sends; the three have the same times.
type gauge struct{ flow, stage, water []coldseam.Observation }

// brandywine reads the half-hourly record, with the stage in hundredths of a
// foot and 4 mm of noise: the file's depth is flow in disguise.
func brandywine(t *testing.T) gauge {
	t.Helper()
	dir := os.Getenv("COLDSEAM_REAL_DATA")
	if dir == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set")
	}
	f, err := os.Open(filepath.Join(dir, "series", "subdaily", "brandywine_30min.csv"))
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)

	rng := rand.New(rand.NewPCG(7, 7))
	var g gauge
	for _, r := range rows[1:] {
		at, err := time.Parse("2006-01-02 15:04:05", r[0])
		require.NoError(t, err)
		at = at.Round(30 * time.Minute)
		put := func(to *[]coldseam.Observation, v float64) {
			*to = append(*to, coldseam.Observation{At: at, KnownAt: at, Value: v, Flag: coldseam.Provisional})
		}
		num := func(s string) float64 {
			v, err := strconv.ParseFloat(s, 64)
			require.NoError(t, err)
			return v
		}
		put(&g.flow, num(r[1]))
		put(&g.water, num(r[2]))
		hundredth := .01 * coldseam.MetrePerFoot
		put(&g.stage, math.Round((num(r[3])+.004*rng.NormFloat64())/hundredth)*hundredth)
	}
	return g
}

// decide is the word at row i: the record up to it, checked as it would have
// been, on a morning on which nothing else is wrong. limit is the flow limit.
func decide(t *testing.T, g gauge, i int, limit float64, strict bool) verdict.Decision {
	t.Helper()
	now := g.flow[i].At.Add(10 * time.Minute)
	check := func(p coldseam.Parameter, obs []coldseam.Observation) []coldseam.Observation {
		s, _, err := coldseam.NewSeries(coldseam.SeriesKey{Site: "x:1", Param: p, Stat: coldseam.Instant}, obs[:i+1])
		require.NoError(t, err)
		return ingest.Check(s, ingest.SiteLimits{}, now).Obs
	}
	day := coldseam.DateOf(now)
	ptr := func(v float64) *float64 { return &v }
	in := verdict.Inputs{
		Now: now,
		Day: day,
		Loc: time.UTC,
		Reach: coldseam.Reach{
			ID: "r", Site: "x:1", Zone: "UTC", Lat: 40, Lon: -75, MaxFlowM3S: &limit, FloodStageM: ptr(9),
			HazardsSurveyed: true, Species: []string{"walleye"}, Regulated: strict,
			Rules: []coldseam.Rule{{Kind: coldseam.RuleSeason, CheckedOn: day.Add(-9), CheckedBy: "keeper"}},
		},
		ReleasePlan: true,
		Table:       verdict.DefaultTable(),
		Season:      verdict.SeasonFlow{Years: 20, MedianM3S: 1, P75M3S: 1.5},
		Gauge: verdict.Gauge{
			Discharge: check(coldseam.Discharge, g.flow), Stage: check(coldseam.Stage, g.stage), Water: check(coldseam.WaterTemp, g.water),
		},
		Alerts:     verdict.Alerts{At: now},
		Weather:    verdict.Weather{Issued: now, RainMM: ptr(0)},
		WaterModel: true,
		Ice:        ice.Status{Record: ice.Record{State: ice.Open, Cause: ice.CauseWarm, Since: day.Add(-30)}},
	}
	for h := range 30 {
		from := now.Truncate(time.Hour).Add(time.Duration(h) * time.Hour)
		in.Weather.Hours = append(in.Weather.Hours, verdict.Hour{
			From: from, To: from.Add(time.Hour), AirC: ptr(15), WindMS: ptr(2), GustMS: ptr(4), Thunder: ptr(0), PrecipMM: ptr(0), VisibilityM: ptr(20000),
		})
	}
	many := func(v float64, n int) []float64 { return slices.Repeat([]float64{v}, n) }
	in.Candidates = []verdict.Candidate{{
		Start: now.Add(time.Hour), End: now.Add(4 * time.Hour), WaterC: many(8, 50), FlowM3S: many(.5, 50), RiseShare: many(0, 50),
		RiseM: many(0, 50), PFlood: ptr(0), PGood: many(.8, 50), HoldP: ptr(.95), Tie: "1/4",
	}}
	return verdict.Decide(in)
}

// onset is when a fault begins.
type onset int

const (
	atPeak     onset = iota
	atStop           // 1 h after the clean record first stops
	beforeRise       // 2 h before the clean record first stops
)

// row is where a fault begins in the event whose stop begins at row e.
func (o onset) row(g gauge, e int) int {
	switch o {
	case atStop:
		return e + 2
	case beforeRise:
		return e - 4
	}
	top := e
	for i := e; i < e+24; i++ {
		if g.flow[i].Value > g.flow[top].Value {
			top = i
		}
	}
	return top + 1
}

// fault changes the readings from row a to row b.
type fault struct {
	name  string
	most  [2]int // half-hours of GO, TOSS-UP or STAY under a stop: plain, strict
	onset onset
	do    func(g *gauge, a, b int)
}

func change(obs []coldseam.Observation, a, b int, f func(k int, o *coldseam.Observation)) []coldseam.Observation {
	out := slices.Clone(obs)
	for i := a; i < min(b, len(out)); i++ {
		f(i-a, &out[i])
	}
	return out
}

// shifted is a flow read by the rating at a stage that is lower by d: the
// nearest stage of the clean record gives it.
func shifted(g gauge, stage float64) float64 {
	best, q := math.Inf(1), 0.
	for i, s := range g.stage {
		if d := math.Abs(s.Value - stage); d < best {
			best, q = d, g.flow[i].Value
		}
	}
	return q
}

// reset puts flow and stage back to what they were half a day before.
func reset(g *gauge, a, b int) {
	q, s := g.flow[a-24].Value, g.stage[a-24].Value
	g.flow = change(g.flow, a, b, func(k int, o *coldseam.Observation) { o.Value = q * (1 + .01*float64(k%3)) })
	g.stage = change(g.stage, a, b, func(k int, o *coldseam.Observation) { o.Value = s + .003*float64(k%3) })
}

var faults = []fault{
	{"unit flip of flow", [2]int{}, atPeak, func(g *gauge, a, b int) {
		g.flow = change(g.flow, a, b, func(_ int, o *coldseam.Observation) { o.Value *= coldseam.CubicMPerCFS })
	}},
	{"unit flip of flow and stage", [2]int{}, atPeak, func(g *gauge, a, b int) {
		g.flow = change(g.flow, a, b, func(_ int, o *coldseam.Observation) { o.Value *= coldseam.CubicMPerCFS })
		g.stage = change(g.stage, a, b, func(_ int, o *coldseam.Observation) { o.Value *= coldseam.MetrePerFoot })
	}},
	{"reset of flow and stage", [2]int{}, atPeak, reset},
	{"reset early in the rise, a limit", [2]int{48, 48}, atStop, reset},
	{"reset of flow", [2]int{}, atPeak, func(g *gauge, a, b int) {
		q := g.flow[a-24].Value
		g.flow = change(g.flow, a, b, func(k int, o *coldseam.Observation) { o.Value = q * (1 + .01*float64(k%3)) })
	}},
	{"alternating", [2]int{}, atPeak, func(g *gauge, a, b int) {
		q := g.flow[a-24].Value
		g.flow = change(g.flow, a, b, func(k int, o *coldseam.Observation) {
			if k%2 == 0 {
				o.Value = q
			}
		})
	}},
	{"lows the agency suspects", [2]int{}, atPeak, func(g *gauge, a, b int) {
		q := g.flow[a-24].Value
		g.flow = change(g.flow, a, b, func(_ int, o *coldseam.Observation) { o.Value, o.Flag = q, o.Flag|coldseam.Suspect })
	}},
	{"creep to base in 3 h", [2]int{2, 0}, atPeak, func(g *gauge, a, b int) {
		base := g.flow[a-24].Value
		clean := *g
		w := func(k int) float64 { return math.Min(float64(k+1)/6, 1) }
		g.flow = change(g.flow, a, b, func(k int, o *coldseam.Observation) {
			o.Value = math.Exp((1-w(k))*math.Log(o.Value) + w(k)*math.Log(base*(1+.01*float64(k%3))))
		})
		g.stage = change(g.stage, a, b, func(k int, o *coldseam.Observation) { o.Value += w(k) * (clean.stage[a-24].Value - o.Value) })
	}},
	{"logger frozen 1 h before", [2]int{16, 16}, beforeRise, func(g *gauge, a, b int) {
		for _, obs := range []*[]coldseam.Observation{&g.flow, &g.stage, &g.water} {
			v := (*obs)[a].Value
			*obs = change(*obs, a, b, func(_ int, o *coldseam.Observation) { o.Value = v })
		}
	}},
	{"flow and stage stuck", [2]int{142, 142}, beforeRise, func(g *gauge, a, b int) {
		for _, obs := range []*[]coldseam.Observation{&g.flow, &g.stage} {
			v := (*obs)[a].Value
			*obs = change(*obs, a, b, func(_ int, o *coldseam.Observation) { o.Value = v })
		}
	}},
	{"datum 0.3 m lower", [2]int{10, 4}, atPeak, func(g *gauge, a, b int) {
		clean := *g
		g.stage = change(g.stage, a, b, func(_ int, o *coldseam.Observation) { o.Value -= .3 })
		g.flow = change(g.flow, a, b, func(k int, o *coldseam.Observation) { o.Value = shifted(clean, clean.stage[a+k].Value-.3) })
	}},
}

func lowest(obs []coldseam.Observation) float64 {
	low := math.Inf(1)
	for _, o := range obs {
		low = math.Min(low, o.Value)
	}
	return low
}

// events are the rows at which the ten largest rises stop the clean record.
func events(stop []bool, g gauge) []int {
	var rows []int
	for i := 480; i+48 < len(stop); i++ {
		if !stop[i] || stop[i-1] || len(rows) > 0 && i-rows[len(rows)-1] < 96 {
			continue
		}
		rows = append(rows, i)
	}
	height := func(i int) float64 {
		top := 0.
		for _, o := range g.flow[i : i+24] {
			top = math.Max(top, o.Value)
		}
		return top / g.flow[i-24].Value
	}
	slices.SortFunc(rows, func(a, b int) int { return int(1e6 * (height(b) - height(a))) })
	return rows[:min(10, len(rows))]
}

// TestFaultsOfARealGauge, in its short form one plain column of every eighth
// half-hour and with COLDSEAM_GAUNTLET=full all of it, holds each fault under its bound on ten real events
// of 24 h, and prints the table. A word is GO, TOSS-UP or STAY while the clean
// record says STOP.
func TestFaultsOfARealGauge(t *testing.T) {
	t.Parallel()
	g := brandywine(t)
	const limit = 2.8
	stride, columns, short := 1, []bool{false, true}, os.Getenv("COLDSEAM_GAUNTLET") != "full"
	if short {
		stride, columns = 8, columns[:1]
	}

	for col, strict := range columns {
		stop, changed := make([]bool, len(g.flow)), 0
		for i := 400; i < len(g.flow); i++ {
			// Near the day's lowest flow a stop is the last hour of one that is
			// kept: no danger. The long form counts what the rules cost there.
			low := g.flow[i].Value < 1.2*lowest(g.flow[i-48:i]) && g.flow[i].Value < limit
			if short && low {
				continue
			}
			d := decide(t, g, i, limit, strict)
			plain := slices.ContainsFunc(d.Stops, func(r coldseam.Reason) bool { return r.Code != "stop_kept" })
			stop[i] = plain && !low
			if !plain && !d.Verdict.ShowsOdds() {
				changed++
			}
		}
		var out strings.Builder
		fmt.Fprintf(&out, "\nstrict %v: clean record, half-hours changed %d of %d\n", strict, changed, len(g.flow)-400)
		rows := events(stop, g)
		free := decide(t, g, 600, limit, strict)
		require.True(t, free.Verdict.ShowsOdds(), "the clean control gives a word: %v", free.Fired)
		for _, f := range faults {
			danger, wrong := 0, 0
			for _, e := range rows {
				a := f.onset.row(g, e)
				bad := g
				f.do(&bad, a, a+48)
				for i := a; i < min(a+48, len(g.flow)); i += stride {
					if !stop[i] {
						continue
					}
					danger++
					if decide(t, bad, i, limit, strict).Verdict.ShowsOdds() {
						wrong++
					}
				}
			}
			fmt.Fprintf(&out, "%-32s danger %4d  word given %4d  bound %d\n", f.name, danger, wrong, f.most[col])
			if wrong > f.most[col] {
				t.Errorf("%s, strict %v: %d, at most %d", f.name, strict, wrong, f.most[col])
			}
		}
		fmt.Fprintf(&out, "events %d\n", len(rows))
		t.Log(out.String())
	}
}
