package verdict

import (
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/trust"
)

// StateUntrusted is the state of an input whose newest readings carry no word.
const StateUntrusted = "untrusted"

// judgeGauge looks at the readings once for the whole decision. A caller that
// gives no history gets the one its readings hold.
func (in *Inputs) judgeGauge() {
	g := &in.Gauge
	if g.History.Span == 0 {
		g.History = trust.HistoryOf(g.Discharge, g.Stage, g.Water, in.Now)
	}
	in.trust = trust.Judge(trust.Input{
		Now:       in.Now,
		Flow:      g.Discharge,
		Stage:     g.Stage,
		Water:     g.Water,
		History:   g.History,
		Witness:   g.Witness,
		Confirmed: g.Confirmed,
		Strict:    in.Reach.Regulated || in.Season.Flashy,
		Daily:     g.DailyOnly,
	})
}

// gaugeStops are the stops on what the gauge has seen. Any usable reading,
// flagged or not, fires one.
func (in *Inputs) gaugeStops() []coldseam.Reason {
	return slices.Concat(in.stageStop(), in.rises().stops, in.flowStops())
}

// keepStop keeps a stop that the gauge gave within the last day until several
// unflagged readings lift it. A reading that failed the quality check fires no
// stop, but if its value would have fired one there is no call until then.
func (in *Inputs) keepStop() {
	if in.trust.MayLift() || len(in.gaugeStops()) > 0 {
		return
	}
	kept := func(kind, code string, first coldseam.Reason) []coldseam.Reason {
		r := doubtful(kind, code, in.trust.Lift)
		r.Names["stop"] = first.Code
		return []coldseam.Reason{r}
	}

	if r, ok := in.stoppedBefore(in.Gauge.Discharge, in.Gauge.Stage); ok {
		in.kept.stop = kept(KindSafety, "stop_kept", r)
	} else if r, ok := in.stoppedBefore(unflagged(in.Gauge.Discharge), unflagged(in.Gauge.Stage)); ok {
		in.kept.bad = kept(KindMissing, "stop_unsettled", r)
	}
}

// unflagged takes every value at its word.
func unflagged(obs []coldseam.Observation) []coldseam.Observation {
	out := slices.Clone(obs)
	for i := range out {
		out[i].Flag &^= coldseam.Bad | coldseam.QCFail
		if out[i].Value != 0 {
			out[i].Flag &^= coldseam.Missing
		}
	}
	return out
}

// stoppedBefore goes back over the readings of the last Table.StopAgeH hours
// and returns the newest stop that they gave when they were the newest.
func (in *Inputs) stoppedBefore(flow, stage []coldseam.Observation) (coldseam.Reason, bool) {
	from := in.Now.Add(-hours(in.Table.StopAgeH))
	cut := func(obs []coldseam.Observation, from, to time.Time) []coldseam.Observation {
		a, _ := slices.BinarySearchFunc(obs, from,
			func(o coldseam.Observation, t time.Time) int { return o.At.Compare(t) })
		b, _ := slices.BinarySearchFunc(obs, to.Add(1),
			func(o coldseam.Observation, t time.Time) int { return o.At.Compare(t) })
		return obs[a:max(a, b)]
	}
	var times []time.Time
	for _, obs := range [][]coldseam.Observation{flow, stage} {
		for _, o := range cut(obs, from, in.Now) {
			times = append(times, o.At)
		}
	}
	slices.SortFunc(times, func(a, b time.Time) int { return b.Compare(a) })

	past := *in
	for _, t := range slices.Compact(times) {
		back := t.Add(-hours(in.Table.StopAgeH))
		past.Now, past.Gauge.Discharge, past.Gauge.Stage = t, cut(flow, back, t), cut(stage, back, t)
		if r := past.gaugeStops(); len(r) > 0 {
			return r[0], true
		}
	}

	return coldseam.Reason{}, false
}

func doubtful(kind, code string, d trust.Doubt) coldseam.Reason {
	r := because(kind, code, "gauge", nil)
	r.At, r.Names = d.Since, map[string]string{"doubt": d.Code}
	if d.Code == trust.Flagged || d.Code == trust.TooFew {
		r.Names["flag"] = strings.Join(d.Flag.Names(), ", ")
	}
	return r
}

// doubted marks an input whose newest readings are not trusted: its age is that
// of the newest trusted one.
func (in *Inputs) doubted(i *coldseam.Input, q trust.Quantity) {
	if q.Doubt.Code == "" {
		return
	}
	i.Doubt = doubtful(KindNote, "not_trusted", q.Doubt)
	i.Doubt.Names["quantity"] = i.Key
	if q.Known {
		i.At, i.Age = q.Trusted.At, in.age(q.Trusted.At)
	}
	if i.State == StateGood {
		i.State = StateUntrusted
	}
}
