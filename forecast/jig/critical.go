package jig

import (
	"math"

	"example.org/coldseam"
)

// criticalRounds halve a bracket of the 24-point grid, a factor of 1.3 at
// most, to better than one part in 10,000.
const criticalRounds = 12

// critical computes the flow at which each trade size stops holding, within
// the range that the measurements cover.
func (a *adviser) critical() []coldseam.SizeFlow {
	lo, hi := a.in.Geometry.QMin*outsideLow, a.in.Geometry.QMax*outsideHigh
	if !a.in.Geometry.Valid() {
		lo, hi = a.s.speedQ/defaultQSpan, a.s.speedQ*defaultQSpan
	}
	if !(lo > 0 && hi > lo) {
		return nil
	}
	flows, single := criticalFlows(a.s, a.in.Rig, lo, hi, math.Exp(-a.cal.Mean))
	if !single {
		a.warn("not_monotone", "note", "weight does not rise steadily with flow here; the lowest crossing is used", "")
	}
	return flows
}

// criticalFlows is the flow at which each trade size stops holding, within lo
// to hi m3/s. A head counts as scale times its mass, so that a calibrated spot
// shows its own flows. Where the minimum mass is not monotone in the flow the
// lowest crossing is taken and single is false.
func criticalFlows(s *site, r Rig, lo, hi, scale float64) (out []coldseam.SizeFlow, single bool) {
	c := tabulate(s, r, lo, hi)
	single = true
	for i := 1; i < gridN; i++ {
		single = single && c.lnM[i] >= c.lnM[i-1]-1e-6
	}
	for _, oz := range coldseam.TradeSizesOz {
		out = append(out, c.crossing(s, r, oz, oz*coldseam.KgPerOunce*scale))
	}
	return out, single
}

func (c *curve) crossing(s *site, r Rig, oz, kg float64) coldseam.SizeFlow {
	lnS := math.Log(kg)
	i := 0
	for i < gridN && c.lnM[i] <= lnS {
		i++
	}
	switch i {
	case 0:
		return coldseam.SizeFlow{Oz: oz}
	case gridN:
		return coldseam.SizeFlow{Oz: oz, M3S: math.Exp(c.lnQ0 + c.step*(gridN-1)), Beyond: true}
	}
	lo := c.lnQ0 + c.step*float64(i-1)
	hi := lo + c.step
	for range criticalRounds {
		mid := (lo + hi) / 2
		st, _ := s.at(math.Exp(mid)).Clamp()
		var col column
		col.init(r, st)
		if col.holds(kg) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return coldseam.SizeFlow{Oz: oz, M3S: math.Exp((lo + hi) / 2)}
}
