package jig

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestReferenceDunes(t *testing.T) { // 3 C, d90 = 2 d50, feet [reference calculation]
	t.Parallel()
	rows := []struct{ h, u, mm, rijn, yalin, length float64 }{
		{8, 2.5, .3, 1.04, 1.03, 58}, {15, 2, .3, 1.11, 1.48, 109}, {15, 3, .6, 2.03, 1.97, 109},
		{25, 3, .6, 2.83, 3.19, 182},
	}
	for _, r := range rows {
		b := Dunes(r.h*coldseam.MetrePerFoot, r.u*coldseam.MetrePerFoot, r.mm/1000, WaterAt(3))
		require.InDelta(t, r.rijn, coldseam.Feet(b.VanRijnM), .012, "%+v", r)
		require.InDelta(t, r.yalin, coldseam.Feet(b.YalinM), .012, "%+v", r)
		require.InDelta(t, r.length, coldseam.Feet(b.LengthM), .7)
	}
	for _, h := range []float64{8, 15, 25} {
		b := Dunes(h*coldseam.MetrePerFoot, 1*coldseam.MetrePerFoot, .3e-3, WaterAt(3))
		require.Equal(t, "still", b.State)
	}
}

func TestDunesAsAReason(t *testing.T) {
	t.Parallel()
	dunes := Dunes(8*coldseam.MetrePerFoot, 2.5*coldseam.MetrePerFoot, .3e-3, WaterAt(3)).reason()
	require.Equal(t, "bed_dunes", dunes.Code)
	require.Less(t, dunes.Values["low_m"], dunes.Values["high_m"])
	require.InDelta(t, 58.4, coldseam.Feet(dunes.Values["apart_m"]), .1)
	require.Equal(t, "bed_ripples", Dunes(15*coldseam.MetrePerFoot, 2*coldseam.MetrePerFoot, .3e-3,
		WaterAt(3)).reason().Code)
	require.Equal(t, "bed_still", Dunes(4, .3, 0, WaterAt(3)).reason().Code)
	washed := Dunes(1, 3, .1e-3, WaterAt(3))
	require.Equal(t, "bed_washed_out", washed.reason().Code)
	require.Zero(t, washed.VanRijnM)
}
