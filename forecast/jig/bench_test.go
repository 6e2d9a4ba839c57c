package jig

import "testing"

func BenchmarkSolve(b *testing.B) {
	r, st := rig(b, "slim", "braid-0.14", "quartering"), at(12, 1.9, 3)
	b.ReportAllocs()
	for b.Loop() {
		Solve(r, st, .007)
	}
}

func BenchmarkHolds(b *testing.B) {
	r, st := rig(b, "slim", "braid-0.14", "quartering"), at(12, 1.9, 3)
	var c column
	c.init(r, st)
	b.ReportAllocs()
	for b.Loop() {
		c.holds(.007)
	}
}

func BenchmarkAdvise(b *testing.B) {
	for _, p := range []string{"quartering", "drift"} {
		in := seam(b)
		in.Rig = rig(b, "slim", "braid-0.14", p)
		b.Run(p, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Advise(in)
			}
		})
	}
}

func BenchmarkOurs(b *testing.B) {
	r, st := rig(b, "slim", "braid-0.14", "quartering"), at(12, 1.9, 3)
	b.ReportAllocs()
	for b.Loop() {
		Lightest(r, st)
	}
}
