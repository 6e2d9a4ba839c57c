package flowlimit_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/flowlimit"
	"example.org/coldseam/forecast/jig"
)

func ptr[T any](v T) *T { return &v }

// flat is a record of n calendar years of 10 m3/s whose flood on a day of each
// year is 100, 200 ... m3/s.
func flat(n int, flood time.Month) coldseam.Days {
	d := coldseam.Days{First: coldseam.Date{Year: 2001, Month: time.January, Day: 1}, Lat: 45}
	for i := range (coldseam.Date{Year: 2001 + n, Month: 1, Day: 1}).Sub(coldseam.Date{Year: 2001, Month: 1, Day: 1}) {
		q := 10.0
		if day := d.Day(i); day.Month == flood && day.Day == 9 {
			q = float64(day.Year-2000) * 100
		}
		d.FlowM3S = append(d.FlowM3S, q)
	}
	return d
}

func bySource(cs []coldseam.FlowCandidate) map[string]coldseam.FlowCandidate {
	out := map[string]coldseam.FlowCandidate{}
	for _, c := range cs {
		out[c.Source] = c
	}
	return out
}

func TestAnnualFloodByWeibull(t *testing.T) {
	t.Parallel()
	// Eleven floods: the fourth smallest is reached in two years of three.
	c := bySource(flowlimit.Propose(flowlimit.Input{Days: flat(11, time.July)}))[coldseam.LimitAnnualFlood]
	require.InDelta(t, 400, c.FlowM3S, 1e-9)
	require.Equal(t, 11, c.Years)

	short := bySource(flowlimit.Propose(flowlimit.Input{Days: flat(9, time.July)}))
	require.NotContains(t, short, coldseam.LimitAnnualFlood)
	require.Contains(t, short, coldseam.LimitSpringP95)

	holes := flat(11, time.July)
	for i := range holes.FlowM3S {
		if day := holes.Day(i); day.Year < 2004 && day.Month == time.March {
			holes.FlowM3S[i] = math.NaN() // 334 days stay
		}
		if day := holes.Day(i); day.Year < 2003 && day.Month == time.May {
			holes.FlowM3S[i] = math.NaN()
		}
	}
	require.NotContains(t, bySource(flowlimit.Propose(flowlimit.Input{Days: holes})), coldseam.LimitAnnualFlood)
}

func TestAgencyStagesThroughTheRating(t *testing.T) {
	t.Parallel()
	rating := &coldseam.Rating{StageM: []float64{1, 2, 3, 4}, Discharge: []float64{10, 40, 90, 160}}
	in := flowlimit.Input{Rating: rating, ActionStageM: ptr(3.0), FloodStageM: ptr(4.0)}
	c := flowlimit.Propose(in)
	require.Len(t, c, 1)
	require.Equal(t, coldseam.LimitActionStage, c[0].Source)
	require.InDelta(t, 90, c[0].FlowM3S, 1e-9)
	require.InDelta(t, 3, *c[0].StageM, 1e-9)
	require.False(t, c[0].Outside)

	in.ActionStageM = nil // minor flood less a foot
	c = flowlimit.Propose(in)
	require.Equal(t, coldseam.LimitFloodStage, c[0].Source)
	want, _ := rating.At(4 - coldseam.MetrePerFoot)
	require.InDelta(t, want, c[0].FlowM3S, 1e-9)

	in.FloodStageM = ptr(9.0)
	require.True(t, flowlimit.Propose(in)[0].Outside)

	in.Rating, in.Curve = nil, jig.StageCurve{FlowM3S: []float64{10, 40, 90}, StageM: []float64{1, 2, 3}}
	in.FloodStageM = ptr(2 + coldseam.MetrePerFoot)
	require.InDelta(t, 40, flowlimit.Propose(in)[0].FlowM3S, 1e-9)

	in.Curve = jig.StageCurve{} // a stage without a relation says nothing
	require.Empty(t, flowlimit.Propose(in))
}

func TestSmallestIsProposed(t *testing.T) {
	t.Parallel()
	c := flowlimit.Propose(flowlimit.Input{Days: flat(11, time.July), ActionStageM: ptr(3.0),
		Rating: &coldseam.Rating{StageM: []float64{1, 3, 5}, Discharge: []float64{10, 90, 250}}})
	var sources []string
	for _, x := range c {
		sources = append(sources, x.Source)
	}
	require.Equal(t, []string{coldseam.LimitActionStage, coldseam.LimitMultiple, coldseam.LimitAnnualFlood}, sources)
	require.InDelta(t, 130, c[1].FlowM3S, 1e-9) // 13 times the median
}

func TestStoppedDaysOfTheLastFiveSprings(t *testing.T) {
	t.Parallel()
	c := bySource(flowlimit.Propose(flowlimit.Input{Days: flat(11, time.April)}))[coldseam.LimitAnnualFlood]
	require.Len(t, c.Springs, 5)
	for i, s := range c.Springs {
		require.Equal(t, coldseam.SpringStops{Year: 2007 + i, Stopped: 1, Measured: 107}, s)
	}
	south := flat(11, time.April)
	south.Lat = -40
	c = bySource(flowlimit.Propose(flowlimit.Input{Days: south}))[coldseam.LimitAnnualFlood]
	require.Equal(t, coldseam.SpringStops{Year: 2011, Stopped: 0, Measured: 106}, c.Springs[4]) // September-15 December
}

func TestFewGaugingsTakeTheUsualExponent(t *testing.T) {
	t.Parallel()
	g := func(q, v float64) coldseam.Gauging { return coldseam.Gauging{DischargeM3S: q, MeanVelMS: &v} }
	iced := g(30, 3)
	iced.Ice = true
	c := flowlimit.Propose(flowlimit.Input{Gaugings: []coldseam.Gauging{g(20, .6), g(25, .7), g(22, .65), iced}})
	require.Len(t, c, 1)
	require.InDelta(t, 22*math.Pow(1.2/.65, 1/.34), c[0].FlowM3S, 1e-6)
	require.Empty(t, flowlimit.Propose(flowlimit.Input{}))
}
