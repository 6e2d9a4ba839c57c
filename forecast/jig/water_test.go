package jig

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestWaterTable(t *testing.T) {
	t.Parallel()
	rows := []struct{ c, rho, mu, nu float64 }{ // [reference calculation]
		{0, 999.843, 1.7918, 1.7921}, {2, 999.943, 1.6736, 1.6736}, {5, 999.967, 1.5182, 1.5182},
		{10, 999.703, 1.3059, 1.3063}, {15, 999.103, 1.1376, 1.1386}, {20, 998.207, 1.0016, 1.0034},
		{25, 997.047, .8900, .8926},
	}
	for _, r := range rows {
		w := WaterAt(r.c)
		require.InDelta(t, r.rho, w.RhoKGM3, 6e-4)
		require.InDelta(t, r.mu, viscosityPaS(r.c)*1e3, 6e-5)
		require.InDelta(t, r.nu, w.NuM2S*1e6, 6e-5)
	}
}

// A textbook example gives 1.138e-3 Pa s and 999.1 kg/m3 at 15 C [source: one
// page].
func TestWaterAgainstATextbook(t *testing.T) {
	t.Parallel()
	require.InEpsilon(t, 1.138e-3, viscosityPaS(15), 1e-3)
	require.InDelta(t, 999.1, densityKGM3(15), .05)
}

func TestWaterIsHeldToItsRange(t *testing.T) {
	t.Parallel()
	require.Equal(t, WaterAt(0), WaterAt(-7))
	require.Equal(t, WaterAt(40), WaterAt(90))
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0, 39).Draw(t, "c")
		require.Greater(t, WaterAt(a).NuM2S, WaterAt(a+1).NuM2S)
	})
}
