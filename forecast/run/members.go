package run

import (
	"slices"
	"sort"
)

func fan(x []float64) [3]float64 {
	s := slices.Clone(x)
	sort.Float64s(s)
	return [3]float64{sorted(s, .1), sorted(s, .5), sorted(s, .9)}
}

// sorted is the type 7 quantile of an ascending slice.
func sorted(s []float64, p float64) float64 {
	f := p * float64(len(s)-1)
	i := int(f)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	return s[i] + (f-float64(i))*(s[i+1]-s[i])
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(max(len(x), 1))
}

func share(x []bool) float64 {
	n := 0
	for _, v := range x {
		if v {
			n++
		}
	}
	return float64(n) / float64(max(len(x), 1))
}

// systematic returns n indices drawn by weight with one even comb.
func systematic(w []float64, n int) []int {
	out := make([]int, n)
	j, sum := 0, w[0]
	for k := range n {
		u := (float64(k) + 0.5) / float64(n)
		for sum < u && j+1 < len(w) {
			j++
			sum += w[j]
		}
		out[k] = j
	}
	return out
}

// coprime is a stride near the golden section of n that shares no factor
// with it, so that stepping by it visits every index once.
func coprime(n int) int {
	for s := max(1, int(0.618*float64(n))); ; s++ {
		a, b := n, s
		for b != 0 {
			a, b = b, a%b
		}
		if a == 1 {
			return s
		}
	}
}

func weightedMedian(x, w []float64) float64 {
	idx := make([]int, len(x))
	for i := range idx {
		idx[i] = i
	}
	sort.Slice(idx, func(a, b int) bool { return x[idx[a]] < x[idx[b]] })
	sum := 0.0
	for _, i := range idx {
		if sum += w[i]; sum >= 0.5 {
			return x[i]
		}
	}
	return x[idx[len(idx)-1]]
}
