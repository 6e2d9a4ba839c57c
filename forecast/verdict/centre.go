package verdict

import (
	"math"

	"example.org/coldseam"
)

// Centre is the level of a reach's odds and the thirds of its own mornings.
type Centre struct {
	A      float64
	Thirds [2]float64
	Past   int
	Flow   *FlowOfDate
}

// CentreOf sets the level so that the mean of the odds over past mornings, whose
// smoothed sums are s, is the base rate, whatever the effects are. With fewer than
// coldseam.PastMornings the shipped values stand.
func CentreOf(s []float64) Centre {
	c := Centre{A: ShippedA, Thirds: ShippedThirds, Past: len(s)}
	if len(s) < coldseam.PastMornings {
		return c
	}

	lo, hi := -10., 10.
	for range 60 {
		c.A = (lo + hi) / 2
		mean := 0.0
		for _, x := range s {
			mean += c.Odds(x) / float64(len(s))
		}
		if mean < baseRate {
			lo = c.A
		} else {
			hi = c.A
		}
	}

	p := make([]float64, len(s))
	for i, x := range s {
		p[i] = c.Odds(x)
	}
	c.Thirds = [2]float64{coldseam.Quantile(p, 1./3), coldseam.Quantile(p, 2./3)}
	return c
}

// Odds are the odds by the beliefs alone.
func (c Centre) Odds(s float64) float64 { return logistic(c.A + beliefShare*s) }

// Rank is what a brief tells of it, before a log.
func (c Centre) Rank() coldseam.Rank {
	return coldseam.Rank{Thirds: c.Thirds, Past: c.Past, Base: baseRate}
}

func logistic(x float64) float64 { return 1 / (1 + math.Exp(-x)) }
