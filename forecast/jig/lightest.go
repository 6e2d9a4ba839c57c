package jig

import (
	"math"

	"example.org/coldseam"
)

// The search range of a head, kg: a sixteenth is 1.8 g, an ounce 28 g.
const (
	minHeadKG = 0.2e-3
	maxHeadKG = 80e-3
)

// The root search ends when the mass is known to rootTol of itself and hands
// back the side that holds. The nodes of a curve, which is interpolated anyhow,
// need gridTol only; within gridWidth a straight line is as good.
const (
	rootTol   = 1e-8
	gridTol   = 1e-6
	gridWidth = 3e-3
	maxRounds = 60
)

// Lightest returns the smallest head in kg that holds bottom, in
// 0.0002-0.080 kg. ok is false when 80 g does not hold, or a number of the
// station is not finite, or the rig is the zero value. It does not allocate.
func Lightest(r Rig, st Station) (kg float64, ok bool) {
	if !st.finite() || st.DepthM <= bottomM || !r.usable() {
		return 0, false
	}
	var c column
	c.init(r, st)
	return c.lightest()
}

// margin is what is left until the line's steepest angle reaches the limit, as
// a difference of cotangents: below zero it does not hold. The cotangent is
// nearly linear in the mass, which makes a secant converge in a few rounds; a
// line that lies flat has cotangent 0.
func (c *column) margin(m float64) float64 {
	limit := 1 / math.Tan(c.tmax)
	top, ok := c.steepest(m)
	if !ok {
		return -limit
	}
	if top == 0 {
		return math.MaxFloat32
	}
	return 1/top - limit
}

// lightest is the larger of the mass that keeps the angle and the mass that
// sinks in time, to rootTol of itself.
func (c *column) lightest() (float64, bool) {
	lo, hi, flo, fhi := c.bracket(c.guess(), .05)
	if !(fhi >= 0) {
		return 0, false
	}
	m := lo
	if flo < 0 {
		m = zero(hi, lo, fhi, flo, rootTol, c.margin)
	}
	return c.reachFrom(m)
}

// lightestNear is lightest to about a millionth, from a guess that is off by
// about spread of itself: two or three evaluations where the guess is good.
func (c *column) lightestNear(near, spread float64) (float64, bool) {
	lo, hi, flo, fhi := c.bracket(near, spread)
	if !(fhi >= 0) {
		return 0, false
	}
	m := lo
	switch {
	case flo >= 0:
	case hi <= lo*(1+gridWidth):
		m = lo - flo*(hi-lo)/(fhi-flo)
	default:
		m = zero(hi, lo, fhi, flo, gridTol, c.margin)
	}
	return c.reachFrom(m)
}

// zero finds the root of f between a, where it is not negative, and b, where it
// is, by Chandrupatla's method: inverse quadratic steps guarded by bisection.
// It returns a point on the side of a, within tol of itself.
func zero(a, b, fa, fb, tol float64, f func(float64) float64) float64 {
	p, fp := a, fa // the point before
	t := .5
	if fa < math.MaxFloat32 {
		t = fa / (fa - fb)
	}

	for range maxRounds {
		x := a + t*(b-a)
		fx := f(x)
		if (fx < 0) == (fa < 0) {
			p, fp = a, fa
		} else {
			p, fp, b, fb = b, fb, a, fa
		}

		a, fa = x, fx
		limit := tol * math.Abs(a/(b-a))
		if limit > .5 {
			break
		}
		t = .5
		xi, ph := (a-b)/(p-b), (fa-fb)/(fp-fb)
		if ph*ph < xi && (1-ph)*(1-ph) < 1-xi {
			t = fa/(fb-fa)*fp/(fb-fp) + (p-a)/(b-a)*fa/(fp-fa)*fb/(fp-fb)
		}
		t = min(max(t, limit), 1-limit)
	}

	if fa >= 0 {
		return a
	}
	return b
}

// bracket steps from x, first by the factor 1+spread, until the root lies between two masses, or an end of the
// search range is reached; then both margins have the same sign.
func (c *column) bracket(x, spread float64) (lo, hi, flo, fhi float64) {
	x = min(max(x, minHeadKG), maxHeadKG)
	f := c.margin(x)
	step := 1 + spread
	if f < 0 {
		for {
			lo, flo = x, f
			x = min(x*step, maxHeadKG)
			if f = c.margin(x); f >= 0 || x >= maxHeadKG {
				return lo, x, flo, f
			}
			step *= step * step
		}
	}

	for {
		hi, fhi = x, f
		x = max(x/step, minHeadKG)
		if f = c.margin(x); f < 0 || x <= minHeadKG {
			return x, hi, f, fhi
		}
		step *= step * step
	}
}

// guess balances the drag on a straight line at three quarters of the greatest
// angle against the weight. It only saves rounds.
func (c *column) guess() float64 {
	cos := math.Cos(.75 * c.tmax)
	var f float64
	for i := 1; i < len(c.u); i += 4 {
		u := math.Abs(c.u[i]) * cos
		f += c.kn * cylinderCd(u*c.d/c.w.NuM2S) * u * u
	}
	f *= 2 * c.h
	net := f / ((1 - pressBottom) * math.Tan(c.tmax))
	kg := (net - c.rig.netWeightN(0, c.w)) / (coldseam.GravityMPS2 * (1 - c.w.RhoKGM3/c.rig.Metal.RhoKGM3))
	return min(max(kg, 2*minHeadKG), maxHeadKG/2)
}

// reachFrom is the smallest mass of at least lo that reaches, by bisection in
// the logarithm: sinking seldom decides. ok is false when 80 g does not reach.
func (c *column) reachFrom(lo float64) (kg float64, ok bool) {
	if c.sinkMargin(lo) >= 0 {
		return lo, true
	}
	if c.sinkMargin(maxHeadKG) < 0 {
		return 0, false
	}
	a, b := math.Log(lo), math.Log(maxHeadKG)
	for b-a > rootTol {
		mid := (a + b) / 2
		if c.sinkMargin(math.Exp(mid)) >= 0 {
			b = mid
		} else {
			a = mid
		}
	}
	return math.Exp(b), true
}

// SizeFor returns the smallest trade size of at least kg, in oz; ok is false
// above 1 oz.
func SizeFor(kg float64) (oz float64, ok bool) {
	for _, s := range coldseam.TradeSizesOz {
		if s*coldseam.KgPerOunce >= kg {
			return s, true
		}
	}
	return 0, false
}
