package score

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
