package flow

import (
	"example.org/coldseam/forecast/ensemble"
)

const folds = 5 // of years, within the training years [proposal]

// source is one centre forecast of a recipe; the analogs are columns nil.
type source struct {
	name  string
	cols  columns
	local bool
	ridge float64
}

// sourcesOf lists the sources that a river's data allow.
func sourcesOf(c climate, short bool) []source {
	r := .01
	if short {
		r = .3
	}
	out := []source{
		{"local regression", colsBase, true, r},
		{"log autoregression", colsAR, false, .001},
		{"analogs", nil, false, 0},
	}
	if len(c.Up) > 0 {
		out = append(out, source{"upstream regression", colsUp(len(c.Up)), true, r})
	}
	if c.Snow {
		out = append(out, source{"melt regression", colsAir, true, r})
	}
	return out
}

// Fitted are the sources fitted on all training rows, and the stack.
type Fitted struct {
	Local []*Local `json:"local"` // nil where the source is the analogs
	Stack *Local   `json:"stack"`
	Zlo   float64  `json:"z_lo"` // range of the training anomaly, one sd beyond
	Zhi   float64  `json:"z_hi"`
}

// stackRidge is the shrinkage of the stack towards equal weights, as a share
// of the mean variance of its columns [proposal].
const (
	stackRidge      = .1
	stackRidgeShort = 1
)

// fitSources fits every source per fold, forecasts each row out of fold, stacks
// and leaves centre and residual in the rows.
func fitSources(rows []row, src []source, nu float64) *Fitted {
	f := &Fitted{}
	a := newAnalogs(rows)
	var x []float64

	for m, s := range src {
		if s.cols == nil {
			f.Local = append(f.Local, nil)
			for k := range rows {
				r := &rows[k]
				c := a.nearest(r, r.fold, analogK)
				for h := 1; h <= leads; h++ {
					r.src[h][m] = a.mean(c, h)
				}
			}
			continue
		}

		all, without := fitLocal(rows, s.cols, change, true, s.local, freeIntercept(s.ridge))
		f.Local = append(f.Local, all)
		for k := range rows {
			r := &rows[k]
			for h := 1; h <= leads; h++ {
				x = s.cols(x[:0], r, h)
				r.src[h][m] = without[r.fold].value(x, h, r.doy)
			}
		}
	}

	n := len(src)
	f.Stack, _ = fitLocal(rows, colsSrc(n), overPrior(n), false, true, shrink(nu))
	f.Zlo, f.Zhi = zRange(rows)
	for k := range rows {
		f.centre(&rows[k], n)
	}
	return f
}

func colsSrc(n int) columns {
	return func(x []float64, r *row, h int) []float64 { return append(x, r.src[h][:n]...) }
}

// overPrior is what equal weights leave to explain.
func overPrior(n int) func(*row, int) float64 {
	return func(r *row, h int) float64 {
		s := 0.0
		for _, v := range r.src[h][:n] {
			s += v / float64(n)
		}
		return r.goal[h] - s
	}
}

// shrink solves with one ridge for all columns.
func shrink(nu float64) func(*ensemble.Normal) []float64 {
	return func(n *ensemble.Normal) []float64 {
		d := 0.0
		for i := range n.P {
			d += n.A[i*n.P+i] / float64(n.P)
		}
		r := make([]float64, n.P)
		for i := range r {
			r[i] = nu*d + 1e-9*(n.W+1)
		}
		x, ok := n.Solve(r)
		if !ok {
			return make([]float64, n.P)
		}
		return x
	}
}

// centre sets the stacked change of a row of n sources, and its residual where
// the goal is known.
func (f *Fitted) centre(r *row, n int) {
	for h := 1; h <= leads; h++ {
		x := r.src[h][:n]
		mu := f.Stack.value(x, h, r.doy)
		for _, v := range x {
			mu += v / float64(n)
		}
		r.mu[h] = min(max(r.z+mu, f.Zlo), f.Zhi) - r.z
		r.res[h] = r.goal[h] - r.mu[h]
	}
}

// zRange is the training range of z, one standard deviation beyond on either
// side. No forecast leaves it, as a regression says nothing beyond what it saw.
func zRange(rows []row) (lo, hi float64) {
	var n, s, q float64
	lo, hi = rows[0].z, rows[0].z
	for k := range rows {
		z := rows[k].z
		n, s, q = n+1, s+z, q+z*z
		lo, hi = min(lo, z), max(hi, z)
	}
	sd := sqrt(q/n - s/n*s/n)
	return lo - sd, hi + sd
}
