package verdict

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
)

// anyInputs draws a morning with values, ages and holes at random.
func anyInputs(t *rapid.T) Inputs {
	in := good(.7)
	age := func(name string, most float64) time.Time {
		return in.Now.Add(-hours(rapid.Float64Range(-.5, most).Draw(t, name)))
	}

	series := func(name string, lo, hi float64) []coldseam.Observation {
		n := rapid.IntRange(0, 14).Draw(t, name+" n")
		last := age(name+" age", 10)
		v := rapid.Float64Range(lo, hi).Draw(t, name)
		var out []coldseam.Observation
		for i := range n {
			o := coldseam.Observation{At: last.Add(-time.Duration(n-1-i) * time.Hour),
				Value: v * rapid.Float64Range(.97, 1.1).Draw(t, "step")}
			if rapid.IntRange(0, 9).Draw(t, "flag") == 0 {
				o.Flag = rapid.SampledFrom([]coldseam.Flag{coldseam.Ice, coldseam.Missing, coldseam.QCFail,
					coldseam.Bad, coldseam.Ice | coldseam.Missing, coldseam.Suspect}).Draw(t, "flags")
			}
			out = append(out, o)
		}

		return out
	}

	// Each part is left as on a good morning three times in four, or nothing
	// would ever get through.
	touch := func(name string) bool { return rapid.IntRange(0, 3).Draw(t, "touch "+name) == 0 }
	if touch("flow") {
		in.Gauge.Discharge = series("flow", 40, 200)
	}
	if touch("stage") {
		in.Gauge.Stage = series("stage", 1, 4.4)
	}

	if touch("water") {
		in.Gauge.Water = series("water", 0, 12)
	}
	in.Gauge.DailyOnly = touch("daily")
	if touch("alerts") {
		in.Alerts.At = age("alerts", 2)
	}
	if touch("alert") {
		from := in.Now.Add(hours(rapid.Float64Range(-10, 20).Draw(t, "alert from")))
		in.Alerts.List = []coldseam.Alert{alert(
			rapid.SampledFrom([]string{"Flood Warning", "Flood Watch", "Tornado Warning", "Frost Advisory", ""}).Draw(t,
				"event"), from, from.Add(3*time.Hour))}
	}

	if touch("issue") {
		in.Weather.Issued = age("weather", 14)
	}
	if touch("air max") {
		in.Ice.State = rapid.SampledFrom([]ice.State{ice.Unknown, ice.Open, ice.Open, ice.Open, ice.Ice,
			ice.Breakup}).Draw(t, "ice")
	}
	maybe := func(name string, lo, hi float64) *float64 {
		if rapid.IntRange(0, 19).Draw(t, name+" there") == 0 {
			return nil
		}
		return ptr(rapid.Float64Range(lo, hi).Draw(t, name))
	}

	if touch("weather") {
		a, w, g, th := maybe("air", -20, 12), maybe("wind", 0, 13), maybe("gust", 0, 18), maybe("thunder", 0, .4)
		eachHour(&in, func(h *Hour) { h.AirC, h.WindMS, h.GustMS, h.Thunder = a, w, g, th })
	}

	if touch("years") {
		in.Climate = pastFlows(rapid.SampledFrom([]int{0, 9, 10, 14}).Draw(t, "years"))
	}
	if touch("no max") {
		in.Reach.MaxFlowM3S = nil
	}
	in.Reach.HazardsSurveyed = !touch("surveyed")

	if touch("rule") {
		setRule(&in, in.Day.Add(-rapid.IntRange(-2, 380).Draw(t, "rule")))
	}
	if touch("season") {
		in.Day = in.Day.Add(30)
	}
	in.WaterModel = rapid.Bool().Draw(t, "model")
	in.Cost = rapid.SampledFrom([]float64{0, .2, .7, -1}).Draw(t, "cost")
	in.Prev = rapid.SampledFrom([]*Previous{nil, {Day: in.Day}, {Day: in.Day.Add(-1)}}).Draw(t, "prev")
	in.Candidates = nil

	for range rapid.IntRange(0, 3).Draw(t, "windows") {
		start := at(rapid.IntRange(0, 16).Draw(t, "start"), 0)
		c := candidate(start, start.Add(hours(3.5)), rapid.Float64Range(0, 1).Draw(t, "p"))
		c.PGood = c.PGood[:20]
		c.PFlood = rapid.SampledFrom([]*float64{nil, ptr(0.0), ptr(0.0), ptr(.3)}).Draw(t, "pflood")
		c.HoldP = rapid.SampledFrom([]*float64{nil, ptr(.2), ptr(.9), ptr(.9)}).Draw(t, "hold")
		c.NoneHolds = rapid.Bool().Draw(t, "none")
		in.Candidates = append(in.Candidates, c)
		if in.Prev != nil {
			in.Prev.Windows = append(in.Prev.Windows, coldseam.Window{
				Start:  c.Start,
				End:    c.End,
				OddsOK: rapid.Bool().Draw(t, "had odds"),
				Odds:   min(max(c.PGood[0]+rapid.Float64Range(-.05, .05).Draw(t, "moved"), 0), 1),
			})
		}
	}

	return in
}

// lastUsable restates the newest usable value without the code under test.
func lastUsable(obs []coldseam.Observation, now time.Time) (v float64, age time.Duration, ok bool) {
	for _, o := range obs {
		if o.Flag&(coldseam.Missing|coldseam.Bad|coldseam.QCFail) == 0 && !o.At.After(now.Add(5*time.Minute)) {
			v, age, ok = o.Value, now.Sub(o.At), true
		}
	}
	return v, age, ok
}

