package score

import "slices"

// Pair is a probability that was issued and whether the event came.
type Pair struct {
	P   float64
	Hit bool
}

// Brier is the mean of (p-o)^2, 0 for no pairs.
func Brier(x []Pair) float64 {
	s := 0.0
	for _, v := range x {
		s += (v.P - outcome(v.Hit)) * (v.P - outcome(v.Hit))
	}
	return s / float64(max(len(x), 1))
}

func outcome(hit bool) float64 {
	if hit {
		return 1
	}
	return 0
}

// Decomposition splits a Brier score into REL - RES + UNC (Murphy 1973, J.
// Appl. Meteorol. 12:595 [from memory]). It is exact when the probabilities
// within a bin are equal.
type Decomposition struct {
	Reliability, Resolution, Uncertainty float64
}

// Decompose groups equal probabilities, so that the identity is exact.
func Decompose(x []Pair) Decomposition {
	byP := map[float64][2]float64{}
	hits := 0.0
	for _, v := range x {
		b := byP[v.P]
		b[0]++
		b[1] += outcome(v.Hit)
		byP[v.P] = b
		hits += outcome(v.Hit)
	}

	n := float64(max(len(x), 1))
	base := hits / n
	d := Decomposition{Uncertainty: base * (1 - base)}
	keys := make([]float64, 0, len(byP))
	for p := range byP {
		keys = append(keys, p)
	}
	slices.Sort(keys) // a fixed order of summation

	for _, p := range keys {
		k, o := byP[p][0], byP[p][1]/byP[p][0]
		d.Reliability += k * (p - o) * (p - o) / n
		d.Resolution += k * (o - base) * (o - base) / n
	}

	return d
}

// Bin is one bin of a reliability diagram.
type Bin struct {
	Lo, Hi float64 `json:"-"`
	N      int     `json:"n"`
	P      float64 `json:"p"`        // mean probability issued
	Freq   float64 `json:"observed"` // how often the event came
}

// Reliability sorts the pairs into n equal bins of probability; the last one
// includes 1. Empty bins keep N = 0.
func Reliability(x []Pair, n int) []Bin {
	out := make([]Bin, n)
	for i := range out {
		out[i].Lo, out[i].Hi = float64(i)/float64(n), float64(i+1)/float64(n)
	}
	for _, v := range x {
		b := &out[min(int(v.P*float64(n)), n-1)]
		b.N++
		b.P += v.P
		b.Freq += outcome(v.Hit)
	}
	for i := range out {
		if k := float64(out[i].N); k > 0 {
			out[i].P /= k
			out[i].Freq /= k
		}
	}
	return out
}
