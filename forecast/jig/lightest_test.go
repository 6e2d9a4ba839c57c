package jig

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func rig(t testing.TB, body, line, pres string) Rig {
	t.Helper()
	r, err := ParseRig(body, line, "", pres)
	require.NoError(t, err)
	return r
}

func at(ft, fps, tempC float64) Station {
	return Station{DepthM: ft * coldseam.MetrePerFoot, SurfaceMS: fps * coldseam.MetrePerFoot, Water: WaterAt(tempC)}
}

func TestReferenceMasses(t *testing.T) {
	t.Parallel()
	const braid, nylon = "braid-0.14", "nylon-0.28"

	rows := []struct {
		ft, fps          float64
		line, body, pres string
		tempC            float64
		oz               float64
		s, x             float64
		netMN, dragMN, w float64
	}{
		{12, 1.9, braid, "slim", "quartering", 3, .20347, 4.840, 2.803, 58.09, 1.73, .694},
		{12, 1.9, braid, "slim", "quartering", .5, .21092, 0, 0, 0, 0, 0},
		{12, 1.9, braid, "slim", "quartering", 20, .16857, 0, 0, 0, 0, 0},
		{12, 1.9, braid, "slim", "anchored", 3, .39157, 5.286, 3.389, 105.77, 4.06, .908},
		{12, 1.9, braid, "bulky", "quartering", 3, .25210, 4.978, 3.103, 63.16, 7.63, .421},
		{12, 1.9, braid, "bucktail", "quartering", 3, .20901, 4.886, 2.909, 59.88, 3.72, .640},
		{12, 1.9, nylon, "slim", "quartering", 3, .33466, 4.849, 2.803, 91.35, 1.83, .848},
		{10, 1.5, braid, "slim", "quartering", 3, .10547, 4.025, 2.339, 33.25, 1.15, .536},
		{10, 1.0, braid, "slim", "vertical", 3, .19334, 3.346, 1.277, 55.52, 1.26, .682},
		{20, 2.0, nylon, "slim", "quartering", 3, .62795, 8.105, 4.647, 165.69, 2.12, 1.081},
		{15, 3.0, braid, "slim", "drift", 3, .06256, 4.738, .077, 22.37, -2.78, .435},
	}

	for _, r := range rows {
		t.Run(r.body+r.line+r.pres, func(t *testing.T) {
			t.Parallel()
			rg, st := rig(t, r.body, r.line, r.pres), at(r.ft, r.fps, r.tempC)
			kg, ok := Lightest(rg, st)
			require.True(t, ok)
			require.InEpsilon(t, r.oz, coldseam.Oz(kg), .01)

			if r.s == 0 {
				return
			}
			sh := Solve(rg, st, kg)
			require.InEpsilon(t, r.s, sh.LineOutM, .01)
			require.InEpsilon(t, r.x, sh.SetbackM, .01)
			require.InEpsilon(t, r.netMN, sh.NetN*1e3, .01)
			require.InEpsilon(t, r.dragMN, sh.HeldDragN*1e3, .01)
			require.InEpsilon(t, r.w, sh.SinkMS, .01)
		})
	}
}
