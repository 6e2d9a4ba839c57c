package jig

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// realGaugings reads the 275 public field measurements of one station.
func realGaugings(t *testing.T) []coldseam.Gauging {
	t.Helper()
	dir := os.Getenv("COLDSEAM_REAL_DATA")
	if dir == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: the real field measurements are not read")
	}
	f, err := os.Open(filepath.Join(dir, "series", "gaugings_usgs_01096500.csv"))
	require.NoError(t, err)
	defer f.Close()

	recs, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out []coldseam.Gauging
	for _, r := range recs[1:] {
		var x [4]float64
		for i := range x {
			x[i], err = strconv.ParseFloat(r[2+i], 64)
			require.NoError(t, err)
		}
		at, err := time.Parse("2006-01-02", r[1])
		require.NoError(t, err)
		out = append(out, gauging(x[0], x[3], x[1], x[2]))
		out[len(out)-1].At = at
	}

	return out
}

// gauging is a field measurement of flow, width, mean depth and mean speed.
func gauging(q, w, y, v float64) coldseam.Gauging {
	a := w * y
	return coldseam.Gauging{DischargeM3S: q, WidthM: &w, AreaM2: &a, MeanVelMS: &v}
}

func rowsOf(gs []coldseam.Gauging) []row {
	var out []row
	for _, x := range gs {
		out = append(out, row{math.Log(x.DischargeM3S), math.Log(*x.WidthM), math.Log(*x.AreaM2 / *x.WidthM),
			math.Log(*x.MeanVelMS), 1})
	}
	return out
}

// The published fit of all rows [source: AHGestimation article].
func TestFitReproducesThePublishedStation(t *testing.T) {
	t.Parallel()
	gs := realGaugings(t)
	require.Len(t, gs, 275)
	var g Geometry
	g.fitLogs(rowsOf(gs))
	for _, x := range []struct{ want, got float64 }{
		{.2018376, g.C}, {.4794202, g.F}, {22.6153841, g.A}, {.1145234, g.B}, {.2178592, g.K}, {.4056932, g.M},
		{.9996368, g.Sum()}, {.9944476, g.Product()},
	} {
		require.InDelta(t, x.want, x.got, 1e-7)
	}
	require.InDelta(t, .271, g.SDY, .0015)
	require.InDelta(t, .315, g.SDV, .0020)
	require.InDelta(t, .378, g.SComb, .0010)
}

func TestFitRulesOnTheRealStation(t *testing.T) { // [reference calculation]
	t.Parallel()
	gs := realGaugings(t)
	g, err := Fit(gs)
	require.NoError(t, err)
	require.Equal(t, 3, g.Unbalanced)
	require.Equal(t, 240, g.N)
	require.InDelta(t, .184, g.C, .0005)
	require.InDelta(t, .501, g.F, .0005)
	require.InDelta(t, .2385, g.K, .0005)

	require.InDelta(t, .387, g.M, .0005)
	require.InDelta(t, .154, g.SDY, .001)
	require.InDelta(t, .167, g.SDV, .001)
	require.InDelta(t, .243, g.SComb, .001)
	require.Less(t, g.RVY, -.5, "a deeper section is a slower one")
	high, err := FitNear(gs, 60)
	require.NoError(t, err)
	require.Less(t, high.M, g.M, "the speed exponent falls in the upper half")
	require.Less(t, high.SComb, g.SComb)
}

// river draws gaugings that obey W Y V = Q with scatter.
func river(n int, lo, hi float64, seed uint64) []coldseam.Gauging {
	rng := rand.New(rand.NewPCG(seed, 7))
	var out []coldseam.Gauging
	for range n {
		q := lo * math.Pow(hi/lo, rng.Float64())
		e := .05 * rng.NormFloat64()
		w, y := 20*math.Pow(q, .2), .2*math.Pow(q, .45)*math.Exp(e)
		out = append(out, gauging(q, w, y, q/(w*y)))
	}
	return out
}

