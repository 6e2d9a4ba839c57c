package verdict

import (
	"example.org/coldseam"
)

// cautions lists what to watch in the window, in fixed order of danger; none
// is dropped. Those that cap the verdict come back as caps as well.
func (in *Inputs) cautions(c Candidate) (out, caps []coldseam.Reason) {
	weather, caps := in.airCautions(c)
	out = append(out, in.waterCautions(c)...)
	out = append(out, in.risen.cautions...)
	out = append(out, weather...)
	out = append(out, in.lightCautions(c)...)
	out = append(out, in.clarityCaution()...)
	out = append(out, in.fallCaution(c)...)
	out = append(out, in.fogCaution(c)...)
	out = append(out, in.rampCaution(c)...)

	rain := in.rainCautions(c)
	for _, r := range rain {
		r.Kind = KindCap
		caps = append(caps, r)
	}

	out = append(out, rain...)
	if w, ok := in.waterNow(); !ok || coldseam.F(w.Value) < in.Table.ColdWaterF {
		out = append(out, caution("alone", nil))
	}
	return out, caps
}

func (in *Inputs) waterCautions(c Candidate) (out []coldseam.Reason) {
	if o, ok := newest(in.Gauge.Stage); ok && in.Reach.ActionStage != nil && o.Value >= *in.Reach.ActionStage {
		out = append(out, caution("action_stage", map[string]float64{"stage_m": o.Value,
			"limit_m": *in.Reach.ActionStage}))
	}
	if o, ok := newest(in.Gauge.Stage); ok && in.Reach.Launch.DrownsM != nil && o.Value >= *in.Reach.Launch.DrownsM {
		out = append(out, caution("ramp_drowned", map[string]float64{"stage_m": o.Value,
			"limit_m": *in.Reach.Launch.DrownsM}))
	}
	if !in.Official.Elsewhere {
		out = append(out, in.officialOver(KindCaution, "action_stage_forecast", in.Reach.ActionStage,
			c.End.Add(hours(in.Table.AfterH)))...)
	}
	q := coldseam.Quantile(c.FlowM3S, .9)
	if o, ok := newest(in.Gauge.Discharge); ok && !(q > o.Value) {
		q = o.Value
	}
	if p, ok := in.pct(in.Table.CautionFlowPct); ok && q >= p {
		out = append(out, caution("flow_high",
			map[string]float64{"flow_m3_s": q, "date_of100": in.Table.CautionFlowPct}))
	}
	return out
}

// muddySightM is how far one sees into water that a member calls muddy, at most
// [common practice]: under a foot.
const muddySightM = coldseam.MetrePerFoot

func (in *Inputs) clarityCaution() []coldseam.Reason {
	if o, ok := newest(in.Gauge.Turbidity); ok && in.Now.Sub(o.At) <= hours(in.Table.GaugeAgeH) &&
		o.Value > in.Table.TurbidityFNU {
		return []coldseam.Reason{caution("turbid", map[string]float64{"turbidity_fnu": o.Value})}
	}
	if in.Clarity == "muddy" {
		return []coldseam.Reason{caution("turbid_said", map[string]float64{"sight_m": muddySightM})}
	}
	return nil
}

// rainCautions cap the verdict: a flood watch or advisory, a severe warning of
// unknown kind or place, or heavy rain upstream.
func (in *Inputs) rainCautions(c Candidate) (out []coldseam.Reason) {
	for _, a := range in.Alerts.List {
		if !alive(a, c.Start, c.End.Add(hours(in.Table.AfterH))) {
			continue
		}
		class := ClassifyAlert(a, in.Alerts.Rules)
		if a.Unplaced != "" {
			if class > AlertMinor {
				out = append(out, unplaced(a))
			}
			continue
		}

		switch class {
		case AlertWatch:
			out = append(out, ofAlert(KindCaution, "flood_watch", a))
		case AlertUnknown:
			out = append(out, ofAlert(KindCaution, "alert_other", a))
		}
	}

	if mm := in.Weather.RainMM; mm != nil && *mm >= in.Table.RainIn*25.4 {
		out = append(out, caution("rain_upstream", map[string]float64{"rain_mm": *mm}))
	}
	return out
}
