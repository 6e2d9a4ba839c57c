package ensemble

import "math"

// Cholesky factors the symmetric n x n matrix whose lower triangle is in a
// (row major) in place. It returns false when a is not positive definite.
func Cholesky(a []float64, n int) bool {
	for j := range n {
		d := a[j*n+j]
		for k := range j {
			d -= a[j*n+k] * a[j*n+k]
		}
		if !(d > 0) || math.IsInf(d, 0) {
			return false
		}
		d = math.Sqrt(d)
		a[j*n+j] = d

		for i := j + 1; i < n; i++ {
			s := a[i*n+j]
			for k := range j {
				s -= a[i*n+k] * a[j*n+k]
			}
			a[i*n+j] = s / d
		}
	}

	return true
}

// CholeskySolve solves L L' x = b in place with the factor of Cholesky.
func CholeskySolve(l []float64, n int, b []float64) {
	for i := range n {
		s := b[i]
		for k := range i {
			s -= l[i*n+k] * b[k]
		}
		b[i] = s / l[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		s := b[i]
		for k := i + 1; k < n; k++ {
			s -= l[k*n+i] * b[k]
		}
		b[i] = s / l[i*n+i]
	}
}

// Normal accumulates the normal equations of a least-squares problem with p
// columns.
type Normal struct {
	P int
	A []float64 // lower triangle, row major
	B []float64
	W float64 // sum of weights
}

// NewNormal returns empty normal equations.
func NewNormal(p int) *Normal {
	return &Normal{P: p, A: make([]float64, p*p), B: make([]float64, p)}
}

// Add adds a row x -> y with weight w.
func (n *Normal) Add(x []float64, y, w float64) {
	for i := range n.P {
		wi := w * x[i]
		for j := 0; j <= i; j++ {
			n.A[i*n.P+j] += wi * x[j]
		}
		n.B[i] += wi * y
	}
	n.W += w
}

// AddScaled adds k times the equations of o.
func (n *Normal) AddScaled(o *Normal, k float64) {
	for i := range n.P {
		a, b := n.A[i*n.P:i*n.P+i+1], o.A[i*n.P:]
		for j := range a {
			a[j] += k * b[j]
		}
	}
	for i, v := range o.B {
		n.B[i] += k * v
	}
	n.W += k * o.W
}

// Solve returns the coefficients with ridge[i] added to the diagonal. It
// leaves n as it was, and reports false when the system is singular.
func (n *Normal) Solve(ridge []float64) ([]float64, bool) {
	a := append([]float64(nil), n.A...)
	x := append([]float64(nil), n.B...)
	for i := range n.P {
		a[i*n.P+i] += ridge[i]
	}
	if !Cholesky(a, n.P) {
		return x, false
	}
	CholeskySolve(a, n.P, x)
	return x, true
}
