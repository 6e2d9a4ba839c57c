package verdict

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/notify"
)

var zone = time.FixedZone("river", -6*3600)

// at is a local time of the test morning, 20 March 2026.
func at(hour, minute int) time.Time { return time.Date(2026, 3, 20, hour, minute, 0, 0, zone) }

func ptr[T any](v T) *T { return &v }

// steady makes half-hourly rows of the last 60 h up to 4:45, the newest of
// value v, others a hair above: a sensor that never moves is not trusted.
func steady(v float64) []coldseam.Observation {
	var out []coldseam.Observation
	for k := 120; k >= 0; k-- {
		t := at(4, 45).Add(-time.Duration(k) * 30 * time.Minute)
		out = append(out, coldseam.Observation{
			At:      t.UTC(),
			KnownAt: t.Add(10 * time.Minute).UTC(),
			Value:   v * (1 + .0002*float64(k%3)),
			Flag:    coldseam.Provisional,
		})
	}
	return out
}

func repeat(v float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}

// tamsen is a reach where everything is known and nothing stops.
func tamsen() coldseam.Reach {
	return coldseam.Reach{
		ID:              "tamsen-bend",
		River:           "Tamsen",
		Name:            "Bend reach",
		Site:            "gauges:T1",
		Zone:            "America/Chicago",
		Lat:             44.5,
		Lon:             -92,
		MaxFlowM3S:      ptr(180.0),
		FloodStageM:     ptr(4.0),
		ActionStage:     ptr(3.2),
		HazardsSurveyed: true,
		Hazards:         []string{"strainers below the bend"},
		Species:         []string{"walleye"},
		ResidentShare:   .15,
		Rules: []coldseam.Rule{{Kind: coldseam.RuleSeason, Species: "walleye", Text: "Walleye closed",
			Link:      "https://rules.example.org",
			Closed:    []coldseam.DayRange{{FromMonth: 4, FromDay: 15, ToMonth: 5, ToDay: 10}},
			CheckedOn: coldseam.Date{Year: 2026, Month: 3, Day: 1}, CheckedBy: "keeper"}},
	}
}

// pastFlows is a climate of n years of flows spread evenly over 20-150 m3/s.
func pastFlows(n int) Climate {
	days := coldseam.Days{First: coldseam.Date{Year: 2026 - n, Month: 1, Day: 1}}
	for i := range n * 366 {
		days.FlowM3S = append(days.FlowM3S, 20+130*float64((i*37)%101)/100)
	}
	return ClimateOf(days, coldseam.Date{Year: 2026, Month: 3, Day: 20})
}

func calm() Weather {
	w := Weather{Issued: at(0, 0), RainMM: ptr(0.0)}
	for h := 0; h < 48; h++ {
		from := at(0, 0).Add(time.Duration(h) * time.Hour)
		w.Hours = append(w.Hours, Hour{
			From:        from,
			To:          from.Add(time.Hour),
			AirC:        ptr(4.0),
			WindMS:      ptr(2.0),
			GustMS:      ptr(4.0),
			Thunder:     ptr(0.0),
			PrecipMM:    ptr(0.0),
			VisibilityM: ptr(20000.0),
		})
	}
	return w
}

func candidate(from, to time.Time, p float64) Candidate {
	return Candidate{
		Start:     from,
		End:       to,
		WaterC:    repeat(4, 100),
		FlowM3S:   repeat(68, 100),
		RiseShare: repeat(.01, 100),
		RiseM:     repeat(.02, 100),
		PFlood:    ptr(0.0),
		PGood:     repeat(p, 500),
		HoldP:     ptr(.95),
		Tie:       "1/4",
	}
}

// good is a morning on which nothing is wrong and the odds are p.
func good(p float64) Inputs {
	return Inputs{
		Now:        at(4, 50),
		Day:        coldseam.Date{Year: 2026, Month: 3, Day: 20},
		Loc:        zone,
		Reach:      tamsen(),
		Table:      DefaultTable(),
		Gauge:      Gauge{Discharge: steady(68), Stage: steady(2.1), Water: steady(3.9), Turbidity: steady(8)},
		Alerts:     Alerts{At: at(4, 46)},
		Weather:    calm(),
		Climate:    pastFlows(12),
		WaterModel: true,
		Candidates: []Candidate{candidate(at(7, 0), at(10, 30), p)},
		Sun:        SunOf(coldseam.Date{Year: 2026, Month: 3, Day: 20}, 44.5, -92, zone),
		Ice:        latch(ice.Open, ice.CauseWarm),
	}
}

func latch(s ice.State, cause string) ice.Status {
	return ice.Status{Record: ice.Record{State: s, Cause: cause, Since: coldseam.Date{Year: 2026, Month: 3, Day: 2}}}
}

// TestEntriesThatCannotBeReadAreNamed: while an older complete reading of the
// warnings holds, the input says what the newest lacks; then there is no call.
func TestEntriesThatCannotBeReadAreNamed(t *testing.T) {
	t.Parallel()
	in := good(.8)
	in.Alerts.Gaps = []coldseam.FeedGap{{Entry: "urn:7", Title: "Flood Watch", Why: "unread"}}
	alerts := func(d Decision) coldseam.Input {
		i := slices.IndexFunc(d.Inputs, func(i coldseam.Input) bool { return i.Key == "alerts" })
		return d.Inputs[i]
	}
	d := Decide(in)
	require.Equal(t, coldseam.Go, d.Verdict)
	require.Equal(t, "alerts_incomplete", alerts(d).Note[0].Code)
	require.Equal(t, "unread", alerts(d).Note[0].Names["why"])

	in.Alerts.At = in.Now.Add(-2 * time.Hour)
	d = Decide(in)
	require.Equal(t, coldseam.NoCall, d.Verdict)
	require.Equal(t, "alerts_incomplete", d.Reasons[0].Code)
	require.Equal(t, StateFailed, alerts(d).State)
}

func TestDecideByOdds(t *testing.T) {
	t.Parallel()

	for _, r := range []struct {
		name string
		p    float64
		want coldseam.Verdict
	}{{"well above", .8, coldseam.Go}, {"printed at the edge", .45, coldseam.Go}, {"just under", .449, coldseam.TossUp},
		{"low edge", .25, coldseam.TossUp}, {"below", .249, coldseam.Stay}} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			d := Decide(good(r.p))
			require.Equal(t, r.want, d.Verdict, "%+v", d.Reasons)
			require.True(t, d.OddsOK)
			require.InDelta(t, r.p, d.Odds, 1e-9)
			require.Equal(t, 0, d.WindowI)
			require.Empty(t, d.Stops)
			require.Equal(t, "Water 39F: wear the life jacket.", notify.ReasonText(d.Life, "", ""))
		})
	}
}

func TestZeroInputsAreNoCall(t *testing.T) {
	t.Parallel()
	d := Decide(Inputs{})
	require.Equal(t, coldseam.NoCall, d.Verdict)
	require.False(t, d.OddsOK)
	require.NotEmpty(t, d.Reasons)
	require.False(t, d.ShowLines)
}

func TestNullValueWithIceQualifierStops(t *testing.T) {
	t.Parallel()
	in := good(.99)
	in.Gauge.Discharge = append(in.Gauge.Discharge,
		coldseam.Observation{At: at(4, 48), Flag: coldseam.Missing | coldseam.Ice, Qualifiers: []string{"Ice"}})
	d := Decide(in)
	require.Equal(t, coldseam.Stop, d.Verdict)
	require.Equal(t, "ice_qualifier", d.Stops[0].Code)
	require.False(t, d.OddsOK)
}
