package flow

import (
	"math"
	"testing"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Ponce, Engineering Hydrology, table 9-1 [from memory; K = 2 d, X = .1, dt = 1 d
// inferred from its coefficients]; the last value is a [reference calculation].
func TestMuskingumReproducesPonce(t *testing.T) {
	t.Parallel()
	m, err := NewMuskingum(2, .1, 1)
	require.NoError(t, err)
	require.Equal(t, 1, m.Steps)
	require.InDelta(t, .1304, m.C0, 5e-5)
	require.InDelta(t, .3043, m.C1, 5e-5)
	require.InDelta(t, .5652, m.C2, 5e-5)
	in := []float64{352, 587, 1353, 2725, 4408.5, 5987, 6704, 6951, 6839, 6207, 5346, 4560, 3861.5, 3007, 2357.5, 1779,
		1405, 1123, 952.5, 730, 605, 514, 422, 352}
	want := []float64{352, 382.7, 571.4, 1090.2, 2020.6, 3264.7, 4541.8, 5514.1, 6124.2, 6352.6, 6177.0, 5713.2, 5120.7,
		4461.7, 3744.5, 3066.0, 2457.7, 1963.2, 1575.6, 1275.7, 1022.1, 828.9, 680.0, 558.7}
	require.InDeltaSlice(t, want, m.Route(in), .06)
}

func TestMuskingumKeepsMassAndSteadyFlow(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(0, .4).Draw(t, "x")
		k := rapid.Float64Range(.3, 4).Draw(t, "k")
		dt := k * rapid.Float64Range(2*x+.05, 5).Draw(t, "dt/k")
		m, err := NewMuskingum(k, x, dt)
		if err != nil {
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			return
		}

		require.InDelta(t, 1, m.C0+m.C1+m.C2, 1e-12)
		require.GreaterOrEqual(t, m.C0, -1e-9)
		require.GreaterOrEqual(t, m.C2, -1e-9)
		in := make([]float64, 400)
		for i := range in {
			in[i] = 10
		}

		in[5], in[6] = 60, 90
		out := m.Route(in)
		vol := 0.0
		for _, v := range out {
			vol += v - 10
			require.GreaterOrEqual(t, v, 10-1e-9)
		}
		require.InDelta(t, 130, vol, .5)
	})
}

func TestMuskingumRefusesAStepThatDips(t *testing.T) {
	t.Parallel()
	_, err := NewMuskingum(2, .4, 1)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	_, err = NewMuskingum(0, .1, 1)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

func TestTravelFindsTheLag(t *testing.T) {
	t.Parallel()
	up := river(900, 5)
	down := river(900, 6)
	for i := range down.FlowM3S {
		down.FlowM3S[i] = 3 * up.FlowM3S[max(i-2, 0)] * math.Exp(.01*math.Sin(float64(i)))
	}
	lag, r := Travel(down, up, 5)
	require.Equal(t, 2, lag)
	require.Greater(t, r, .95)
}
