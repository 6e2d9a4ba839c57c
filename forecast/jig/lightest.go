package jig

import (
	"math"

	"example.org/coldseam"
)

// The search range of a head, kg: a sixteenth is 1.8 g, an ounce 28 g.
const (
	minHeadKG = 0.2e-3
	maxHeadKG = 80e-3
)

// Lightest returns the smallest head in kg that holds bottom, in
// 0.0002-0.080 kg. ok is false when 80 g does not hold, or a number of the
// station is not finite.
func Lightest(r Rig, st Station) (kg float64, ok bool) {
	if !st.finite() || st.DepthM <= bottomM {
		return 0, false
	}
	var c column
	c.init(r, st)
	return c.lightest()
}

// lightest bisects ln m, 40 rounds, on the full hold criterion.
func (c *column) lightest() (float64, bool) {
	if !c.holds(maxHeadKG) {
		return 0, false
	}
	if c.holds(minHeadKG) {
		return minHeadKG, true
	}
	lo, hi := math.Log(minHeadKG), math.Log(maxHeadKG)
	for range 40 {
		mid := (lo + hi) / 2
		if c.holds(math.Exp(mid)) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return math.Exp(hi), true
}

// SizeFor returns the smallest trade size of at least kg, in oz; ok is false
// above 1 oz.
func SizeFor(kg float64) (oz float64, ok bool) {
	for _, s := range coldseam.TradeSizesOz {
		if s*coldseam.KgPerOunce >= kg {
			return s, true
		}
	}
	return 0, false
}
