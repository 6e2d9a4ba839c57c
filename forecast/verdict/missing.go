package verdict

import (
	"cmp"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/trust"
)

// The states of an input.
const (
	StateGood       = "good"
	StateNone       = "none" // the agency was asked and reports nothing
	StateStale      = "stale"
	StateMissing    = "missing"
	StateFailed     = "failed" // newest rows failed quality checks
	StateUnverified = "unverified"
)

// inputAudit collects the inputs with their ages, and what is wrong with them.
type inputAudit struct {
	inputs []coldseam.Input
	faults []coldseam.Reason // safety inputs and rules: NO CALL
	caps   []coldseam.Reason
	odds   []coldseam.Reason // odds inputs: NO CALL, after the safety ones
}

// safetyInputs checks every safety input of the day (section by section, in
// the order in which they are printed) against its greatest age.
func (in *Inputs) safetyInputs(frozen ice.Status) inputAudit {
	var l inputAudit
	in.gaugeInputs(&l)
	in.officialInput(&l)
	in.alertInput(&l)
	in.weatherInput(&l)
	in.iceInput(&l, frozen)
	in.limitInput(&l)
	in.ruleInput(&l)
	in.waterInput(&l)
	return l
}

// gaugeInputs: discharge always; stage where a flood stage needs it.
func (in *Inputs) gaugeInputs(l *inputAudit) {
	limit := hours(in.Table.GaugeAgeH)
	rows := []struct {
		key    string
		obs    []coldseam.Observation
		judged trust.Quantity
		needed bool
	}{
		{"discharge", in.Gauge.Discharge, in.trust.Flow, true},
		{"stage", in.Gauge.Stage, in.trust.Stage, in.Reach.FloodStageM != nil},
	}

	for _, r := range rows {
		if !r.needed && len(r.obs) == 0 {
			continue
		}
		i := in.obsInput(r.key, r.obs, limit)
		i.Safety = r.needed
		in.doubted(&i, r.judged)
		l.inputs = append(l.inputs, i)

		if r.needed && i.Age > hours(in.Table.GoAgeH) && !in.Gauge.DailyOnly {
			// A river can rise by half in the hours nobody has heard of.
			c := tooOld(i)
			c.Code, c.Kind, c.Values["limit_h"] = i.Key+"_old", KindCap, in.Table.GoAgeH
			l.caps = append(l.caps, c)
		}

		if i.State == StateGood || !r.needed {
			continue
		}
		l.faults = append(l.faults, gaugeMissing(i))
	}

	l.faults = append(l.faults, in.kept.bad...)
	if t := in.trust.Unchanged; !t.IsZero() {
		c := because(KindCap, "gauge_unchanged", "gauge", nil)
		c.At = t
		l.caps = append(l.caps, c)
	}

	// A rise of the last six hours must be seen, not assumed: one reading alone
	// cannot show it.
	for _, row := range rows {
		if _, _, ok := rise(row.obs, 6); row.needed && !ok && len(l.faults) == 0 && !in.Gauge.DailyOnly {
			r := missing("rise_unknown", nil)
			r.Names = map[string]string{"quantity": row.key}
			l.faults = append(l.faults, r)
		}
	}
}

// gaugeMissing says what is wrong with the readings of a gauge: discharge_stale,
// stage_missing and the like.
func gaugeMissing(i coldseam.Input) coldseam.Reason {
	switch i.State {
	case StateStale:
		return tooOld(i)
	case StateUntrusted:
		r := i.Doubt
		r.Code, r.Kind = i.Key+"_"+i.State, KindMissing
		return r
	}
	return missing(i.Key+"_"+i.State, nil)
}

// tooOld is the reason of an input past its greatest age.
func tooOld(i coldseam.Input) coldseam.Reason {
	r := missing(i.Key+"_"+StateStale, map[string]float64{"age_h": i.Age.Hours(), "limit_h": i.Limit.Hours()})
	r.At = i.At
	return r
}

// obsInput describes a series: its newest usable value and state. Newer rows
// that failed the quality check make a stale series "failed".
func (in *Inputs) obsInput(key string, obs []coldseam.Observation, limit time.Duration) coldseam.Input {
	i := coldseam.Input{Key: key, Limit: limit, State: StateMissing}
	failed := 0
	for k := len(obs) - 1; k >= 0 && !obs[k].Flag.Usable(); k-- {
		if obs[k].Flag&(coldseam.QCFail|coldseam.Bad) != 0 && in.Now.Sub(obs[k].At) <= limit {
			failed++
		}
	}

	if failed > 0 {
		i.Note = coldseam.Notes{{Code: "newer_failed", Values: map[string]float64{"newer": float64(failed)}}}
	}
	o, ok := newest(obs)
	if !ok {
		if failed > 0 {
			i.State = StateFailed
		}
		return i
	}

	i.At, i.Age = o.At, in.age(o.At)
	switch {
	case i.Age <= limit:
		i.State = StateGood
	case failed > 0:
		i.State = StateFailed
	default:
		i.State = StateStale
	}

	return i
}

func (in *Inputs) age(at time.Time) time.Duration { return max(in.Now.Sub(at), 0) }

// alertGap reports whether the warnings are too old because the last readings
// lacked something, and names the first thing. A warning whose shape is damaged
// is read in part: from when it came they are not complete for this reach.
func (in *Inputs) alertGap(l *inputAudit) bool {
	var gaps []coldseam.FeedGap
	if in.Alerts.At.IsZero() || in.age(in.Alerts.At) > hours(in.Table.AlertAgeH) {
		gaps = slices.Clone(in.Alerts.Gaps)
	}
	for _, a := range in.Alerts.List {
		if damagedShape(a) && in.age(a.KnownAt) > hours(in.Table.AlertAgeH) &&
			alive(a, in.Now, in.Day.Add(1).In(in.Loc)) &&
			ClassifyAlert(a, in.Alerts.Rules) > AlertMinor {
			gaps = append(gaps, coldseam.FeedGap{Entry: a.Identifier, Title: cmp.Or(a.Headline, a.Event),
				Why: a.Unplaced})
		}
	}
	if len(gaps) == 0 {
		return false
	}
	l.faults = append(l.faults, in.lacks(gaps))
	return true
}

