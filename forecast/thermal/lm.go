package thermal

import (
	"math"

	"example.org/coldseam/forecast/ensemble"
)

// problem is a bounded least-squares problem: eval fills r with the weighted
// residuals at x.
type problem struct {
	lo, hi []float64
	n      int
	eval   func(x, r []float64)
	// slopes fills the Jacobian at x, one column of n values per parameter, in
	// one run; nil = forward differences, a run per parameter.
	slopes func(x, jac []float64)
}

// fitState is what a minimisation ended with.
type fitState struct {
	x    []float64
	cost float64 // sum of squares
	runs int
}

// levenberg minimises from x0 within the box by Levenberg-Marquardt (Marquardt
// 1963 [common practice]): each step is
// projected on the box, a parameter on its bound that wants to leave it is
// held. It stops after maxRuns evaluations or when the cost falls by less than
// tol of itself.
func levenberg(p problem, x0 []float64, maxRuns int, tol float64) fitState {
	np := len(x0)
	s := fitState{x: append([]float64(nil), x0...)}
	r, rt := make([]float64, p.n), make([]float64, p.n)
	jac := make([]float64, np*p.n)
	xt, g := make([]float64, np), make([]float64, np)
	jtj, a, b := make([]float64, np*np), make([]float64, np*np), make([]float64, np)
	p.eval(s.x, r)
	s.cost, s.runs = dot(r, r), 1
	lambda := 1e-2
	cost := np
	if p.slopes != nil {
		cost = 1
	}

	for s.runs+cost+1 <= maxRuns {
		if p.slopes != nil {
			p.slopes(s.x, jac)
		} else {
			for k := range np {
				jacobian(p, s.x, k, r, xt, jac[k*p.n:(k+1)*p.n])
			}
		}

		s.runs += cost
		for k := range np {
			jk := jac[k*p.n : (k+1)*p.n]
			g[k] = dot(jk, r)
			for l := 0; l <= k; l++ {
				jtj[k*np+l] = dot(jk, jac[l*p.n:(l+1)*p.n])
			}
		}
		better := false

		for tries := 0; tries < 6 && s.runs < maxRuns; tries++ {
			if !solveStep(p, s.x, g, jtj, a, b, lambda) {
				lambda *= 8
				continue
			}
			for k := range np {
				xt[k] = min(max(s.x[k]-b[k], p.lo[k]), p.hi[k])
			}
			p.eval(xt, rt)
			s.runs++

			if c := dot(rt, rt); c < s.cost {
				gain := (s.cost - c) / s.cost
				copy(s.x, xt)
				r, rt = rt, r
				s.cost = c
				lambda = max(lambda/6, 1e-9)
				better = gain > tol
				break
			}

			lambda *= 5
		}

		if !better {
			break
		}
	}

	return s
}

// jacobian fills column k by a forward difference that stays in the box.
func jacobian(p problem, x []float64, k int, r, xt, col []float64) {
	copy(xt, x)
	h := 1e-4 * math.Max(math.Abs(x[k]), .1)
	if x[k]+h > p.hi[k] {
		h = -h
	}
	xt[k] += h
	p.eval(xt, col)
	for i := range col {
		col[i] = (col[i] - r[i]) / h
	}
}

// solveStep solves (J'J + lambda diag) b = g with held parameters left out.
func solveStep(p problem, x, g, jtj, a, b []float64, lambda float64) bool {
	np := len(x)
	copy(a, jtj)

	for k := range np {
		d := jtj[k*np+k]
		a[k*np+k] = d*(1+lambda) + 1e-12
		b[k] = g[k]

		if (x[k] <= p.lo[k] && g[k] > 0) || (x[k] >= p.hi[k] && g[k] < 0) || d == 0 {
			b[k] = 0
			for l := range np {
				if l < k {
					a[k*np+l] = 0
				} else if l > k {
					a[l*np+k] = 0
				}
			}
			a[k*np+k] = 1
		}
	}

	if !ensemble.Cholesky(a, np) {
		return false
	}
	ensemble.CholeskySolve(a, np, b)
	return true
}

func dot(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+4 <= len(a); i += 4 {
		s0 += a[i] * b[i]
		s1 += a[i+1] * b[i+1]
		s2 += a[i+2] * b[i+2]
		s3 += a[i+3] * b[i+3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return s0 + s1 + s2 + s3
}
