package verdict

import (
	"math"
	"time"

	"example.org/coldseam"
)

// SeasonFlow is what a river usually carries in the seasons fished, March-June
// and September-November, south of the equator half a year later. A rise is
// judged by it: a doubled trickle is no danger, a doubled spring flow is.
type SeasonFlow struct {
	Years       int     // with at least half of their season days measured
	MedianM3S   float64 // of the days of both seasons; NaN = no such day
	P75M3S      float64
	SpringStops float64 // share of spring days on which the common rule stops
	Flashy      bool    // it would stop on more than flashyShare of them
}

// Rises within a day [proposal], measured on twelve daily records: the common
// rule stops 0-4 days a spring, the tenth of the days that makes a river flashy
// is reached by one of them.
const (
	riseHours       = 24
	riseStopShare   = .50
	riseCapShare    = .30
	riseDoubleShare = 1.00
	flashyStopShare = 1.00
	flashyDouble    = 2.00
	flashyShare     = .10
	riseStageM      = 2 * coldseam.MetrePerFoot
	floorYears      = 3 // below, every rise counts as one of high water
)

// SeasonFlowOf sums up the record known on a morning.
func SeasonFlowOf(days coldseam.Days) SeasonFlow {
	var s SeasonFlow
	var flow []float64
	perYear := map[int]int{}
	for i, q := range days.FlowM3S {
		d := days.Day(i)
		if _, fished := seasonOf(d, days.Lat); fished && !math.IsNaN(q) {
			flow = append(flow, q)
			perYear[d.Year]++
		}
	}

	for _, n := range perYear {
		if n >= seasonDays/2 {
			s.Years++
		}
	}
	s.MedianM3S, s.P75M3S = coldseam.Quantile(flow, .5), coldseam.Quantile(flow, .75)

	stops, n := 0, 0
	for i, q := range days.FlowM3S {
		if spring, _ := seasonOf(days.Day(i), days.Lat); !spring || math.IsNaN(q) {
			continue
		}
		n++
		if foot := coldseam.At(days.FlowM3S, i-1); foot > 0 && s.word(foot, q) == riseStops {
			stops++
		}
	}

	s.SpringStops = float64(stops) / float64(max(n, 1))
	s.Flashy = s.Years >= floorYears && s.SpringStops > flashyShare
	return s
}

// seasonDays are the days from March to June and September to November.
const seasonDays = 122 + 91

// seasonOf reports whether a day is one of spring, and of any season fished.
func seasonOf(d coldseam.Date, lat float64) (spring, fished bool) {
	m := d.Month
	if lat < 0 {
		m = (m+5)%12 + 1
	}
	spring = m >= time.March && m <= time.June
	return spring, spring || m >= time.September && m <= time.November
}

// riseWord is what a rise means for the day.
type riseWord int

const (
	riseNothing riseWord = iota
	riseCaps
	riseStops
)

// word judges a rise within a day from foot to flow, m3/s.
func (s SeasonFlow) word(foot, flow float64) riseWord {
	if !(foot > 0) {
		return riseNothing // backwater: a share of it means nothing
	}
	const eps = 1e-9 // 13/10 - 1 is over .3 in binary
	share := flow/foot - 1
	switch limit, double := s.limits(); {
	case share > limit+eps && s.above(flow, s.P75M3S), share >= double-eps && s.above(flow, s.MedianM3S):
		return riseStops
	case share > riseCapShare+eps && s.above(flow, s.MedianM3S), share >= riseDoubleShare-eps:
		return riseCaps
	}
	return riseNothing
}

// Stops reports whether a rise within a day stops.
func (s SeasonFlow) Stops(foot, flow float64) bool { return s.word(foot, flow) == riseStops }

// Fished reports whether a day is one of the seasons fished.
func Fished(d coldseam.Date, lat float64) bool {
	_, fished := seasonOf(d, lat)
	return fished
}

// limits are the shares that stop above the third quartile and above the median.
func (s SeasonFlow) limits() (quartile, median float64) {
	if s.Flashy {
		return flashyStopShare, flashyDouble
	}
	return riseStopShare, riseDoubleShare
}

// above holds a flow against a quantile of the season. A record too short to
// have one counts as exceeded.
func (s SeasonFlow) above(flow, quantile float64) bool {
	return s.Years < floorYears || !(flow <= quantile)
}
