package coldseam

import "math"

// DefaultCost is what a wasted trip costs against the worth of a good one, and
// DefaultMargin how far on either side of it the call is open [proposal].
const (
	DefaultCost   = .40
	DefaultMargin = .10
)

// Tenths is a probability as it is printed, "6 in 10": the nearest tenth, halves
// up. 0 is printed as under 1 in 10, and 10 as over 9 in 10.
func Tenths(p float64) int { return int(math.Floor(min(max(p, 0), 1)*10 + .5 + 1e-9)) }

// Line is where the word of a reader changes with the odds: GO from Go in 10,
// TOSS-UP from TossUp in 10, STAY below. It is held in tenths, as odds are
// printed, so that the numbers of a brief never contradict its word.
type Line struct{ Go, TossUp int }

// LineOf is the line of a reader whom a wasted trip costs that share of a good
// one.
func LineOf(cost, margin float64) Line {
	return Line{Go: Tenths(cost + margin), TossUp: Tenths(cost - margin)}
}

// Word is the verdict of odds alone; NO CALL for odds that are no probability.
func (l Line) Word(p float64) Verdict {
	if math.IsNaN(p) || p < 0 || p > 1 {
		return NoCall
	}
	switch n := Tenths(p); {
	case n >= l.Go:
		return Go
	case n >= l.TossUp:
		return TossUp
	}
	return Stay
}

// From is the least probability that is GO.
func (l Line) From() float64 { return float64(l.Go)/10 - .05 }

// Line is the line of the reader whom the brief is told to. A brief stored
// without cost or margin has the default ones.
func (b Brief) Line() Line {
	cost, margin := b.Cost, b.Margin
	if !(cost > 0 && cost < 1) {
		cost = DefaultCost
	}
	if !(margin > 0 && margin < 1) {
		margin = DefaultMargin
	}
	return LineOf(cost, margin)
}
