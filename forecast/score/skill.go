package score

import (
	"math"
	"math/rand/v2"

	"example.org/coldseam"
)

// Bias is the mean of sim - obs over the pairs without NaN.
func Bias(sim, obs []float64) float64 {
	n, s := 0.0, 0.0
	for i := range obs {
		if d := sim[i] - obs[i]; d == d {
			n, s = n+1, s+d
		}
	}
	return s / n
}

// RMSE is the root mean square of sim - obs over the pairs without NaN.
func RMSE(sim, obs []float64) float64 {
	n, s := 0.0, 0.0
	for i := range obs {
		if d := sim[i] - obs[i]; d == d {
			n, s = n+1, s+d*d
		}
	}
	return math.Sqrt(s / n)
}

// NSE is 1 - SSE/SST (Nash & Sutcliffe 1970 [common practice]).
func NSE(sim, obs []float64) float64 {
	m := newMoments(sim, obs)
	return 1 - m.sse/(m.n*m.varObs)
}

// KGE is 1 - sqrt((r-1)^2+(alpha-1)^2+(beta-1)^2) (Gupta et al. 2009). The mean
// of the observations as forecast scores 1-sqrt(2) = -0.41, not 0 (Knoben et
// al. 2019 [source: design section 8]).
func KGE(sim, obs []float64) float64 {
	m := newMoments(sim, obs)
	r := 0.0
	if m.varSim > 0 && m.varObs > 0 {
		r = m.cov / math.Sqrt(m.varSim*m.varObs)
	}
	a, b := math.Sqrt(m.varSim/m.varObs), m.meanSim/m.meanObs
	return 1 - math.Sqrt((r-1)*(r-1)+(a-1)*(a-1)+(b-1)*(b-1))
}

type moments struct{ n, meanSim, meanObs, varSim, varObs, cov, sse float64 }

func newMoments(sim, obs []float64) moments {
	var m moments
	for i := range obs {
		if sim[i] == sim[i] && obs[i] == obs[i] {
			m.n++
			m.meanSim += sim[i]
			m.meanObs += obs[i]
		}
	}
	m.meanSim, m.meanObs = m.meanSim/m.n, m.meanObs/m.n
	for i := range obs {
		if sim[i] == sim[i] && obs[i] == obs[i] {
			a, b := sim[i]-m.meanSim, obs[i]-m.meanObs
			m.varSim, m.varObs, m.cov = m.varSim+a*a/m.n, m.varObs+b*b/m.n, m.cov+a*b/m.n
			m.sse += (sim[i] - obs[i]) * (sim[i] - obs[i])
		}
	}
	return m
}

// Block is one year of paired scores of one site: sums, not means.
type Block struct {
	Site   string
	Year   int
	N      float64
	S, Ref float64
}

// Interval is a bootstrap interval of a skill with its point value.
type Interval struct {
	Skill, Lo, Hi float64
}

// BlockBootstrap resamples whole years within each site, so that the serial
// correlation within a year does not narrow the interval, and returns the
// central interval of probability p of the skill. The score of several sites is
// the mean of the sites' means.
func BlockBootstrap(rng *rand.Rand, blocks []Block, reps int, p float64) Interval {
	var order []string
	bySite := map[string][]Block{}
	for _, b := range blocks {
		if _, ok := bySite[b.Site]; !ok {
			order = append(order, b.Site)
		}
		bySite[b.Site] = append(bySite[b.Site], b)
	}

	skill := func(draw func(n, i int) int) float64 {
		s, ref := 0.0, 0.0
		for _, site := range order {
			bs := bySite[site]
			var n, a, r float64
			for i := range bs {
				b := bs[draw(len(bs), i)]
				n, a, r = n+b.N, a+b.S, r+b.Ref
			}
			s, ref = s+a/n, ref+r/n
		}
		return 1 - s/ref
	}

	out := Interval{Skill: skill(func(_, i int) int { return i })}
	x := make([]float64, reps)
	for k := range x {
		x[k] = skill(func(n, _ int) int { return rng.IntN(n) })
	}
	out.Lo, out.Hi = coldseam.Quantile(x, (1-p)/2), coldseam.Quantile(x, (1+p)/2)
	return out
}
