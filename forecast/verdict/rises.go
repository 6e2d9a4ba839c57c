package verdict

import (
	"math"
	"time"

	"example.org/coldseam"
)

// limb is the course of one rise: from its foot over its peak until the river
// has fallen again.
type limb struct {
	word   riseWord // what it means now
	lifted bool     // it was a stop, and what is left caps
	foot   float64
	peak   float64
	peakAt time.Time

	// The rule that fired last, with its numbers.
	last    ruleHit
	firedAt time.Time
	fired   float64

	// Unflagged readings below the half of the rise, running.
	below      int
	belowSince time.Time
}

// half is the value below which a stop lifts.
func (l *limb) half() float64 { return l.foot + (l.peak-l.foot)/2 }

// A stop lifts after as many unflagged readings as show a fall and no slip of
// the gauge; a daily gauge has one.
const (
	liftReadings = 6
	liftHours    = 3
	capFootShare = 1.25 // of the foot: until then what is left of a stop caps
	driftHours   = 24   // after the peak [common practice]
	gapHours     = 48   // a rise over a gap up to so long counts as one of 6 h [proposal]

	// A river that stays at its new level is judged by the limits of flow: after
	// these hours without a new peak a rise no longer stops, then no longer caps
	// [proposal]. Without them snowmelt kept STOP on 25 days of a spring.
	stopPeakHours = 72
	capPeakHours  = 168
)

// ruleHit is what the rules say of one reading.
type ruleHit struct {
	code  string
	word  riseWord
	foot  float64
	limit float64 // what is allowed: a share of flow, or metres of stage
}

// course is how a quantity is judged: rules by the lowest values of the last 6
// and 24 h before a reading, NaN without one; over where it is too high to lift
// a stop; gone where nothing is left of a rise that stopped.
type course struct {
	rules func(o coldseam.Observation, low6, low24 float64) ruleHit
	over  func(value float64) bool
	gone  func(value, foot float64) bool
}

// follow carries a limb along a series.
func (in *Inputs) follow(obs []coldseam.Observation, c course) limb {
	var l limb
	day, quarter := lows{span: hours(riseHours)}, lows{span: hours(6)}
	if in.Gauge.DailyOnly {
		day.span += 2 * time.Hour // a civil day has up to 25 h
	}
	last := coldseam.Observation{Value: math.NaN()}

	for _, o := range obs {
		if !usable(o) {
			continue
		}
		low6, low24 := quarter.before(o), day.before(o)
		if math.IsNaN(low6) && o.At.Sub(last.At) <= hours(gapHours) && !in.Gauge.DailyOnly {
			low6 = last.Value // nobody knows when in the gap it rose
		}
		l.take(o, c.rules(o, low6, low24))
		l.fall(o, in.Gauge.DailyOnly, c)
		quarter.add(o)
		day.add(o)
		last = o
	}

	return l
}

// lows keeps what may yet be the lowest value of a span: each one lower than
// all after it.
type lows struct {
	span time.Duration
	obs  []coldseam.Observation
}

// before is the lowest value of the span before o, NaN without one.
func (l *lows) before(o coldseam.Observation) float64 {
	for len(l.obs) > 0 && l.obs[0].At.Before(o.At.Add(-l.span)) {
		l.obs = l.obs[1:]
	}
	if len(l.obs) == 0 {
		return math.NaN()
	}
	return l.obs[0].Value
}

func (l *lows) add(o coldseam.Observation) {
	for n := len(l.obs); n > 0 && l.obs[n-1].Value >= o.Value; n-- {
		l.obs = l.obs[:n-1]
	}
	l.obs = append(l.obs, o)
}

func usable(o coldseam.Observation) bool { return o.Flag.Usable() && !math.IsNaN(o.Value) }

// take adds what the rules say of a reading. A rise on top of one that has not
// lifted keeps the first foot.
func (l *limb) take(o coldseam.Observation, f ruleHit) {
	if l.word == riseNothing && f.word == riseNothing {
		return
	}
	if l.word == riseNothing || l.lifted && f.word == riseStops {
		*l = limb{foot: f.foot, peak: o.Value, peakAt: o.At}
	}
	if o.Value > l.peak {
		l.peak, l.peakAt = o.Value, o.At
	}
	if f.word == riseNothing {
		return
	}

	l.foot = min(l.foot, f.foot)
	if f.word >= l.word {
		l.word, l.last, l.firedAt, l.fired, l.below = f.word, f, o.At, o.Value, 0
	}
}

// fall lifts a stop, and later ends the rise. A flagged reading neither lifts nor
// keeps: it may only stop.
func (l *limb) fall(o coldseam.Observation, daily bool, c course) {
	const flags = coldseam.QCFlags | coldseam.Equipment | coldseam.Suspect
	sincePeak := o.At.Sub(l.peakAt)

	switch {
	case l.word == riseNothing || o.Flag&flags != 0:
	case l.word == riseStops && sincePeak >= hours(stopPeakHours) && !c.over(o.Value):
		l.word, l.lifted = riseCaps, true
	case l.word == riseStops && (c.over(o.Value) || !(o.Value < l.half())):
		l.below = 0
	case l.word == riseStops:
		if l.below == 0 {
			l.belowSince = o.At
		}
		l.below++
		if daily || l.below >= liftReadings && o.At.Sub(l.belowSince) >= hours(liftHours) {
			l.word, l.lifted = riseCaps, true
		}
	case l.lifted && (c.gone(o.Value, l.foot) || sincePeak >= hours(capPeakHours)):
		l.word = riseNothing
	case !l.lifted && sincePeak > hours(driftHours):
		l.word = riseNothing // it capped the days on which it rose
	}
}