// lacks names the first of the gaps of the warnings.
func (in *Inputs) lacks(gaps []coldseam.FeedGap) coldseam.Reason {
	g := gaps[0]
	r := because(KindMissing, "alerts_incomplete", clubRule, map[string]float64{"entries": float64(len(gaps))})
	r.Names = map[string]string{"feed": in.Reach.AlertFeed, "entry": cmp.Or(g.Title, g.Entry), "id": g.Entry,
		"why": g.Why}
	return r
}

func (in *Inputs) alertInput(l *inputAudit) {
	i := coldseam.Input{
		Key:    "alerts",
		Safety: true,
		At:     in.Alerts.At,
		Limit:  hours(in.Table.AlertAgeH),
		State:  StateGood,
	}
	switch {
	case in.alertGap(l):
		i.State = StateFailed
		if !i.At.IsZero() {
			i.Age = in.age(i.At)
		}
	case in.Alerts.At.IsZero():
		i.State = StateMissing
		l.faults = append(l.faults, missing("alerts_missing", nil))
	case in.Alerts.At.After(in.Now.Add(5 * time.Minute)):
		i.State = StateFailed
		l.faults = append(l.faults, missing("alerts_failed", nil))
	default:
		i.Age = in.age(in.Alerts.At)
		if i.Age > i.Limit {
			i.State = StateStale
			l.faults = append(l.faults, tooOld(i))
		}
	}

	if i.State == StateGood && len(in.Alerts.List) == 0 {
		i.State = StateNone
	}
	if len(in.Alerts.Gaps) > 0 && i.State != StateFailed { // an older reading, which was complete, still holds
		i.Note = coldseam.Notes{in.lacks(in.Alerts.Gaps)}
	}
	l.inputs = append(l.inputs, i)
}

func (in *Inputs) weatherInput(l *inputAudit) {
	w := in.Weather
	i := coldseam.Input{
		Key:    "weather",
		Safety: true,
		At:     w.Issued,
		Limit:  hours(in.Table.WeatherAgeH),
		State:  StateGood,
	}
	switch {
	case w.Issued.IsZero() || len(w.Hours) == 0:
		i.State = StateMissing
		l.faults = append(l.faults, missing("weather_missing", nil))
	case w.Issued.After(in.Now.Add(5 * time.Minute)):
		i.State = StateFailed
		l.faults = append(l.faults, missing("weather_failed", nil))
	default:
		i.Age = in.age(w.Issued)
		if i.Age > i.Limit {
			i.State = StateStale
			l.faults = append(l.faults, tooOld(i))
		}
	}
	l.inputs = append(l.inputs, i)
}

// limitInput: without ten years of record a reach needs its own flow limit.
func (in *Inputs) limitInput(l *inputAudit) {
	l.faults = append(l.faults, in.invalid...)
	if in.Reach.MaxFlowM3S != nil || float64(in.Climate.Years) >= in.Table.MinYears {
		return
	}
	l.inputs = append(l.inputs, coldseam.Input{Key: "max_flow", Safety: true, State: StateMissing})
	l.faults = append(l.faults, missing("no_max_flow", map[string]float64{"record_years": float64(in.Climate.Years)}))
}

// ruleInput: a season rule must exist and be checked within the year.
func (in *Inputs) ruleInput(l *inputAudit) {
	i := coldseam.Input{
		Key:    "season_rule",
		Safety: true,
		Limit:  time.Duration(in.Table.RuleAgeD) * 24 * time.Hour,
		State:  StateUnverified,
	}
	rules := in.seasonRules()
	oldest := 0
	ok := len(rules) > 0
	for _, r := range rules {
		d := in.Day.Sub(r.CheckedOn)
		if r.CheckedOn.IsZero() || d < 0 || float64(d) > in.Table.RuleAgeD {
			ok = false
			continue
		}
		if i.At.IsZero() || d > oldest {
			oldest, i.At = d, r.CheckedOn.In(in.loc())
		}
	}

	if ok {
		i.State, i.Age = StateGood, time.Duration(oldest)*24*time.Hour
		code := "season_open"
		if len(in.legal()) > 0 {
			code = "season_closed"
		}
		i.Note = coldseam.Notes{{Code: code, At: i.At}}
	} else {
		i.Note = coldseam.Notes{{Code: "season_unchecked"}}
		l.faults = append(l.faults, missing("season_unverified", nil))
	}

	l.inputs = append(l.inputs, i)
}

// waterInput is an odds input: older than its age the model alone, which
// caps; no model: missing.
func (in *Inputs) waterInput(l *inputAudit) {
	i := in.obsInput("water_temp", in.Gauge.Water, time.Duration(in.Table.WaterAgeD*24*float64(time.Hour)))
	in.doubted(&i, in.trust.Water)
	if i.State == StateUntrusted && i.Age <= i.Limit && in.trust.Water.Known {
		i.State = StateGood // the newest trusted one is young enough
	}
	if i.State != StateGood {
		if in.WaterModel {
			i.Note = append(i.Note, coldseam.Reason{Code: "water_model_alone"})
			l.caps = append(l.caps, capped("water_model", nil))
		} else {
			l.odds = append(l.odds, missing("water_"+i.State, nil))
		}
	}
	l.inputs = append(l.inputs, i)
}
