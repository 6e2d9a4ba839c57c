package jig

import (
	"math"
	"sort"
	"strings"

	"example.org/coldseam"
)

// Need is one number the admin could measure, and what it would do to the
// weight.
type Need struct {
	coldseam.Reason // measure_sound, _stage, _flow, _float, _gaugings, _log
	SpotID          string
	Narrows         float64 // by how much the ln-sd of the weight would shrink; +Inf = there is no weight without it
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
	must := func(code, why string) []Need {
		r := because("note", code, why, nil)
		r.Names["spot"] = in.Spot.Name
		return []Need{{r, in.Spot.ID, math.Inf(1)}}
	}

	switch {
	case len(in.flows()) == 0:
		return nil // the gauge is what is missing, not a measurement of the admin's
	case in.Spot.DepthRefM == nil, k.noDepth != "" && !(*in.Spot.DepthRefM > 0):
		return must("measure_sound", "unsounded")
	case k.noDepth != "":
		return must("measure_stage", "must")
	case in.moved():
		return must("measure_sound", "moved")
	case k.noSpeed:
		return must("measure_float", "must")
	}

	return narrowing(in, s, k)
}

// narrowing lists what would make the weight of a spot that has one surer.
func narrowing(in SpotInput, s *site, k siteInputs) []Need {
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
	before := o.mayNeedNames()
	var out []Need
	add := func(code string, sd float64, values map[string]float64) {
		if sd >= now-.005 {
			return
		}
		better := o
		better.sd = math.Hypot(sd, eventLnSD)
		r := because("note", code, "", values)
		r.Names = map[string]string{"spot": in.Spot.Name, "sizes": before, "becomes": better.mayNeedNames()}
		out = append(out, Need{r, in.Spot.ID, now - sd})
	}

	if cal.Logs == 0 {
		switch timed := modelLnSD(sComb, timedSpeedLnSD, k.depthSD); {
		case k.speedBy == "kind" && in.Spot.FloatMS != nil:
			add("measure_flow", timed, nil)
		case k.speedBy == "kind":
			add("measure_float", timed, nil)
		}

		if s.form == depthByFlow {
			add("measure_stage", modelLnSD(sComb, k.speedSD, soundedLnSD), nil)
		}
		if sComb > fittedSComb && (in.Geometry.Default || !in.Geometry.Valid()) {
			add("measure_gaugings", modelLnSD(fittedSComb, k.speedSD, k.depthSD), nil)
		}
	}

	if !cal.Done {
		add("measure_log", loggedLnSD, map[string]float64{"more": float64(max(doneAtLogs-cal.Logs, 1))})
	}
	return out
}

// mayNeed are the trade sizes in ounces that may turn out to be needed, one at
// least; more = so may a heavier one than there is.
func (o Odds) mayNeed() (out []float64, more bool) {
	for _, oz := range coldseam.TradeSizesOz {
		p := o.Holds(oz * coldseam.KgPerOunce)
		if p >= mayLow {
			out = append(out, oz)
		}
		if p >= mayHigh {
			return out, false
		}
	}
	if len(out) == 0 {
		out = coldseam.TradeSizesOz[len(coldseam.TradeSizesOz)-1:]
	}
	return out, true
}

func (o Odds) mayNeedNames() string {
	sizes, more := o.mayNeed()
	var out []string
	for _, oz := range sizes {
		if !more || o.Holds(oz*coldseam.KgPerOunce) >= mayLow {
			out = append(out, coldseam.OzName(oz))
		}
	}
	if more {
		out = append(out, "more")
	}
	return strings.Join(out, ",")
}