// risen is what rises mean for the day.
type risen struct {
	stops, caps, cautions []coldseam.Reason
}

// rises judges what the gauge has seen of rises: within 6 h and within a day, by
// flow and by stage, and what is left of earlier ones.
func (in *Inputs) rises() risen {
	var out risen
	if in.Reach.DamCycle != "" {
		if in.DamOffCycle {
			out.stops = append(out.stops, because(KindSafety, "dam_cycle", "gauge", nil))
		}
		return out
	}

	flow := in.follow(in.Gauge.Discharge, course{
		rules: in.flowRule,
		over:  func(q float64) bool { return in.Reach.MaxFlowM3S != nil && q >= *in.Reach.MaxFlowM3S },
		gone:  func(q, foot float64) bool { return q <= capFootShare*foot },
	})
	stage := in.follow(in.Gauge.Stage, course{
		rules: in.stageRule,
		over:  func(float64) bool { return false },
		gone:  func(float64, float64) bool { return true }, // the flow caps what is left
	})
	in.tell(&out, in.Gauge.Stage, stage, "m")
	in.tell(&out, in.Gauge.Discharge, flow, "m3_s")
	return out
}

// flowRule is the rise of flow in 6 h and within a day.
func (in *Inputs) flowRule(o coldseam.Observation, low6, low24 float64) ruleHit {
	if low6 > 0 && o.Value/low6-1 > in.Table.RiseShare {
		return ruleHit{"rise_flow", riseStops, low6, in.Table.RiseShare}
	}
	word := in.Season.word(low24, o.Value)
	limit, _ := in.Season.limits()
	code := "rise_day"
	switch {
	case word == riseCaps:
		code, limit = "rise_day_cap", riseCapShare
	case in.Season.Flashy:
		code = "rise_day_flashy"
	}
	return ruleHit{code, word, low24, limit}
}

// stageRule is the rise of stage in 6 h and within a day. The river is high
// where the flow at the time says so or is not known.
func (in *Inputs) stageRule(o coldseam.Observation, low6, low24 float64) ruleHit {
	limit := in.Table.RiseFt * coldseam.MetrePerFoot
	if o.Value-low6 > limit {
		return ruleHit{"rise_stage", riseStops, low6, limit}
	}
	if !(o.Value-low24 > riseStageM) {
		return ruleHit{}
	}
	q, known := flowAt(in.Gauge.Discharge, o.At)
	if !known || in.Season.above(q, in.Season.P75M3S) {
		return ruleHit{"rise_day_stage", riseStops, low24, riseStageM}
	}
	return ruleHit{"rise_day_stage_cap", riseCaps, low24, riseStageM}
}

// flowAt is the newest usable flow at t, at most 2 h old.
func flowAt(obs []coldseam.Observation, t time.Time) (float64, bool) {
	for i := len(obs) - 1; i >= 0; i-- {
		if usable(obs[i]) && !obs[i].At.After(t) {
			return obs[i].Value, t.Sub(obs[i].At) <= 2*time.Hour
		}
	}
	return 0, false
}

// tell turns a limb into reasons; unit is that of the quantity.
func (in *Inputs) tell(out *risen, obs []coldseam.Observation, l limb, unit string) {
	now, ok := newest(obs)
	if !ok || l.word == riseNothing || in.Now.Sub(now.At) > in.riseAge() {
		return
	}
	if in.Now.Sub(l.peakAt) <= hours(driftHours) && len(out.cautions) == 0 {
		out.cautions = append(out.cautions, because(KindCaution, "drift", clubRule,
			map[string]float64{"peak_" + unit: l.peak}))
	}

	kind, list := KindSafety, &out.stops
	if l.word == riseCaps {
		kind, list = KindCap, &out.caps
	}
	var r coldseam.Reason

	switch {
	case l.firedAt.Equal(now.At):
		r = because(kind, l.last.code, "gauge", map[string]float64{"to_" + unit: l.fired})
		if unit == "m" {
			r.Values["rise_m"], r.Values["limit_m"] = l.fired-l.last.foot, l.last.limit
		} else {
			r.Values["rise_share"], r.Values["limit_share"] = l.fired/l.last.foot-1, l.last.limit
			r.Values["spring_share"] = in.Season.SpringStops
		}
	case l.word == riseStops && unit == "m":
		r = because(kind, "rise_kept_stage", "gauge", map[string]float64{"peak_m": l.peak, "until_m": l.half()})
	case l.word == riseStops:
		r = because(kind, "rise_kept", "gauge", map[string]float64{"peak_" + unit: l.peak, "until_" + unit: l.half()})
	case l.lifted:
		r = because(kind, "rise_falling", "gauge", map[string]float64{"peak_" + unit: l.peak,
			"until_" + unit: capFootShare * l.foot})
	default:
		return
	}

	if !l.firedAt.Equal(now.At) {
		r.At = l.peakAt
	}
	*list = append(*list, r)
}

// riseAge is the age up to which the newest reading still speaks of a rise. The
// mean of a day comes a day late.
func (in *Inputs) riseAge() time.Duration {
	age := hours(in.Table.StopAgeH)
	if in.Gauge.DailyOnly {
		age += 24 * time.Hour
	}
	return age
}
