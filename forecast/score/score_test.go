package score

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

func TestCRPSOfFiveMembers(t *testing.T) {
	t.Parallel()
	// [source: design section 8, reference calculation]
	x := []float64{4, 0, 1.5, 0, 2}
	require.InDelta(t, .3, FairCRPS(x, 1), 1e-12)
	require.InDelta(t, .5, CRPS(x, 1), 1e-12)
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
		require.InDelta(t, sum, GaussianCRPS(c[0], c[1], c[2]), 2e-3)
	}
}

// A large sample of a Gaussian scores the closed form; fair CRPS does so on
// average at any size.
func TestFairCRPSConvergesToTheGaussian(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	want := GaussianCRPS(0, 1, .6)
	fair, plain := 0.0, 0.0
	const reps = 20000
	for range reps {
		x := make([]float64, 10)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		fair += FairCRPS(x, .6) / reps
		plain += CRPS(x, .6) / reps
	}
	require.InDelta(t, want, fair, .006)
	require.Greater(t, plain, want+.03) // so the correction is what closes the gap
}

func TestBrierDecomposition(t *testing.T) {
	t.Parallel()
	// [source: design section 8, reference calculation]
	var x []Pair
	for i, p := range []float64{0, 0, .5, .5, .5, .5, 1, 1} {
		x = append(x, Pair{p, []bool{false, false, false, true, true, true, true, false}[i]})
	}
	d := Decompose(x)
	require.InDelta(t, .25, Brier(x), 1e-12)
	require.InDelta(t, .09375, d.Reliability, 1e-12)
	require.InDelta(t, .09375, d.Resolution, 1e-12)
	require.InDelta(t, .25, d.Uncertainty, 1e-12)
}

func TestBrierIdentity(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Pair {
			return Pair{float64(rapid.IntRange(0, 50).Draw(t, "p")) / 50, rapid.Bool().Draw(t, "o")}
		}), 1, 200).Draw(t, "x")
		d := Decompose(x)
		require.InDelta(t, Brier(x), d.Reliability-d.Resolution+d.Uncertainty, 1e-12)
	})
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

func TestKGEOfTheMean(t *testing.T) {
	t.Parallel()
	// [source: Knoben et al. 2019, by design section 8]
	obs := []float64{1, 2, 3, 4, 10}
	sim := []float64{4, 4, 4, 4, 4}
	require.InDelta(t, 1-math.Sqrt2, KGE(sim, obs), 1e-12)
	require.InDelta(t, 0, NSE(sim, obs), 1e-12)
	require.InDelta(t, 1, KGE(obs, obs), 1e-12)
	require.InDelta(t, 0, Bias(sim, obs), 1e-12)
	require.InDelta(t, math.Sqrt((9+4+1+0+36)/5.), RMSE(sim, obs), 1e-12)
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
