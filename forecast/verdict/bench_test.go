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

func BenchmarkLearn(b *testing.B) {
	c := CentreOf(nil)
	log := make([]Logged, 150)
	for i := range log {
		log[i] = Logged{S: float64(i%7)/4 - .8, Phase: Phase(i % int(Phases)), Good: i%5 < 2}
	}
	for b.Loop() {
		c.Learn(log)
	}
}
