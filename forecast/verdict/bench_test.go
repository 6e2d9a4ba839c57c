package verdict

import "testing"

func BenchmarkDecide(b *testing.B) {
	in := good(.6)
	for len(in.Candidates) < 6 {
		in.Candidates = append(in.Candidates, in.Candidates[0])
	}
	for b.Loop() {
		Decide(in)
	}
}

func BenchmarkGoodOdds(b *testing.B) {
	c := Catch{K: 1.2, Target: .5, LineHours: 4}
	for i := range 15 {
		c.Q = append(c.Q, .3+float64(i)*.5)
		c.W = append(c.W, 1.0/15)
	}
	index := repeat(.4, 500)
	for b.Loop() {
		GoodOdds(index, c, Factors{})
	}
}
