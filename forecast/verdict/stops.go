package verdict

import (
	"fmt"
	"math"
	"strings"
	"time"

	"example.org/coldseam"
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

func safety(code, us, si, source string) coldseam.Reason {
	return reason(KindSafety, code, us, si, source)
}

func reason(kind, code, us, si, source string) coldseam.Reason {
	if si == us {
		si = ""
	}
	return coldseam.Reason{Code: code, Kind: kind, Text: us, TextSI: si, Source: source}
}

// because builds a reason from its numbers. Every new reason is made here;
// reason above goes as its callers are moved over.
func because(kind, code, source string, values map[string]float64) coldseam.Reason {
	return coldseam.Reason{Code: code, Kind: kind, Source: source, Values: values}
}

// recent reports whether a reading may still stop: a warning sign does not
// lapse as soon as the reading is too old for a GO.
func (in *Inputs) recent(o coldseam.Observation) bool {
	return in.Now.Sub(o.At) <= hours(in.Table.StopAgeH)
}

// dayStops are the safety stops that do not depend on the window: what the
// gauge has seen, and ice. Order: as the stops are numbered.
func (in *Inputs) dayStops(ice iceState) []coldseam.Reason {
	var out []coldseam.Reason
	out = append(out, in.stageStop()...)
	out = append(out, ice.stops...)
	out = append(out, in.risen.stops...)
	return append(out, in.flowStops()...)
}

// stageStop is stop 1 on the measured stage.
func (in *Inputs) stageStop() []coldseam.Reason {
	o, ok := newest(in.Gauge.Stage)
	if !ok || in.Reach.FloodStageM == nil || !in.recent(o) || o.Value < *in.Reach.FloodStageM {
		return nil
	}
	f := *in.Reach.FloodStageM
	return []coldseam.Reason{because(KindSafety, "flood_stage", "gauge", map[string]float64{"stage_m": o.Value, "limit_m": f})}
}

// flowStops is stop 6 on the measured flow.
func (in *Inputs) flowStops() []coldseam.Reason {
	o, ok := newest(in.Gauge.Discharge)
	if !ok || !in.recent(o) {
		return nil
	}
	var out []coldseam.Reason
	if lim := in.Reach.MaxFlowM3S; lim != nil && o.Value >= *lim {
		out = append(out, safety("max_flow",
			fmt.Sprintf("flow %s; the limit here is %s", cfs(o.Value), cfs(*lim)),
			fmt.Sprintf("flow %s; the limit here is %s", m3s(o.Value), m3s(*lim)), clubRule))
	}
	if p, ok := in.pctStop(); ok && o.Value >= p {
		out = append(out, safety("flow_pct",
			fmt.Sprintf("flow %s; over %.0f of 100 days at this date", cfs(o.Value), in.Table.FlowStopPct*100),
			fmt.Sprintf("flow %s; over %.0f of 100 days at this date", m3s(o.Value), in.Table.FlowStopPct*100), clubRule))
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
		out = append(out, safety("flood_forecast",
			fmt.Sprintf("%.0f of 100 forecasts reach flood stage; the limit is %.0f", *c.PFlood*100, in.Table.FloodShare*100), "", "forecast"))
	}
	out = append(out, in.weatherStops(c)...)
	out = append(out, in.forecastRise(c)...)
	return append(out, in.forecastFlow(c)...)
}

// alertStops fires for warnings that are alive between from and to.
func (in *Inputs) alertStops(from, to time.Time) []coldseam.Reason {
	codes := map[AlertClass]string{AlertFlood: "flood_alert", AlertIce: "ice_alert", AlertStorm: "storm_alert", AlertRelease: "dam_release"}
	var out []coldseam.Reason
	for _, class := range []AlertClass{AlertFlood, AlertIce, AlertStorm, AlertRelease} {
		for _, a := range in.Alerts.List {
			if ClassifyAlert(a, in.Alerts.Rules) != class || !alive(a, from, to) {
				continue
			}
			r := safety(codes[class], in.alertText(a), "", a.Sender)
			r.Until = a.End
			out = append(out, r)
		}
	}
	return out
}

func (in *Inputs) alertText(a coldseam.Alert) string {
	text := strings.TrimSpace(a.Event)
	if text == "" {
		text = strings.TrimSpace(a.Headline)
	}
	if text == "" {
		text = "warning without a name"
	}
	if a.End.IsZero() {
		return text + ", no end given"
	}
	return text + " to " + a.End.In(in.loc()).Format("Mon 15:04")
}

// weatherStops are stops 3 (thunder) and 4 in the window.
func (in *Inputs) weatherStops(c Candidate) []coldseam.Reason {
	steps, _ := in.Weather.overlapping(c.Start, c.End)
	t := in.Table
	var out []coldseam.Reason
	if p, _, any := extreme(steps, thunder, math.Max); any && p >= t.Thunder {
		out = append(out, safety("thunder", fmt.Sprintf("thunder %s in the window; the limit is %s", percent(p), percent(t.Thunder)), "", "weather forecast"))
	}
	if w, _, any := extreme(steps, wind, math.Max); any && coldseam.MPH(w) >= t.WindMPH {
		l := t.WindMPH * coldseam.MPSPerMPH
		out = append(out, safety("wind", fmt.Sprintf("wind %s; the limit is %s", mph(w), mph(l)), fmt.Sprintf("wind %s; the limit is %s", kmh(w), kmh(l)), "weather forecast"))
	}
	if g, _, any := extreme(steps, gust, math.Max); any && coldseam.MPH(g) >= t.GustMPH {
		l := t.GustMPH * coldseam.MPSPerMPH
		out = append(out, safety("gust", fmt.Sprintf("gusts %s; the limit is %s", mph(g), mph(l)), fmt.Sprintf("gusts %s; the limit is %s", kmh(g), kmh(l)), "weather forecast"))
	}
	return append(out, in.coldStops(steps)...)
}

// coldStops judges wind chill and freezing spray step by step: the coldest
// hour and the windiest are not always the same one.
func (in *Inputs) coldStops(steps []Hour) []coldseam.Reason {
	t := in.Table
	chill, spray := math.Inf(1), false
	var sprayAir, sprayWind float64
	for _, h := range steps {
		if h.AirC == nil || h.WindMS == nil {
			continue
		}
		f, v := coldseam.F(*h.AirC), coldseam.MPH(*h.WindMS)
		chill = math.Min(chill, WindChillF(f, math.Max(v, t.RunMPH)))
		if f <= t.SprayAirF && v >= t.SprayWindMPH && !spray {
			spray, sprayAir, sprayWind = true, *h.AirC, *h.WindMS
		}
	}
	var out []coldseam.Reason
	if chill <= t.ChillF {
		out = append(out, safety("wind_chill",
			fmt.Sprintf("wind chill %.0fF; the limit is %.0fF", math.Round(chill), t.ChillF),
			fmt.Sprintf("wind chill %.0f C; the limit is %.0f C", coldseam.C(chill), coldseam.C(t.ChillF)), "weather forecast"))
	}
	if spray {
		out = append(out, safety("freezing_spray",
			fmt.Sprintf("freezing spray: air %s, wind %s", degF(sprayAir), mph(sprayWind)),
			fmt.Sprintf("freezing spray: air %s, wind %s", degC(sprayAir), kmh(sprayWind)), "weather forecast"))
	}
	return out
}

// forecastRise is stop 5 on the members.
func (in *Inputs) forecastRise(c Candidate) []coldseam.Reason {
	if in.Reach.DamCycle != "" {
		return nil
	}
	var out []coldseam.Reason
	if p := shareAbove(c.RiseShare, in.Table.RiseShare); p >= in.Table.MemberShare {
		out = append(out, safety("rise_forecast",
			fmt.Sprintf("%s have flow rising over %s in 6 h", inHundred(p), percent(in.Table.RiseShare)), "", "forecast"))
	}
	limit := in.Table.RiseFt * coldseam.MetrePerFoot
	if p := shareAbove(c.RiseM, limit); p >= in.Table.MemberShare {
		out = append(out, safety("rise_forecast_stage",
			fmt.Sprintf("%s have the river rising over %s in 6 h", inHundred(p), feet(limit)),
			fmt.Sprintf("%s have the river rising over %s in 6 h", inHundred(p), metres(limit)), "forecast"))
	}
	return out
}

// forecastFlow is stop 6 on the members, and stop 7.
func (in *Inputs) forecastFlow(c Candidate) []coldseam.Reason {
	after := c.after()
	var out []coldseam.Reason
	if lim := in.Reach.MaxFlowM3S; lim != nil {
		if p := shareAtLeast(after, *lim); p >= in.Table.MemberShare {
			out = append(out, safety("max_flow_forecast",
				fmt.Sprintf("%s take flow over %s, the limit here", inHundred(p), cfs(*lim)),
				fmt.Sprintf("%s take flow over %s, the limit here", inHundred(p), m3s(*lim)), clubRule))
		}
	}
	if lim, ok := in.pctStop(); ok {
		if p := shareAtLeast(after, lim); p >= in.Table.MemberShare {
			out = append(out, safety("flow_pct_forecast",
				fmt.Sprintf("%s take flow over %s, the P%.0f of the date", inHundred(p), cfs(lim), in.Table.FlowStopPct*100),
				fmt.Sprintf("%s take flow over %s, the P%.0f of the date", inHundred(p), m3s(lim), in.Table.FlowStopPct*100), clubRule))
		}
	}
	if c.NoneHolds && in.flowAboveNoHold(c) {
		out = append(out, safety("no_hold_high", "no weight in the box holds and the river is high", "", clubRule))
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
