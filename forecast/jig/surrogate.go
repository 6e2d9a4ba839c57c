package jig

import (
	"math"

	"example.org/coldseam"
)

// Surrogate is the power law of the minimum mass in kg: the second route that
// checks the cable solution, and the reason that text gives for a weight. It
// was fitted to quartering casts with a slim body at 3 C; an anchored cast back
// needs 1.9 times that. ok is false for other presentations and outside
// 6-25 ft and 1-3 ft/s, where it is off by more than 11 %.
func Surrogate(r Rig, st Station) (kg float64, ok bool) {
	ft, fps := coldseam.Feet(st.DepthM), coldseam.Feet(st.SurfaceMS)
	oz := .203 * math.Pow(ft/12, depthElastic) * math.Pow(fps/1.9, speedElastic) * math.Pow(r.Line.DiameterM*1000/.14,
		.68)
	switch r.Pres.Name {
	case "quartering":
	case "anchored":
		oz *= 1.9
	default:
		return 0, false
	}
	return oz * coldseam.KgPerOunce, ft >= 6 && ft <= 25 && fps >= 1 && fps <= 3
}
