package jig

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"example.org/coldseam"
)

// Need is one number the admin could measure, and what it would do to the
// weight.
type Need struct {
	SpotID, Spot string
	Code         string  // sound, float, gaugings, stage, log
	Text         string  // "time five floats at Main seam: 1/4 to 1/2 becomes 1/4 or 3/8"
	Narrows      float64 // by how much the ln-sd of the weight would shrink; +Inf = there is no weight without it
}

// What the spread would be once measured [assumed]: a fitted gauge section
// scatters by .25 on the one real station at hand, and four logs left .17 in
// the one synthetic run [reference calculation].
const (
	fittedSComb = 0.25
	loggedLnSD  = 0.17
)

// The sizes that may turn out to be the one needed: from the first with P of
// at least mayLow to the first with at least mayHigh [proposal].
const (
	mayLow  = 0.20
	mayHigh = 0.80
)

// Measure ranks what is missing at the spots by how much each number would
// narrow the weight in the window of ins: first what a weight cannot be given
// without, then by the spread it takes away.
func Measure(ins []SpotInput) []Need {
	var out []Need
	for _, in := range ins {
		out = append(out, needs(in)...)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Narrows > out[j].Narrows })
	return out
}

func needs(in SpotInput) []Need {
	if !in.finite() {
		return nil
	}
	s, k := in.site()
	must := func(code, text string) []Need {
		return []Need{{in.Spot.ID, in.Spot.Name, code, text + ": no weight until then", math.Inf(1)}}
	}
	switch {
	case len(in.flows()) == 0:
		return nil // the gauge is what is missing, not a measurement of the admin's
	case in.Spot.DepthRefM == nil, k.noDepth != "" && !(*in.Spot.DepthRefM > 0):
		return must("sound", "sound the depth at "+in.Spot.Name+" and note the day")
	case k.noDepth != "":
		return must("stage", "find the stage or flow of the day "+in.Spot.Name+" was sounded")
	case in.moved():
		return must("sound", "sound "+in.Spot.Name+" again, the sand has moved")
	case k.noSpeed:
		return must("float", "time five floats at "+in.Spot.Name)
	}
	return narrowing(in, s, k)
}

// narrowing lists what would make the weight of a spot that has one surer.
func narrowing(in SpotInput, s *site, k known) []Need {
	sComb := in.sComb()
	now := modelLnSD(sComb, k.speedSD, k.depthSD)
	cal := posterior(now, in.Logs, (&adviser{in: in, s: s}).modelAt)
	if cal.Logs > 0 {
		now = cal.SD
	}
	for _, q := range in.flows() {
		if !(q > 0) {
			return nil
		}
	}
	q := in.flows()
	o := newOdds(s, in.Rig, q, q[0], q[0], cal.Mean, math.Hypot(now, eventLnSD))
	before := o.mayNeed()
	var out []Need
	add := func(code, text string, sd float64) {
		if sd >= now-.005 {
			return
		}
		better := o
		better.sd = math.Hypot(sd, eventLnSD)
		out = append(out, Need{in.Spot.ID, in.Spot.Name, code, text + ": " + becomes(before, better.mayNeed()), now - sd})
	}
	if cal.Logs == 0 {
		switch timed := modelLnSD(sComb, timedSpeedLnSD, k.depthSD); {
		case k.speedBy == "kind" && in.Spot.FloatMS != nil:
			add("flow", "find the flow of the day the floats were timed at "+in.Spot.Name, timed)
		case k.speedBy == "kind":
			add("float", "time five floats at "+in.Spot.Name+", or note a line angle", timed)
		}
		if s.form == depthByFlow {
			add("stage", "find the stage of the day "+in.Spot.Name+" was sounded", modelLnSD(sComb, k.speedSD, soundedLnSD))
		}
		if sComb > fittedSComb && (in.Geometry.Default || !in.Geometry.Valid()) {
			add("gaugings", "import the gauge's field measurements", modelLnSD(fittedSComb, k.speedSD, k.depthSD))
		}
	}
	if !cal.Done {
		add("log", fmt.Sprintf("log held or lost at %s, %d more with both", in.Spot.Name, max(doneAtLogs-cal.Logs, 1)), loggedLnSD)
	}
	return out
}

// mayNeed are the trade sizes that may turn out to be needed.
func (o Odds) mayNeed() []string {
	var out []string
	for _, oz := range coldseam.TradeSizesOz {
		p := o.Holds(oz * coldseam.KgPerOunce)
		if p >= mayLow {
			out = append(out, coldseam.OzName(oz))
		}
		if p >= mayHigh {
			return out
		}
	}
	return append(out, "more")
}

// becomes says "1/4 or 3/8 becomes 1/4".
func becomes(before, after []string) string {
	b, a := choice(before), choice(after)
	if a == b {
		return b + " oz either way, but surer"
	}
	return b + " oz becomes " + a
}

func choice(s []string) string {
	if len(s) > 2 {
		return s[0] + " to " + s[len(s)-1]
	}
	return strings.Join(s, " or ")
}
