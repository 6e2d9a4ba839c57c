package jig

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// season draws ten timings at a spot whose current is true to its own ratio, each
// off by what three floats scatter.
func season(rng *rand.Rand, in SpotInput, ratio float64) []Timing {
	var out []Timing
	for range 10 {
		q := 25 + 40*rng.Float64()
		us := ratio * in.Geometry.MeanMS(q) * (1 + DefaultProfile)
		out = append(out, Timing{SurfaceMS: us * math.Exp(timedSpeedLnSD*rng.NormFloat64()), FlowM3S: q})
	}
	return out
}

// Ten timings of one season halve the spread of the predicted minimum weight, seen
// from outside (against the truth) and as the model states it.
func TestTenTimingsHalveTheSpread(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(10, 21))
	in := seam(t)
	in.Spot.FloatMS, in.Spot.FloatFlow = nil, nil
	kind := kindRatio(in.Spot.Kind)
	least := func(in SpotInput, us float64) float64 {
		s, _ := in.site()
		st := s.at(40)
		if us > 0 {
			st.SurfaceMS = us
		}
		kg, ok := Lightest(in.Rig, st)
		require.True(t, ok)
		return math.Log(kg)
	}

	var before, after float64
	const seasons = 300
	for range seasons {
		ratio := kind.r * math.Exp(kind.lnSD*rng.NormFloat64())
		truth := least(in, ratio*in.Geometry.MeanMS(40)*(1+DefaultProfile))
		timed := in
		timed.Timings = season(rng, in, ratio)
		before += math.Pow(least(in, 0)-truth, 2)
		after += math.Pow(least(timed, 0)-truth, 2)
	}
	before, after = math.Sqrt(before/seasons), math.Sqrt(after/seasons)
	t.Logf("spread of ln minimum weight: %.3f before, %.3f after ten timings", before, after)
	require.LessOrEqual(t, after, before/2)

	timed := in
	timed.Timings = season(rng, in, kind.r)
	a, b := Advise(in).ModelLnSD, Advise(timed).ModelLnSD
	t.Logf("stated: %.3f and %.3f", a, b)
	require.LessOrEqual(t, b, a/2)
}

// Timings move the weight and nothing that a word looks at; they open nothing.
func TestTimingsMoveNoWord(t *testing.T) {
	t.Parallel()
	in, plain := seam(t), Advise(seam(t))
	for range 10 {
		in.Timings = append(in.Timings, Timing{SurfaceMS: 2.5 * coldseam.MetrePerFoot, FlowM3S: 40})
	}
	j := Advise(in)
	require.Greater(t, j.TieOz, plain.TieOz)
	require.Equal(t, plain.Holds, j.Holds)
	p, _ := HoldP(plain, nil, 0)
	q, _ := HoldP(j, nil, 0)
	require.Equal(t, p, q)

	wild := seam(t)
	wild.Timings = []Timing{{SurfaceMS: 3, FlowM3S: 40}, {SurfaceMS: .01, FlowM3S: 40}, {SurfaceMS: math.NaN(), FlowM3S: 40}}
	got := Advise(wild)
	got.TimedHolds = nil
	require.Equal(t, plain, got, "outliers are refused")

	// Anchoring is withheld for the current; slow floats do not open it.
	fast := seam(t)
	fast.Rig = rig(t, "slim", braid, "anchored")
	fast.Spot.FloatMS = ptr(3.2 * coldseam.MetrePerFoot)
	for range 10 {
		fast.Timings = append(fast.Timings, Timing{SurfaceMS: 2.6 * coldseam.MetrePerFoot, FlowM3S: 40})
	}
	require.Equal(t, "anchor", Advise(fast).Withheld.Code)

	// Fast floats withhold a weight; the order of the spots stays.
	faster := seam(t)
	faster.Spot.FloatMS = ptr(3.9 * coldseam.MetrePerFoot)
	for range 10 {
		faster.Timings = append(faster.Timings, Timing{SurfaceMS: 5.3 * coldseam.MetrePerFoot, FlowM3S: 40})
	}
	other := seam(t)
	other.Spot.ID = "other"
	all := Reach([]SpotInput{faster, other}, nil)
	if Advise(faster).TieOz > 0 {
		t.Fatal("the floats should withhold the weight")
	}
	without := faster
	without.Timings = nil
	require.Equal(t, Reach([]SpotInput{without, other}, nil)[0].SpotID, all[0].SpotID)
}

// Without any known current the middle timing stands for it.
func TestTimingsWhereNothingWasKnown(t *testing.T) {
	t.Parallel()
	in := seam(t)
	in.Geometry, in.Spot.FloatMS = Geometry{}, nil
	require.Equal(t, "no_speed", Advise(in).Withheld.Code)
	for _, us := range []float64{.55, .58, .6} {
		in.Timings = append(in.Timings, Timing{SurfaceMS: us, FlowM3S: 40})
	}
	j := Advise(in)
	require.Positive(t, j.TieOz)
	require.InDelta(t, .58, j.SurfaceMS, .02)
	require.Empty(t, j.Holds, "a word knows nothing of it")
}
