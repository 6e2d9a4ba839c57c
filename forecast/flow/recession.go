package flow

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// Recession is the discharge after t days of dQ/dt = -a Q^b from q0, m3/s:
// [q0^(1-b) + (b-1) a t]^(1/(1-b)), and the exponential of Maillet for b = 1.
func Recession(q0, a, b, t float64) float64 {
	if math.Abs(b-1) < 1e-9 {
		return q0 * math.Exp(-a*t)
	}
	return math.Pow(math.Pow(q0, 1-b)+(b-1)*a*t, 1/(1-b))
}

const (
	recessionMin      = 30  // falling days below which no curve is fitted
	recessionQuantile = .95 // of a, for the floor [proposal]
)

// recession fits ln(-dQ) on ln of the mid discharge over the second and later
// falling days, b clipped to 1..3, and returns the curve with the 95 % quantile
// of a. A river with too few falling days, or that falls from the same discharge
// each time, gets a = 0: no floor.
func recession(r *record) (a, b float64) {
	var x, y []float64
	for i := 2; i < r.n; i++ {
		q0, q1, q2 := r.fit[i-2], r.fit[i-1], r.fit[i]
		if !(q1 < q0 && q2 < q1) {
			continue
		}
		hi, lo := math.Exp(q1), math.Exp(q2)
		x, y = append(x, math.Log((hi+lo)/2)), append(y, math.Log(hi-lo))
	}

	if len(x) < recessionMin {
		return 0, 1
	}
	if _, b = stat.LinearRegression(x, y, nil, false); math.IsNaN(b) {
		return 0, 1
	}
	b = min(max(b, 1), 3)
	la := make([]float64, len(x))
	for i := range x {
		la[i] = y[i] - b*x[i]
	}
	slices.Sort(la)
	return math.Exp(stat.Quantile(recessionQuantile, stat.Empirical, la, nil)), b
}
