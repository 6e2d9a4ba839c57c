package verdict

import (
	"math"
	"slices"
	"time"

	"example.org/coldseam"
)

// Official is the agency's forecast of the stage at the reach's own gauge. It may
// add a stop and lifts none: what our forecast or the gauge says stands beside it.
type Official struct {
	Fed    bool      // the reach names a point
	At     time.Time // last good reading of its feed; zero = never
	Issued time.Time // of the newest forecast; zero = none was issued
	Steps  []coldseam.Observation
	FloodM *float64 // minor flood by the agency, above the zero of its forecast
	// the agency tells its levels of another gauge than the reach's: its zero is
	// another too, and no limit of the reach is compared with its forecast
	Elsewhere bool
}

// officialAge is how old an issue, or a reading of the feed, may be [source: the
// design of feeds: forecast points of the United States issue once a day].
const officialAge = 36 * time.Hour

// issued reports whether there is a forecast that still speaks.
func (in *Inputs) issued() bool {
	o := in.Official
	return o.Fed && !o.Issued.IsZero() && in.Now.Sub(o.Issued) <= officialAge
}

// officialInput: a point that is named must be read. That the agency issues no
// forecast is its answer and no gap.
func (in *Inputs) officialInput(l *inputAudit) {
	o := in.Official
	if !o.Fed {
		return
	}
	i := coldseam.Input{Key: "stage_forecast", Safety: true, At: o.At, Limit: officialAge, State: StateGood}
	switch i.Age = in.age(o.At); {
	case o.At.IsZero():
		i.Age, i.State = 0, StateMissing
		l.faults = append(l.faults, missing("stage_forecast_missing", nil))
	case i.Age > i.Limit:
		i.State = StateStale
		l.faults = append(l.faults, tooOld(i))
	case !in.issued():
		i.State = StateNone
	case slices.ContainsFunc(o.Steps, func(s coldseam.Observation) bool { return !finite(s.Value) }):
		i.State = StateFailed
		l.faults = append(l.faults, missing("stage_forecast_invalid", nil))
	}
	l.inputs = append(l.inputs, i)
}

// officialPeak is the highest stage of the forecast between two times, and when.
// Between its steps the river is taken to go straight from one to the next.
func (in *Inputs) officialPeak(from, to time.Time) (peak float64, at time.Time, ok bool) {
	if !in.issued() {
		return 0, at, false
	}
	peak = math.Inf(-1)
	see := func(v float64, t time.Time) {
		if finite(v) && v > peak && !t.Before(from) && !t.After(to) {
			peak, at, ok = v, t, true
		}
	}
	for i, s := range in.Official.Steps {
		see(s.Value, s.At)
		if i == 0 {
			continue
		}
		p := in.Official.Steps[i-1]
		for _, edge := range []time.Time{from, to} {
			if p.At.Before(edge) && edge.Before(s.At) {
				share := edge.Sub(p.At).Hours() / s.At.Sub(p.At).Hours()
				see(p.Value+share*(s.Value-p.Value), edge)
			}
		}
	}
	return peak, at, ok
}

// officialStop is stop 1 on the official stage forecast.
func (in *Inputs) officialStop(to time.Time) []coldseam.Reason {
	limit := in.Reach.FloodStageM
	if own := in.Official.FloodM; own != nil && finite(*own) && (limit == nil || *own < *limit || in.Official.Elsewhere) {
		limit = own
	} else if in.Official.Elsewhere {
		limit = nil
	}
	return in.officialOver(KindSafety, "flood_stage_forecast", limit, to)
}

// officialOver is a reason where the official forecast reaches a limit.
func (in *Inputs) officialOver(kind, code string, limit *float64, to time.Time) []coldseam.Reason {
	peak, at, ok := in.officialPeak(in.Now, to)
	if !ok || limit == nil || peak < *limit {
		return nil
	}
	r := because(kind, code, "agency", map[string]float64{"crest_m": peak, "limit_m": *limit})
	r.At = at
	return []coldseam.Reason{r}
}
