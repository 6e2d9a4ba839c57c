package run

import (
	"math"
	"slices"

	"example.org/coldseam"
)

// Resolved is one wave forecast that came true or not.
type Resolved struct {
	P    float64
	Wave bool
}

// minResolved is the number of resolved days before wave odds are moved
// [proposal].
const minResolved = 50

// Recalibration moves wave odds by logit(p') = A + B logit(p). The zero value
// changes nothing.
type Recalibration struct {
	A, B float64
	N    int
	Rule int // of the waves it was fitted to, see coldseam.WaveRule
}

// Recalibrate fits a recalibration to resolved days, with B ~ N(1, .3) and
// A ~ N(0, 1) before [proposal].
// Under 50 days the identity is returned with their number.
// Days on which no trajectory or every one had a wave are left out, as Apply
// leaves their odds.
func Recalibrate(days []Resolved) Recalibration {
	days = slices.DeleteFunc(slices.Clone(days), func(d Resolved) bool { return d.P <= 0 || d.P >= 1 })
	r := Recalibration{B: 1, N: len(days), Rule: coldseam.WaveRule}
	if len(days) < minResolved {
		return r
	}
	fit := fitOdds(days, r, 1, .3)
	r.A, r.B = fit.A, fit.B
	return r
}

// fitOdds is the maximum of the posterior of A and B about a prior, by Newton's
// method.
func fitOdds(days []Resolved, prior Recalibration, sdA, sdB float64) Recalibration {
	r, precA, precB := prior, 1/(sdA*sdA), 1/(sdB*sdB)

	for range 50 {
		ga, gb := -(r.A-prior.A)*precA, -(r.B-prior.B)*precB
		haa, hab, hbb := precA, 0.0, precB
		for _, d := range days {
			x := logit(d.P)
			p := logistic(r.A + r.B*x)
			o := 0.0
			if d.Wave {
				o = 1
			}
			ga, gb = ga+o-p, gb+(o-p)*x
			w := p * (1 - p)
			haa, hab, hbb = haa+w, hab+w*x, hbb+w*x*x
		}

		det := haa*hbb - hab*hab
		da, db := (hbb*ga-hab*gb)/det, (haa*gb-hab*ga)/det
		r.A, r.B = r.A+da, r.B+db
		if math.Abs(da)+math.Abs(db) < 1e-10 {
			break
		}
	}

	return r
}

// Apply moves one probability; 0 and 1 stay what they are. What was fitted to
// waves by another rule moves nothing.
func (r Recalibration) Apply(p float64) float64 {
	if r.N < minResolved || r.Rule != coldseam.WaveRule || p <= 0 || p >= 1 {
		return p
	}
	return logistic(r.A + r.B*logit(p))
}

// logit clips to .02-.98, as the log score does.
func logit(p float64) float64 {
	p = clip(p, .02, .98)
	return math.Log(p / (1 - p))
}
