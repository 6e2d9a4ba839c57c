package verdict

import (
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
)

// The kinds of reason.
const (
	KindSafety  = "safety"
	KindLegal   = "legal"
	KindMissing = "missing"
	KindCap     = "cap"
	KindOdds    = "odds"
	KindCaution = "caution"
	KindNote    = "note"
)

const clubRule = "club rule"

// because builds a reason from its numbers in SI; package notify words it. The
// values may be nil.
func because(kind, code, source string, values map[string]float64) coldseam.Reason {
	return coldseam.Reason{Code: code, Kind: kind, Source: source, Values: values}
}

// missing, capped and caution are reasons by a rule of the club.
func missing(code string, values map[string]float64) coldseam.Reason {
	return because(KindMissing, code, clubRule, values)
}

func capped(code string, values map[string]float64) coldseam.Reason {
	return because(KindCap, code, clubRule, values)
}

func caution(code string, values map[string]float64) coldseam.Reason {
	return because(KindCaution, code, clubRule, values)
}

// otherWindow turns the stop of a window that was not chosen into a caution. It
// keeps the numbers of the stop and names its code.
func otherWindow(stop coldseam.Reason, from time.Time) coldseam.Reason {
	names := map[string]string{"stop": stop.Code}
	maps.Copy(names, stop.Names)
	stop.Code, stop.Names, stop.Kind, stop.From = "other_window", names, KindCaution, from
	return stop
}

// recent reports whether a reading may still stop: a warning sign does not
// lapse as soon as the reading is too old for a GO.
func (in *Inputs) recent(o coldseam.Observation) bool {
	return in.Now.Sub(o.At) <= hours(in.Table.StopAgeH)
}

// dayStops are the safety stops that do not depend on the window: what the
// gauge has seen, and ice. Order: as the stops are numbered.
func (in *Inputs) dayStops(frozen ice.Status) []coldseam.Reason {
	return slices.Concat(in.stageStop(), in.iceStops(frozen), in.bankStops(), in.risen.stops, in.flowStops(), in.kept.stop)
}

// bankStops are the dangers that members saw today: they hold to the end of the
// day, whatever else is said [proposal]. Ice is the latch's.
func (in *Inputs) bankStops() []coldseam.Reason {
	var out []coldseam.Reason
	codes := map[string]string{"wood": "bank_wood", "launch": "bank_launch"}
	for _, w := range in.Bank {
		if code := codes[w.Say]; code != "" && !w.At.After(in.Now) && coldseam.DateOf(w.At.In(in.Loc)) == in.Day {
			r := because(KindSafety, code, "member", nil)
			r.At = w.At
			out = append(out, r)
			delete(codes, w.Say)
		}
	}
	return out
}

// stageStop is stop 1 on the measured stage.
func (in *Inputs) stageStop() []coldseam.Reason {
	o, ok := newest(in.Gauge.Stage)
	if !ok || in.Reach.FloodStageM == nil || !in.recent(o) || o.Value < *in.Reach.FloodStageM {
		return nil
	}
	f := *in.Reach.FloodStageM
	return []coldseam.Reason{because(KindSafety, "flood_stage", "gauge", map[string]float64{"stage_m": o.Value,
		"limit_m": f})}
}

// flowStops is stop 6 on the measured flow.
func (in *Inputs) flowStops() []coldseam.Reason {
	o, ok := newest(in.Gauge.Discharge)
	if !ok || !in.recent(o) {
		return nil
	}
	var out []coldseam.Reason
	if lim := in.Reach.MaxFlowM3S; lim != nil && o.Value >= *lim {
		out = append(out, because(KindSafety, "max_flow", clubRule, map[string]float64{"flow_m3_s": o.Value,
			"limit_m3_s": *lim}))
	}
	if p, ok := in.pctStop(); ok && o.Value >= p {
		out = append(out, because(KindSafety, "flow_pct", clubRule,
			map[string]float64{"flow_m3_s": o.Value, "limit_m3_s": p, "date_of100": in.Table.FlowStopPct}))
	}
	return out
}

// pctStop is the flow of the stop percentile for the date; ok needs the years.
func (in *Inputs) pctStop() (float64, bool) { return in.pct(in.Table.FlowStopPct) }

func (in *Inputs) pct(p float64) (float64, bool) {
	if float64(in.Climate.Years) < in.Table.MinYears {
		return 0, false
	}
	q := in.Climate.Quantile(p)
	return q, !math.IsNaN(q)
}

// windowStops are the safety stops of one candidate window.
func (in *Inputs) windowStops(c Candidate) []coldseam.Reason {
	var out []coldseam.Reason
	out = append(out, in.alertStops(c.Start, c.End.Add(hours(in.Table.AfterH)))...)
	if c.PFlood != nil && *c.PFlood >= in.Table.FloodShare {
		out = append(out, because(KindSafety, "flood_forecast", "forecast",
			map[string]float64{"flood_members": *c.PFlood, "limit_of100": in.Table.FloodShare}))
	}
	out = append(out, in.officialStop(c.End.Add(hours(in.Table.AfterH)))...)
	out = append(out, in.weatherStops(c)...)
	out = append(out, in.forecastRise(c)...)
	return append(out, in.forecastFlow(c)...)
}

