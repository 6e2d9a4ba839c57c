package verdict

import (
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
)

// iceState is the latch's state, closed by any sign of ice among the readings
// at hand: a caller whose state is older than they are opens nothing.
func (in *Inputs) iceState() ice.Status {
	s := in.Ice
	if s.State == ice.Ice || s.State == ice.Breakup {
		return s
	}
	for _, obs := range [][]coldseam.Observation{in.Gauge.Discharge, in.Gauge.Stage, in.Gauge.Water} {
		for _, o := range obs {
			if o.Flag&coldseam.Ice != 0 && in.Now.Sub(o.At) < ice.MarkHold {
				return in.closedFor(ice.CauseQualifier, o.At)
			}
		}
	}
	limit := max(coldseam.C(in.Table.IceWaterF), ice.ColdC)
	if o, ok := newest(in.Gauge.Water); ok && o.Value <= limit && in.Now.Sub(o.At) <= hours(in.Table.WaterAgeD*24) {
		return in.closedFor(ice.CauseCold, o.At)
	}
	return s
}

func (in *Inputs) closedFor(cause string, at time.Time) ice.Status {
	day := coldseam.DateOf(at.In(in.loc()))
	return ice.Status{Record: ice.Record{Day: in.Day, State: ice.Ice, Since: day, Cause: cause}}
}

// iceReason says the state of ice as a reason: what it is, since when and why.
func (in *Inputs) iceReason(s ice.Status) coldseam.Reason {
	if s.Cause == "" {
		s.Cause = ice.CauseStart
	}
	kind, code := KindNote, "ice_open_"+s.Cause
	values := map[string]float64{}

	switch s.State {
	case ice.Unknown:
		kind, code = KindMissing, "ice_unknown_"+s.Cause
	case ice.Ice:
		kind, code = KindSafety, "ice_"+s.Cause
		values["limit_c"] = max(coldseam.C(in.Table.IceWaterF), ice.ColdC)
	case ice.Breakup:
		kind, code = KindSafety, "ice_breakup"
		if s.Times > 0 {
			code = "ice_breakup_flow"
			values["flow_times"] = s.Times
		}
	}

	r := because(kind, code, clubRule, values)
	switch since := s.Since; {
	case code == "ice_breakup_flow":
		r.At = s.LeastOn.In(in.loc())
	case !since.IsZero():
		r.At = since.In(in.loc())
	}

	return r
}

// iceStops is stop 2.
func (in *Inputs) iceStops(s ice.Status) []coldseam.Reason {
	if s.State != ice.Ice && s.State != ice.Breakup {
		return nil
	}
	return []coldseam.Reason{in.iceReason(s)}
}

// iceReadingAge: in the months of frost a night can bring ice to open water that
// no reading of this morning shows [proposal].
const iceReadingAge = 12 * time.Hour

// iceInput is the state as an input: not known is NO CALL, and open water that
// only the admin vouches for, or that no thermometer watches, is capped.
func (in *Inputs) iceInput(l *inputAudit, s ice.Status) {
	i := coldseam.Input{Key: "ice", Safety: true, State: StateGood}
	for _, obs := range [][]coldseam.Observation{in.Gauge.Water, in.Gauge.Discharge} {
		if o, ok := newest(obs); ok && o.At.After(i.At) {
			i.At, i.Age = o.At, in.age(o.At)
		}
	}

	switch {
	case s.State == ice.Unknown:
		i.State = StateMissing
		l.faults = append(l.faults, in.iceReason(s))
	case !s.OpenedAt.IsZero():
		r := because(KindCap, "ice_admin_open", "club admin", nil)
		r.At = s.OpenedAt
		l.caps = append(l.caps, r)
	case s.Unwatched:
		l.caps = append(l.caps, because(KindCap, "ice_unwatched", clubRule, nil))
	case ice.FrostSeason(in.Day, in.Reach.Lat < 0):
		if o, ok := newest(in.Gauge.Water); ok && in.age(o.At) > iceReadingAge {
			l.caps = append(l.caps, because(KindCap, "ice_water_old", clubRule,
				map[string]float64{"age_h": in.age(o.At).Hours()}))
		}
	}

	l.inputs = append(l.inputs, i)
}
