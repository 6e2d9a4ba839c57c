package jig

import (
	"cmp"
	"math"
	"slices"
	"time"

	"example.org/coldseam"
)

// Timing is the surface current at a spot as a member timed it, with the flow at
// the gauge at that time.
type Timing struct {
	At        time.Time
	SurfaceMS float64
	FlowM3S   float64
}

// timingOutlier is how many deviations of the current known before and of one
// timing together a timing may be off; a float in an eddy or a wrong length is off
// by more [proposal].
const timingOutlier = 2.5

// timings moves the current by the members' floats, each as sure as one admin's
// timing; what is off by too much is refused.
func (in SpotInput) timings(s *site, k *siteInputs) {
	var ok []Timing
	for _, t := range in.Timings {
		if t.SurfaceMS > 0 && t.FlowM3S > 0 && !math.IsInf(t.SurfaceMS+t.FlowM3S, 0) {
			ok = append(ok, t)
		}
	}
	if len(ok) == 0 || in.Here {
		return
	}
	if k.noSpeed { // the middle one stands for what was known
		at := func(t Timing) float64 { return t.SurfaceMS / math.Pow(t.FlowM3S, s.exponent) }
		slices.SortFunc(ok, func(a, b Timing) int { return cmp.Compare(at(a), at(b)) })
		mid := ok[len(ok)/2]
		s.speedMS, s.speedQ, k.speedSD, k.noSpeed = mid.SurfaceMS, mid.FlowM3S, kindRatio(coldseam.SpotSlack).lnSD, false
	}

	var sum, n float64
	for _, t := range ok {
		off := math.Log(t.SurfaceMS / (s.speedMS * math.Pow(t.FlowM3S/s.speedQ, s.exponent)))
		if math.Abs(off) <= timingOutlier*math.Hypot(k.speedSD, timedSpeedLnSD) {
			sum += off
			n++
		}
	}
	if n == 0 {
		return
	}
	one := timedSpeedLnSD * timedSpeedLnSD
	sure := 1/(k.speedSD*k.speedSD) + n/one
	s.speedMS *= math.Exp(sum / one / sure)
	k.speedBy, k.speedSD = "float", 1/math.Sqrt(sure)
}

// advised is the advice with the members' timings, and without. A timing names no
// weight where it was withheld for any reason but a current that nobody knows: it
// opens nothing. The odds that a word looks at stay those without.
func advised(in SpotInput) (out, base coldseam.SpotJig) {
	timed := in.Timings
	in.Timings = nil
	base = advise(in)
	if len(timed) == 0 || in.Here || base.Withheld.Code != "" && base.Withheld.Code != "no_speed" {
		return base, base
	}
	in.Timings = timed
	out = advise(in)
	out.Holds, out.TimedHolds = base.Holds, out.Holds
	return out, base
}
