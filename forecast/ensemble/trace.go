package ensemble

import (
	"math"
	"math/rand/v2"
)

// Windows of the day of year from which traces are drawn [proposal].
const (
	TraceWindow     = 20 // days to either side
	TraceWindowWide = 40 // when fewer than TraceMin days qualify
	TraceMin        = 15
)

// Pool lists, per day of the year, the indices of a record whose whole path
// from i-1 to i+horizon is usable: the days a member may follow.
type Pool struct {
	byDoy [367][]int32
}

// NewPool builds the list for a record of which ok(i) says whether the path
// of index i may be followed.
func NewPool(c *Calendar, n int, ok func(i int) bool) *Pool {
	p := &Pool{}
	for i := range n {
		if ok(i) {
			p.byDoy[c.Doy[i]] = append(p.byDoy[c.Doy[i]], int32(i))
		}
	}
	return p
}

// Within appends to dst the indices within +-w days of the day of year.
func (p *Pool) Within(dst []int32, doy, w int) []int32 {
	for g := -w; g <= w; g++ {
		d := (doy+g-1+366*2)%366 + 1
		dst = append(dst, p.byDoy[d]...)
	}
	return dst
}

// Near is Within with the widening rule.
func (p *Pool) Near(doy int) []int32 {
	out := p.Within(nil, doy, TraceWindow)
	if len(out) < TraceMin {
		out = p.Within(out[:0], doy, TraceWindowWide)
	}
	return out
}

// Draw picks n of the candidates: without replacement while they last.
func Draw(r *rand.Rand, cand []int32, n int) []int32 {
	out := make([]int32, 0, n)
	if len(cand) == 0 {
		return out
	}
	c := append([]int32(nil), cand...)
	for len(out) < n {
		k := min(n-len(out), len(c))
		for i := range k {
			j := i + r.IntN(len(c)-i)
			c[i], c[j] = c[j], c[i]
		}
		out = append(out, c[:k]...)
	}
	return out
}

// Bridge fills gaps of up to maxGap days in x by a straight line and returns a
// new slice; longer gaps stay missing.
func Bridge(x []float64, maxGap int) []float64 {
	out := append([]float64(nil), x...)
	last := -1
	for i, v := range x {
		if math.IsNaN(v) {
			continue
		}
		if g := i - last - 1; last >= 0 && g > 0 && g <= maxGap {
			for j := 1; j <= g; j++ {
				f := float64(j) / float64(g+1)
				out[last+j] = x[last] + f*(v-x[last])
			}
		}
		last = i
	}
	return out
}

// Complete reports whether x[from..to] is observed throughout.
func Complete(x []float64, from, to int) bool {
	if from < 0 || to >= len(x) {
		return false
	}
	for i := from; i <= to; i++ {
		if math.IsNaN(x[i]) {
			return false
		}
	}
	return true
}

// Correlation is the Pearson correlation of the pairs without NaN, 0 for fewer
// than three or no variance.
func Correlation(x, y []float64) float64 {
	var n, sx, sy, sxx, syy, sxy float64
	for i := range min(len(x), len(y)) {
		if a, b := x[i], y[i]; !math.IsNaN(a) && !math.IsNaN(b) {
			n++
			sx, sy, sxx, syy, sxy = sx+a, sy+b, sxx+a*a, syy+b*b, sxy+a*b
		}
	}
	if n < 3 {
		return 0
	}
	v := (sxx - sx*sx/n) * (syy - sy*sy/n)
	if v <= 0 {
		return 0
	}
	return (sxy - sx*sy/n) / math.Sqrt(v)
}

// ByDay returns the indices on one day of the year.
func (p *Pool) ByDay(doy int) []int32 { return p.byDoy[doy] }
