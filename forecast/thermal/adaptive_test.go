package thermal

import (
	"math"
)

// adaptive mixes sources by their exponentially discounted mean absolute error:
// w in proportion to error^-4, at least .1 each, half-life 30 issues: a scheme
// that was tried and lost (docs/decisions/0010-stacked-ensembles.md).
type adaptive struct {
	err []float64
	n   float64
}

func (a *adaptive) learn(x []float64, y float64) {
	if a.err == nil {
		a.err = make([]float64, len(x))
	}
	keep := math.Pow(.5, 1./30)
	a.n = a.n*keep + 1
	for s := range x {
		a.err[s] = a.err[s]*keep + math.Abs(x[s]-y)
	}
}

func (a *adaptive) mix(x []float64) float64 {
	w, sum := make([]float64, len(x)), 0.
	for s := range w {
		w[s] = 1
		if a.n > 0 {
			w[s] = math.Pow(a.err[s]/a.n+.02, -4)
		}
		sum += w[s]
	}
	v, all := 0., 0.
	for s := range x {
		k := max(w[s]/sum, .1)
		v, all = v+k*x[s], all+k
	}
	return v / all
}
