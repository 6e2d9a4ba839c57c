package jig

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func ptr(x float64) *float64 { return &x }

// benchGeometry is the gauge section of the reference computation: depth
// 1.6 x .2018 Q^.4794 and mean speed .9 x .2179 Q^.4057 at the spot.
var benchGeometry = Geometry{A: 22.6, B: .1145, C: .2018, F: .4794, K: .2179, M: .4057, SDY: .17, SDV: .17, RVY: -.6, SComb: .25, QMin: 4, QMax: 120, N: 240}

// flowsAround is 200 lognormal members, drawn with a fixed seed.
func flowsAround(median, sd float64) []float64 {
	rng := rand.New(rand.NewPCG(1, 2))
	out := make([]float64, 200)
	for i := range out {
		out[i] = median * math.Exp(sd*rng.NormFloat64())
	}
	return out
}

// seam is a sounded, timed seam that at 40 m3/s is 12 ft deep with 1.9 ft/s on
// top: the start of the season in the main channel.
func seam(t testing.TB) SpotInput {
	return SpotInput{
		Spot: coldseam.Spot{ID: "main-seam", Name: "Main seam", Kind: coldseam.SpotSeam, Bed: "gravel",
			DepthRefM: ptr(12 * coldseam.MetrePerFoot), StageRefM: ptr(2.0), FlowRef: ptr(40), Sounded: coldseam.Date{Year: 2026, Month: 3, Day: 1},
			FloatMS: ptr(1.9 * coldseam.MetrePerFoot), FloatFlow: ptr(40), FloatN: 5},
		Rig: rig(t, "slim", "braid-0.14", "quartering"), Geometry: benchGeometry,
		FlowM3S: 40, StageM: ptr(2.0), FlowMembers: flowsAround(40, .10), WaterC: 3, WaterOK: true,
	}
}

func TestAdviseStartsTheMainChannelAtAQuarter(t *testing.T) {
	t.Parallel()
	j := Advise(seam(t))
	require.Empty(t, j.Withheld)
	require.Equal(t, .25, j.TieOz)
	require.Equal(t, .375, j.PackOz)
	require.Equal(t, .375, j.NextOz)
	require.InEpsilon(t, .2035, j.MinOz, .03)
	t.Logf("%+v", j)
}

func TestAdviseNeverGuessesADepth(t *testing.T) {
	t.Parallel()
	in := seam(t)
	in.Spot.DepthRefM = nil
	j := Advise(in)
	require.Equal(t, "no_depth", j.Withheld)
	require.Zero(t, j.TieOz)
	require.Empty(t, j.Holds)
	require.NotEmpty(t, j.WithheldText)
}
