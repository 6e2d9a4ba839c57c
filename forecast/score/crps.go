package score

import (
	"math"
	"slices"

	"example.org/coldseam"
)

// FairCRPS is the continuous ranked probability score of an ensemble of which
// the members are a sample, unbiased in the number of members (Ferro 2014, Q.
// J. R. Meteorol. Soc. 140:1917):
// (1/M) sum|x_i-y| - sum_i (2i-M-1) x_(i) / (M(M-1)). One member scores its
// absolute error. NaN for no member or a missing y. x is sorted in place.
func FairCRPS(x []float64, y float64) float64 {
	m := len(x)
	if m == 0 || math.IsNaN(y) {
		return math.NaN()
	}
	slices.Sort(x)
	abs, spread := 0.0, 0.0
	for i, v := range x {
		abs += math.Abs(v - y)
		spread += float64(2*(i+1)-m-1) * v
	}

	abs /= float64(m)
	if m == 1 {
		return abs
	}
	return abs - spread/float64(m*(m-1))
}

// PIT is the probability integral transform (#x<y + #x=y/2)/M: ties at 0 degC
// count half.
func PIT(x []float64, y float64) float64 {
	n := 0.0
	for _, v := range x {
		switch {
		case v < y:
			n++
		case v == y:
			n += .5
		}
	}
	return n / float64(max(len(x), 1))
}

// Covered reports whether y lies within the central interval of probability p,
// ends included.
func Covered(x []float64, y, p float64) bool {
	return coldseam.Quantile(x, (1-p)/2) <= y && y <= coldseam.Quantile(x, (1+p)/2)
}
