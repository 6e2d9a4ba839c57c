package ensemble

import (
	"math"
	"math/rand/v2"
)

// RandomWalk is a path of random steps of which the standard deviation at lead h is
// first*h^power: what is known of a river of which nothing is known.
func RandomWalk(rng *rand.Rand, horizon int, first, power float64) []float64 {
	out := make([]float64, horizon)
	x, v := 0.0, 0.0
	for h := 1; h <= horizon; h++ {
		sd := first * math.Pow(float64(h), power)
		x += math.Sqrt(max(sd*sd-v, 0)) * rng.NormFloat64()
		v = sd * sd
		out[h-1] = x
	}
	return out
}