func TestFitLeavesOutWhatItMust(t *testing.T) {
	t.Parallel()
	gs := river(40, 2, 60, 1)
	want, err := Fit(gs)
	require.NoError(t, err)
	require.False(t, want.Default)
	require.InDelta(t, .45, want.F, .02)
	require.InDelta(t, 1, want.Sum(), 1e-9)
	require.InDelta(t, 1, want.Product(), 1e-9)

	iced := gauging(5, 10, 3, .1)
	iced.Ice = true
	blank := coldseam.Gauging{DischargeM3S: 7}
	nan := gauging(math.NaN(), 10, 1, 1)
	off := gauging(10, 20, 1, .6) // W Y V is 12, 20 % off

	wild := gauging(20, 36, .2, 20/(36*.2))
	got, err := Fit(append(append([]coldseam.Gauging(nil), gs...), iced, blank, nan, off, wild))
	require.NoError(t, err)
	require.Equal(t, 1, got.Ice)
	require.Equal(t, 2, got.Blank)
	require.Equal(t, 1, got.Unbalanced)
	require.GreaterOrEqual(t, got.Clipped, 1)
	require.InDelta(t, want.F, got.F, .02)
	require.InDelta(t, want.K, got.K, .02)
}

func TestFitFallsBackToDefaultExponents(t *testing.T) {
	t.Parallel()
	for name, gs := range map[string][]coldseam.Gauging{"few": river(9, 2, 60, 3), "narrow": river(30, 20, 50, 3),
		"one": river(1, 5, 6, 3)} {
		g, err := Fit(gs)
		require.NoError(t, err, name)
		require.True(t, g.Default, name)
		require.Equal(t, [3]float64{.26, .40, .34}, [3]float64{g.B, g.F, g.M})
		require.InDelta(t, 1, g.Product(), 1e-9, "it passes through a row that balances")
	}
	_, err := Fit(nil)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	_, err = FitNear(river(20, 2, 60, 1), math.NaN())
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

func TestWadingRowsCountHalf(t *testing.T) {
	t.Parallel()
	gs := river(40, 2, 60, 5)
	for i := range gs {
		if gs[i].DischargeM3S < 10 { // waded at a narrower section: deeper for its flow
			y := *gs[i].AreaM2 / *gs[i].WidthM * 1.08
			gs[i] = gauging(gs[i].DischargeM3S, *gs[i].WidthM/1.08, y, *gs[i].MeanVelMS)
		}
	}

	all, err := Fit(gs)
	require.NoError(t, err)
	for i := range gs {
		if gs[i].DischargeM3S < 10 {
			gs[i].Method = "wading"
		}
	}

	half, err := Fit(gs)
	require.NoError(t, err)
	require.Less(t, half.DepthM(5), all.DepthM(5))
}

func TestFitIsDeterministicAndFinite(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 30).Draw(t, "n")
		var gs []coldseam.Gauging
		for range n {
			gs = append(gs, gauging(rapid.Float64().Draw(t, "q"), rapid.Float64().Draw(t, "w"),
				rapid.Float64().Draw(t, "y"), rapid.Float64().Draw(t, "v")))
		}
		gs = append(gs, river(rapid.IntRange(0, 20).Draw(t, "good"), 1, 30, 9)...)
		a, errA := Fit(gs)
		b, errB := Fit(gs)
		require.Equal(t, errA == nil, errB == nil)
		require.Equal(t, a, b)

		if errA == nil {
			for _, x := range []float64{a.A, a.B, a.C, a.F, a.K, a.M, a.SComb, a.QMin, a.QMax} {
				require.False(t, math.IsNaN(x) || math.IsInf(x, 0))
			}
			require.True(t, a.Valid())
		}
	})
}

// Sum and Product are 1 when every row satisfies Q = W Y V. They test the
// data; the fit does not impose them.
func (g Geometry) Sum() float64 { return g.B + g.F + g.M }

// Product is A C K.
func (g Geometry) Product() float64 { return g.A * g.C * g.K }
