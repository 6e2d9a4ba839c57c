package score

import (
	"math"
	"slices"

	"example.org/coldseam"
)

// FairCRPS is the continuous ranked probability score of an ensemble of which
// the members are a sample, unbiased in the number of members (Ferro 2014, Q.
// J. R. Meteorol. Soc. 140:1917 [source: design section 8]):
// (1/M) sum|x_i-y| - sum_i (2i-M-1) x_(i) / (M(M-1)). One member scores its
// absolute error. NaN for no member or a missing y. x is sorted in place.
func FairCRPS(x []float64, y float64) float64 { return crps(x, y, true) }

// CRPS is the score of the ensemble as it is: the empirical distribution. x is
// sorted in place.
func CRPS(x []float64, y float64) float64 { return crps(x, y, false) }

func crps(x []float64, y float64, fair bool) float64 {
	m := len(x)
	if m == 0 || y != y {
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
	if fair {
		return abs - spread/float64(m*(m-1))
	}
	return abs - spread/float64(m*m)
}

// GaussianCRPS is the score of N(mu, sd) in closed form (Gneiting et al. 2005,
// Mon. Weather Rev. 133:1098, eq. 5 [from memory]):
// sd { z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi) }, z = (y-mu)/sd.
func GaussianCRPS(mu, sd, y float64) float64 {
	z := (y - mu) / sd
	cdf := .5 * math.Erfc(-z/math.Sqrt2)
	pdf := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
	return sd * (z*(2*cdf-1) + 2*pdf - 1/math.Sqrt(math.Pi))
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
