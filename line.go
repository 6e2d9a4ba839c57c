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

// Line is where the word of a reader changes: GO from the probability Go,
// TOSS-UP from TossUp, STAY below.
type Line struct{ Go, TossUp float64 }

// LineOf is the line of a reader whom a wasted trip costs that share of a good
// one. It lies between two tenths, as odds are printed, so that the numbers of a
// brief never contradict its word.
func LineOf(cost, margin float64) Line {
	return Line{Go: tenth(cost + margin), TossUp: tenth(cost - margin)}
}

// tenth is the least probability that is printed as p is.
func tenth(p float64) float64 { return float64(Tenths(p))/10 - .05 }

// Word is the verdict of a probability alone; NO CALL for one that is none.
func (l Line) Word(p float64) Verdict {
	const eps = 1e-9 // .3 + .15 is not .45 in binary
	switch {
	case math.IsNaN(p) || p < 0 || p > 1:
		return NoCall
	case p >= l.Go-eps:
		return Go
	case p >= l.TossUp-eps:
		return TossUp
	}
	return Stay
}

// GoTenths and TossUpTenths are the least odds of the words, in 10.
func (l Line) GoTenths() int     { return Tenths(l.Go) }
func (l Line) TossUpTenths() int { return Tenths(l.TossUp) }

// The words before a log and after [proposal]: a chance is told from so many
// logged mornings by so many anglers on. Then the reader's own line weighs as
// much as n of n+LineMornings mornings, the river's thirds the rest.
const (
	ChanceMornings = 10
	ChanceAnglers  = 3
	LineMornings   = 20

	// PastMornings of other years a river needs before its own thirds stand.
	PastMornings = 60
)

// Rank is what a probability of a good morning is held against on one reach.
// Before the club has a log it rests on rules of the trade that nobody has
// tested there: then it says which third of the river's own mornings this one
// belongs to and nothing else. The zero value is that of briefs stored before,
// which told odds.
type Rank struct {
	Thirds [2]float64 // p from which a morning of other years lay in the middle and in the better third
	Past   int        // mornings behind Thirds; fewer than PastMornings = the shipped ones
	Base   float64    // share of mornings that are good

	Logged  int // mornings in the log, each once
	Anglers int // who logged them

	// Level and Shape are how far the log itself, and not the beliefs before it,
	// says how good mornings are and how much conditions move that, 0-1.
	Level    float64 `json:",omitzero"`
	Shape    float64 `json:",omitzero"`
	RateOnly bool    `json:",omitzero"` // the log's own rate does better than the rules: they are left out

	GoodRate float64 `json:",omitzero"` // fish a rod hour of a good morning, frozen before the season
	Before   float64 `json:",omitzero"` // told the morning before; 0 = nothing
}

// Only reports whether a brief tells a rank and no chance of fish.
func (r Rank) Only() bool {
	return r.known() && (r.Logged < ChanceMornings || r.Anglers < ChanceAnglers)
}

func (r Rank) known() bool { return r.Thirds[1] > 0 }

// Third is the third of the river's mornings that p lies in: 1 the worse, 3 the
// better.
func (r Rank) Third(p float64) int {
	return int(Line{Go: r.Thirds[1], TossUp: r.Thirds[0]}.Word(p)) - 1
}

// Line is the line of a reader: before a log the river's thirds and at least the
// base rate, later more and more what a wasted trip costs.
func (r Rank) Line(cost, margin float64) Line {
	switch {
	case !r.known():
		return LineOf(cost, margin)
	case r.Only():
		return Line{Go: max(r.Thirds[1], r.Base), TossUp: r.Thirds[0]}
	}
	w := float64(r.Logged) / float64(r.Logged+LineMornings)
	return Line{
		Go:     tenth(w*(cost+margin) + (1-w)*r.Thirds[1]),
		TossUp: tenth(w*(cost-margin) + (1-w)*r.Thirds[0]),
	}
}

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
	return b.Rank.Line(cost, margin)
}
