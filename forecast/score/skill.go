package score

import (
	"math/rand/v2"

	"example.org/coldseam"
)

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
