package run

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestRecalibrate(t *testing.T) {
	t.Parallel()
	rng := stream(3, 3)
	var over []Resolved
	for range 400 {
		p := .05 + .9*rng.Float64()
		over = append(over, Resolved{P: p, Wave: rng.Float64() < p/2}) // twice too sure
	}

	r := Recalibrate(over)
	require.Equal(t, 400, r.N)
	require.Less(t, r.Apply(.8), .6)
	require.Greater(t, r.Apply(.8), r.Apply(.4), "order stays")
	require.Zero(t, r.Apply(0))
	require.InDelta(t, 1, r.Apply(1), 0)

	few := Recalibrate(over[:49])
	require.Equal(t, Recalibration{B: 1, N: 49, Rule: coldseam.WaveRule}, few)
	require.InDelta(t, .8, few.Apply(.8), 0)
	require.InDelta(t, .8, Recalibration{}.Apply(.8), 0)
	var right []Resolved
	for range 4000 {
		p := .05 + .9*rng.Float64()
		right = append(right, Resolved{P: p, Wave: rng.Float64() < p})
	}

	require.InDelta(t, .6, Recalibrate(right).Apply(.6), .04)
}

func TestForecastRecalibrated(t *testing.T) {
	t.Parallel()
	in := morning(t, 84, 20)
	plain, err := Forecast(in)
	require.NoError(t, err)
	in.Recal = Recalibration{A: -1, B: 1, N: 60, Rule: coldseam.WaveRule}
	moved, err := Forecast(in)
	require.NoError(t, err)
	require.InDelta(t, in.Recal.Apply(plain.State.PWave3d), moved.State.PWave3d, 1e-12)
	require.Less(t, moved.State.Days[1].PWave, plain.State.Days[1].PWave)
	require.Equal(t, plain.State.Arrived, moved.State.Arrived)
}

// A lesson from waves by another rule is none.
func TestAnotherRulesLessonMovesNothing(t *testing.T) {
	t.Parallel()
	require.InDelta(t, .2, Recalibration{A: 1, B: 1, N: 90}.Apply(.2), 0)
}