// alertStops fires for warnings that are alive between from and to.
func (in *Inputs) alertStops(from, to time.Time) []coldseam.Reason {
	codes := map[AlertClass]string{
		AlertFlood:   "flood_alert",
		AlertIce:     "ice_alert",
		AlertStorm:   "storm_alert",
		AlertRelease: "dam_release",
	}
	var out []coldseam.Reason
	for _, class := range []AlertClass{AlertFlood, AlertIce, AlertStorm, AlertRelease} {
		for _, a := range in.Alerts.List {
			if a.Unplaced != "" || ClassifyAlert(a, in.Alerts.Rules) != class || !alive(a, from, to) {
				continue
			}
			out = append(out, ofAlert(KindSafety, codes[class], a))
		}
	}
	return out
}

// ofAlert is a reason in the agency's own words, as long as the warning holds.
func ofAlert(kind, code string, a coldseam.Alert) coldseam.Reason {
	r := because(kind, code, a.Sender, nil)
	r.Until = a.End
	for _, text := range []string{a.Headline, a.Event} {
		if text = strings.TrimSpace(text); text != "" {
			r.Names = map[string]string{"event": text}
		}
	}
	return r
}

// forecastRise is stop 5 on the members: as many of them rise, and reach the
// third quartile of the season. A rise that stays below it caps: see lowRise.
func (in *Inputs) forecastRise(c Candidate) []coldseam.Reason {
	if in.Reach.DamCycle != "" {
		return nil
	}
	var out []coldseam.Reason
	if p, high := in.risingMembers(c); high >= in.Table.MemberShare {
		out = append(out, because(KindSafety, "rise_forecast", "forecast",
			map[string]float64{"rise_members": p, "limit_share": in.Table.RiseShare}))
	}
	limit := in.Table.RiseFt * coldseam.MetrePerFoot
	if p := shareAbove(c.RiseM, limit); p >= in.Table.MemberShare {
		out = append(out, because(KindSafety, "rise_forecast_stage", "forecast",
			map[string]float64{"rise_members": p, "limit_m": limit}))
	}
	return out
}

// lowRise caps a window in which members rise, but too few of them to high water.
func (in *Inputs) lowRise(c Candidate) []coldseam.Reason {
	p, high := in.risingMembers(c)
	if in.Reach.DamCycle != "" || p < in.Table.MemberShare || high >= in.Table.MemberShare {
		return nil
	}
	return []coldseam.Reason{because(KindCap, "rise_forecast_cap", "forecast",
		map[string]float64{"rise_members": p, "limit_share": in.Table.RiseShare})}
}

// risingMembers are the share of members that rise by more than the limit, and
// of those that also reach the third quartile of the season. Members without a
// flow count as reaching it.
func (in *Inputs) risingMembers(c Candidate) (rising, high float64) {
	after := c.after()
	for i, r := range c.RiseShare {
		if !(r > in.Table.RiseShare) {
			continue
		}
		rising++
		if i >= len(after) || in.Season.above(after[i], in.Season.P75M3S) {
			high++
		}
	}
	n := float64(max(len(c.RiseShare), 1))
	return rising / n, high / n
}

// forecastFlow is stop 6 on the members, and stop 7.
func (in *Inputs) forecastFlow(c Candidate) []coldseam.Reason {
	after := c.after()
	var out []coldseam.Reason
	if lim := in.Reach.MaxFlowM3S; lim != nil {
		if p := shareAtLeast(after, *lim); p >= in.Table.MemberShare {
			out = append(out, because(KindSafety, "max_flow_forecast", clubRule,
				map[string]float64{"over_members": p, "limit_m3_s": *lim}))
		}
	}

	if lim, ok := in.pctStop(); ok {
		if p := shareAtLeast(after, lim); p >= in.Table.MemberShare {
			out = append(out, because(KindSafety, "flow_pct_forecast", clubRule,
				map[string]float64{"over_members": p, "limit_m3_s": lim, "date_of100": in.Table.FlowStopPct}))
		}
	}

	if c.NoneHolds && in.flowAboveNoHold(c) {
		out = append(out, because(KindSafety, "no_hold_high", clubRule, nil))
	}
	return out
}

// flowAboveNoHold: with ten years the percentile for the date, else max_flow.
func (in *Inputs) flowAboveNoHold(c Candidate) bool {
	q := coldseam.Quantile(c.FlowM3S, .5)
	if o, ok := newest(in.Gauge.Discharge); ok && in.recent(o) && !(q > o.Value) {
		q = o.Value
	}
	if p, ok := in.pct(in.Table.NoHoldPct); ok {
		return q > p
	}
	return in.Reach.MaxFlowM3S != nil && q >= *in.Reach.MaxFlowM3S
}

func shareAbove(x []float64, v float64) float64 {
	n := 0
	for _, a := range x {
		if a > v {
			n++
		}
	}
	return float64(n) / float64(max(len(x), 1))
}

func shareAtLeast(x []float64, v float64) float64 {
	n := 0
	for _, a := range x {
		if a >= v {
			n++
		}
	}
	return float64(n) / float64(max(len(x), 1))
}
