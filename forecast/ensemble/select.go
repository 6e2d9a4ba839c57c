package ensemble

import "slices"

// Candidate is an index with its distance.
type Candidate struct {
	D float64
	K int32
}

// Nearest moves the k candidates of least distance to the front, sorted by
// distance and then index, and returns them. The rest stay in any order.
func Nearest(c []Candidate, k int) []Candidate {
	if k < len(c) {
		selectK(c, k)
		c = c[:k]
	}
	slices.SortFunc(c, func(a, b Candidate) int {
		if less(a, b) {
			return -1
		}
		return 1
	})
	return c
}

func less(a, b Candidate) bool { return a.D < b.D || a.D == b.D && a.K < b.K }

// selectK partitions c so that its k least are in front (Hoare's selection,
// median of three as pivot).
func selectK(c []Candidate, k int) {
	lo, hi := 0, len(c)-1

	for hi > lo {
		m := lo + (hi-lo)/2
		if less(c[m], c[lo]) {
			c[m], c[lo] = c[lo], c[m]
		}
		if less(c[hi], c[lo]) {
			c[hi], c[lo] = c[lo], c[hi]
		}
		if less(c[hi], c[m]) {
			c[hi], c[m] = c[m], c[hi]
		}

		p := c[m]
		i, j := lo, hi
		for i <= j {
			for less(c[i], p) {
				i++
			}
			for less(p, c[j]) {
				j--
			}
			if i <= j {
				c[i], c[j] = c[j], c[i]
				i++
				j--
			}
		}

		switch {
		case k-1 <= j:
			hi = j
		case k-1 >= i:
			lo = i
		default:
			return
		}
	}
}
