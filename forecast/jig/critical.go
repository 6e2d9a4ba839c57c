package jig

import (
	"math"

	"example.org/coldseam"
)

// criticalTol is the relative accuracy of a critical flow; narrow is half the
// bracket in ln Q in which a straight line reaches it.
const (
	criticalTol = 1e-5
	narrow      = 2e-3
)

// critical computes the flow at which each trade size stops holding, within
// the range that the measurements cover.
func (a *adviser) critical() []coldseam.SizeFlow {
	lo, hi := a.measured()
	if !(lo > 0 && hi > lo) {
		return nil
	}
	c := a.o.curves[0]
	// The odds of a drift have a curve for each boat speed, those of a trial by hand
	// one that spans no flows.
	if a.in.Rig.Pres.Frame != 0 || a.in.Here {
		c = tabulate(a.s, a.in.Rig, lo, hi)
	}
	flows, single := criticalFlows(a.s, a.in.Rig, c, lo, hi, math.Exp(-a.cal.Mean))
	if !single {
		a.note("not_monotone", nil)
	}
	return flows
}

// criticalFlows is the flow at which each trade size stops holding, within lo
// to hi m3/s, which the curve c spans. A head counts as scale times its mass, so
// that a calibrated spot shows its own flows. Where the minimum mass is not
// monotone in the flow the lowest crossing is taken and single is false.
func criticalFlows(s *site, r Rig, c curve, lo, hi, scale float64) (out []coldseam.SizeFlow, single bool) {
	single = true
	for i := 1; i < gridN; i++ {
		single = single && c.lnM[i] >= c.lnM[i-1]-1e-6
	}
	for _, oz := range coldseam.TradeSizesOz {
		f := c.crossing(s, r, oz, oz*coldseam.KgPerOunce*scale)
		switch {
		case f.M3S > hi:
			f.M3S, f.Beyond = hi, true
		case f.M3S < lo:
			f.M3S = 0
		}
		out = append(out, f)
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
	over := func(lnQ float64) float64 { return headroom(s, r, math.Exp(lnQ), kg) }
	// The curve is straight enough that the crossing lies within a thousandth of
	// where it says; then one secant is as good as a search.
	if w := (lnS - c.lnM[i-1]) / (c.lnM[i] - c.lnM[i-1]); w > 0 && w < 1 {
		a, b := lo+w*c.step-narrow, lo+w*c.step+narrow
		if fa, fb := over(a), over(b); fa >= 0 && fb < 0 {
			return coldseam.SizeFlow{Oz: oz, M3S: math.Exp(a + 2*narrow*fa/(fa-fb))}
		}
	}

	flo, fhi := over(lo), over(hi)
	if flo < 0 || fhi >= 0 { // the crossing is a grid point to within rounding
		return coldseam.SizeFlow{Oz: oz, M3S: math.Exp(lo)}
	}

	// The tolerance of zero is relative, so the origin of the logarithm is moved
	// well away from the root.
	const shift = 64
	q := zero(lo+shift, hi+shift, flo, fhi, criticalTol/shift, func(x float64) float64 { return over(x - shift) })
	return coldseam.SizeFlow{Oz: oz, M3S: math.Exp(q - shift)}
}

// headroom is above zero where a head of kg holds bottom at q m3/s and below
// where it does not: the smaller of the margins of angle, sink time and lead.
func headroom(s *site, r Rig, q, kg float64) float64 {
	st, _ := s.at(q).Clamp()
	var c column
	c.init(r, st)
	return min(c.margin(kg), c.sinkMargin(kg))
}
