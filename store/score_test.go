package store

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The score is the integral of (F(z) - 1{z >= y})^2; a fine sum of that is
// the check of the formula.
func TestCRPSIsTheIntegral(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-5, 5), 1, 12).Draw(t, "x")
		y := rapid.Float64Range(-6, 6).Draw(t, "y")
		const dz = .002
		var sum float64
		for z := -8.0; z < 8; z += dz {
			below := 0.0
			for _, v := range x {
				if v <= z {
					below += 1 / float64(len(x))
				}
			}
			if z >= y {
				below--
			}
			sum += below * below * dz
		}

		require.InDelta(t, sum, crps(x, y), .02)
	})

	require.Zero(t, crps([]float64{3, 3}, 3))
	require.Equal(t, 2.0, crps([]float64{1}, 3))
	require.False(t, math.IsNaN(crps([]float64{1, 2}, 1.5)))
}

func TestPeriodOf(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]string{"P1D": "24h0m0s", "PT24H": "24h0m0s", "PT15M": "15m0s",
		"P1DT2H3M4S": "26h3m4s", "": "0s", "P1M": "0s", "junk": "0s"} {
		require.Equal(t, want, periodOf(s).String(), s)
	}
}
