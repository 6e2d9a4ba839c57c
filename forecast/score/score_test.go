package score

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

func TestCRPSOfFiveMembers(t *testing.T) {
	t.Parallel()
	// [reference calculation] by hand.
	x := []float64{4, 0, 1.5, 0, 2}
	require.InDelta(t, .3, FairCRPS(x, 1), 1e-12)
	require.InDelta(t, .5, ensembleCRPS(x, 1), 1e-12)
	require.True(t, math.IsNaN(FairCRPS(nil, 1)))
	require.InDelta(t, 2., FairCRPS([]float64{3}, 1), 1e-12)
}

// The closed form is from memory, so it is checked against the integral of
// (F(x) - 1{x>=y})^2 with an independent normal distribution.
func TestGaussianCRPSIsTheIntegral(t *testing.T) {
	t.Parallel()
	for _, c := range [][3]float64{{0, 1, 0}, {0, 1, 1.7}, {3, .5, 2}, {-2, 4, 5}} {
		n := distuv.Normal{Mu: c[0], Sigma: c[1]}
		const dx = 1e-3
		sum := 0.0
		for x := c[0] - 12*c[1]; x < c[0]+12*c[1]; x += dx {
			f := n.CDF(x)
			if x >= c[2] {
				f--
			}
			sum += f * f * dx
		}
		require.InDelta(t, sum, gaussianCRPS(c[0], c[1], c[2]), 2e-3)
	}
}

// A large sample of a Gaussian scores the closed form; fair CRPS does so on
// average at any size.
func TestFairCRPSConvergesToTheGaussian(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	want := gaussianCRPS(0, 1, .6)
	fair, plain := 0.0, 0.0
	const reps = 20000
	for range reps {
		x := make([]float64, 10)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		fair += FairCRPS(x, .6) / reps
		plain += ensembleCRPS(x, .6) / reps
	}
	require.InDelta(t, want, fair, .006)
	require.Greater(t, plain, want+.03) // so the correction is what closes the gap
}

func TestReliabilityBinsHoldEveryPair(t *testing.T) {
	t.Parallel()
	b := Reliability([]Pair{{0, false}, {.05, true}, {.35, true}, {1, true}}, 10)
	require.Equal(t, 2, b[0].N)
	require.InDelta(t, .5, b[0].Freq, 1e-12)
	require.Equal(t, 1, b[3].N)
	require.Equal(t, 1, b[9].N)
}

func TestPITHalvesTies(t *testing.T) {
	t.Parallel()
	require.InDelta(t, .5, PIT([]float64{0, 0, 0, 0}, 0), 1e-12)
	require.InDelta(t, .625, PIT([]float64{0, 0, 1, 2}, 1), 1e-12)
}

func TestCoverageIncludesItsEnds(t *testing.T) {
	t.Parallel()
	x := []float64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10}
	require.True(t, Covered(x, 1, .8))
	require.True(t, Covered(x, 9, .8))
	require.False(t, Covered(x, .99, .8))
}

func TestBlockBootstrap(t *testing.T) {
	t.Parallel()
	var same, better []Block
	rng := rand.New(rand.NewPCG(3, 4))
	for y := range 20 {
		v := 50 + 20*rng.NormFloat64()
		same = append(same, Block{"a", y, 50, v + 5*rng.NormFloat64(), v})
		better = append(better, Block{"a", y, 50, .8 * v, v})
	}
	s := BlockBootstrap(rand.New(rand.NewPCG(5, 6)), same, 500, .9)
	require.Less(t, s.Lo, s.Skill)
	require.Greater(t, s.Hi, s.Skill)
	require.Less(t, s.Lo, 0.)
	b := BlockBootstrap(rand.New(rand.NewPCG(5, 6)), better, 500, .9)
	require.InDelta(t, .2, b.Skill, 1e-12)
	require.Greater(t, b.Lo, 0.)
	require.Equal(t, b, BlockBootstrap(rand.New(rand.NewPCG(5, 6)), better, 500, .9))
}

// gaussianCRPS is the score of N(mu, sd) in closed form (Gneiting et al. 2005,
// Mon. Weather Rev. 133:1098, eq. 5 [from memory]):
// sd { z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi) }, z = (y-mu)/sd.
func gaussianCRPS(mu, sd, y float64) float64 {
	z := (y - mu) / sd
	cdf := .5 * math.Erfc(-z/math.Sqrt2)
	pdf := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
	return sd * (z*(2*cdf-1) + 2*pdf - 1/math.Sqrt(math.Pi))
}

// ensembleCRPS is the score of the ensemble as it is, by its double sum.
func ensembleCRPS(x []float64, y float64) float64 {
	m, score := float64(len(x)), 0.0
	for _, a := range x {
		score += math.Abs(a-y) / m
		for _, b := range x {
			score -= math.Abs(a-b) / (2 * m * m)
		}
	}
	return score
}
