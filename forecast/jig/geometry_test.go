package jig

import (
	"encoding/csv"
	"math"
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
		area := x[1] * x[3]
		at, err := time.Parse("2006-01-02", r[1])
		require.NoError(t, err)
		out = append(out, coldseam.Gauging{At: at, DischargeM3S: x[0], WidthM: &x[3], AreaM2: &area, MeanVelMS: &x[2]})
	}
	return out
}

func rowsOf(gs []coldseam.Gauging) []row {
	var out []row
	for _, x := range gs {
		out = append(out, row{math.Log(x.DischargeM3S), math.Log(*x.WidthM), math.Log(*x.AreaM2 / *x.WidthM), math.Log(*x.MeanVelMS), 1})
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
	t.Log(g.SDY, g.SDV, g.SComb, g.RVY)
	h, err := Fit(gs)
	require.NoError(t, err)
	t.Logf("%+v", h)
	n, err := FitNear(gs, 30)
	require.NoError(t, err)
	t.Logf("%+v", n)
}

var _ = rapid.Check
