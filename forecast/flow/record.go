package flow

import (
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// record is a Days frame prepared for the models: y = ln Q with non-positive,
// estimated and ice-affected days missing in fit and only non-positive ones
// missing in obs.
type record struct {
	ensemble.Donor // Obs is ln(m3/s) of every positive day
	n              int
	fit            []float64 // ln(m3/s), without estimated days
}

func newRecord(d coldseam.Days, tr ensemble.Training) *record {
	d = tr.Mask(d)
	obs, fit := logs(d, d.Len())
	return &record{Donor: ensemble.NewDonor(d, obs), n: d.Len(), fit: fit}
}

// logs returns ln Q of the positive days, and the same without soft days.
func logs(d coldseam.Days, n int) (obs, fit []float64) {
	obs, fit = make([]float64, n), make([]float64, n)
	for i := range n {
		obs[i], fit[i] = math.NaN(), math.NaN()
		if q := coldseam.At(d.FlowM3S, i); q > 0 {
			obs[i] = math.Log(q)
			if i >= len(d.FlowSoft) || !d.FlowSoft[i] {
				fit[i] = obs[i]
			}
		}
	}
	return obs, fit
}

// padTo copies x to length n, NaN beyond its end.
func padTo(x []float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = coldseam.At(x, i)
	}
	return out
}