// TestOddsOnlyWhenEverythingStands restates the rules of the decision in its
// own words: whatever is drawn, a verdict with odds means that none of them is
// broken.
func TestOddsOnlyWhenEverythingStands(t *testing.T) {
	t.Parallel()
	seen := map[coldseam.Verdict]int{}

	rapid.Check(t, func(t *rapid.T) {
		in := anyInputs(t)
		d := Decide(in)
		seen[d.Verdict]++
		require.Equal(t, d.Verdict.ShowsOdds(), d.OddsOK)

		if !d.Verdict.ShowsOdds() {
			require.Equal(t, -1, d.WindowI)
			for _, w := range d.Windows {
				require.False(t, w.OddsOK)
			}
			require.NotEmpty(t, append(d.Stops, d.Reasons...), "a word without a reason")
			return
		}

		require.Empty(t, d.Stops)
		flow, age, ok := lastUsable(in.Gauge.Discharge, in.Now)
		require.True(t, ok && age <= 6*time.Hour)
		stage, age, ok := lastUsable(in.Gauge.Stage, in.Now)
		require.True(t, ok && age <= 6*time.Hour)
		require.Less(t, stage, 4.0)
		require.LessOrEqual(t, in.Now.Sub(in.Alerts.At), time.Hour)
		require.LessOrEqual(t, in.Now.Sub(in.Weather.Issued), 12*time.Hour)
		require.True(t, in.Reach.MaxFlowM3S != nil && flow < *in.Reach.MaxFlowM3S || in.Reach.MaxFlowM3S == nil &&
			in.Climate.Years >= 10)

		r := in.Reach.Rules[0]
		require.False(t, r.Closed[0].Contains(in.Day))
		require.True(t, in.Day.Sub(r.CheckedOn) <= 365 && in.Day.Sub(r.CheckedOn) >= 0)
		require.Equal(t, ice.Open, d.Ice)
		w := d.Windows[d.WindowI]
		require.NotNil(t, w.AirC)
		require.Less(t, coldseam.MPH(*w.WindMS), 25.0)
		require.Less(t, coldseam.MPH(*w.GustMS), 35.0)
		require.Less(t, *w.Thunder, .30)
		require.Greater(t, WindChillF(coldseam.F(*w.AirC), coldseam.MPH(*w.WindMS)), 0.0)
		_, age, ok = lastUsable(in.Gauge.Water, in.Now)
		require.True(t, in.WaterModel || ok && age <= 120*time.Hour)

		if d.Verdict == coldseam.Go {
			require.True(t, in.Reach.HazardsSurveyed && !in.Gauge.DailyOnly && ok)
			require.NotNil(t, w.HoldP)
			require.GreaterOrEqual(t, *w.HoldP, .5)
			require.GreaterOrEqual(t, d.Odds, min(max(in.cost(), .2), .7)+.10-.05-1e-9, "rounding gives half a tenth")
			require.NotNil(t, in.Candidates[d.WindowI].PFlood)
		}

		for _, a := range in.Alerts.List {
			if a.From.Before(w.End.Add(6*time.Hour)) && a.End.After(w.Start) {
				require.NotContains(t, []string{"Flood Warning", "Tornado Warning"}, a.Event)
				require.False(t, a.Event == "Flood Watch" && d.Verdict == coldseam.Go)
			}
		}
	})

	t.Log("drawn:", seen)
	require.Positive(t, seen[coldseam.Go]+seen[coldseam.TossUp]+seen[coldseam.Stay],
		"nothing got through: the test is blind")
}

func TestPersonalNeverLiftsAStop(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		in := anyInputs(t)
		d := Decide(in)
		b := coldseam.Brief{
			Day:      in.Day,
			Verdict:  d.Verdict,
			Odds:     d.Odds,
			OddsOK:   d.OddsOK,
			Cost:     d.Cost,
			Windows:  d.Windows,
			WindowI:  d.WindowI,
			Stops:    d.Stops,
			Reasons:  d.Reasons,
			Cautions: d.Cautions,
		}
		p := coldseam.Preferences{Cost: rapid.SampledFrom([]float64{0, .2, .7, 9}).Draw(t, "own cost"),
			WindowFrom: rapid.SampledFrom([]string{"", "06:00", "10:00", "x"}).Draw(t, "from"),
			WindowTo:   rapid.SampledFrom([]string{"", "09:00", "14:00", "05:00"}).Draw(t, "to"),
			BoxOz:      rapid.SampledFrom([][]float64{nil, {.25}, {.125, .375}}).Draw(t, "box")}
		got := Personal(b, p, PersonalOptions{Loc: zone})
		if !b.Verdict.ShowsOdds() {
			require.Equal(t, b.Verdict, got.Verdict)
		}
		require.Equal(t, got.Verdict.ShowsOdds(), got.OddsOK)

		if got.Verdict.ShowsOdds() {
			w := got.Windows[got.WindowI]
			require.Empty(t, w.Stops)
			require.True(t, d.Windows[got.WindowI].OddsOK)
			require.False(t, got.Verdict == coldseam.Go && len(w.Caps) > 0 && len(p.BoxOz) == 0)
			require.False(t, math.IsNaN(got.Odds))
		} else {
			require.Equal(t, -1, got.WindowI)
		}
	})
}
