package verdict

import (
	"math"
	"time"

	"example.org/coldseam"
)

// cautions lists what to watch in the window, in fixed order of danger; none
// is dropped. Those that cap the verdict come back as caps as well.
func (in *Inputs) cautions(c Candidate) (out, caps []coldseam.Reason) {
	steps, _ := in.Weather.overlapping(c.Start, c.End)
	out = append(out, in.waterCautions(c)...)
	out = append(out, in.risen.cautions...)
	out = append(out, in.airCautions(steps)...)
	out = append(out, in.lightCautions(c)...)
	out = append(out, in.clarityCaution()...)
	out = append(out, in.fallCaution(c)...)
	out = append(out, in.fogCaution(c)...)
	out = append(out, in.rampCaution(steps)...)
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
		out = append(out, caution("action_stage", map[string]float64{"stage_m": o.Value, "limit_m": *in.Reach.ActionStage}))
	}
	q := coldseam.Quantile(c.FlowM3S, .9)
	if o, ok := newest(in.Gauge.Discharge); ok && !(q > o.Value) {
		q = o.Value
	}
	if p, ok := in.pct(in.Table.CautionFlowPct); ok && q >= p {
		out = append(out, caution("flow_high", map[string]float64{"flow_m3_s": q, "date_of100": in.Table.CautionFlowPct}))
	}
	return out
}

func (in *Inputs) airCautions(steps []Hour) (out []coldseam.Reason) {
	t := in.Table
	if w, _, any := extreme(steps, wind, math.Max); any && coldseam.MPH(w) >= t.CautionWindMPH {
		out = append(out, caution("wind", map[string]float64{"wind_mps": w}))
	}
	chill := math.Inf(1)
	for _, h := range steps {
		if h.AirC != nil && h.WindMS != nil {
			chill = math.Min(chill, WindChillF(coldseam.F(*h.AirC), math.Max(coldseam.MPH(*h.WindMS), t.RunMPH)))
		}
	}
	if chill <= t.CautionChillF {
		out = append(out, caution("wind_chill", map[string]float64{"chill_c": coldseam.C(chill)}))
	}
	return out
}

func (in *Inputs) lightCautions(c Candidate) []coldseam.Reason {
	if !in.Sun.CivilOK || !c.Start.Before(in.Sun.Dawn) {
		return nil
	}
	r := caution("dark", nil)
	r.At = in.Sun.Dawn
	return []coldseam.Reason{r}
}

// muddySightM is how far one sees into water that a member calls muddy, at most
// [common practice]: under a foot.
const muddySightM = coldseam.MetrePerFoot

func (in *Inputs) clarityCaution() []coldseam.Reason {
	if o, ok := newest(in.Gauge.Turbidity); ok && in.Now.Sub(o.At) <= hours(in.Table.GaugeAgeH) && o.Value > in.Table.TurbidityFNU {
		return []coldseam.Reason{caution("turbid", map[string]float64{"turbidity_fnu": o.Value})}
	}
	if in.Clarity == "muddy" {
		return []coldseam.Reason{caution("turbid_said", map[string]float64{"sight_m": muddySightM})}
	}
	return nil
}

// fallCaution looks for a fast fall of air temperature within 12 h from the
// start of the window.
func (in *Inputs) fallCaution(c Candidate) []coldseam.Reason {
	end := c.Start.Add(12 * time.Hour)
	if in.Sun.OK && in.Sun.Set.Add(-3*time.Hour).Before(end) {
		end = in.Sun.Set.Add(-3 * time.Hour) // every evening cools; a front cools the day
	}
	steps, _ := in.Weather.overlapping(c.Start, end)
	high, fall := math.Inf(-1), 0.0
	for _, h := range steps {
		if h.AirC != nil {
			high = math.Max(high, *h.AirC)
			fall = math.Max(fall, high-*h.AirC)
		}
	}
	if fall*1.8 < in.Table.FallF {
		return nil
	}
	return []coldseam.Reason{caution("fast_fall", map[string]float64{"fall_k": fall})}
}

func (in *Inputs) fogCaution(c Candidate) []coldseam.Reason {
	if !in.Sun.OK || !c.Start.Before(in.Sun.Rise) {
		return nil
	}
	steps, _ := in.Weather.overlapping(c.Start, in.Sun.Rise)
	v, ok, any := extreme(steps, func(h Hour) *float64 { return h.VisibilityM }, math.Min)
	if any && v < in.Table.FogM {
		return []coldseam.Reason{caution("fog", nil)}
	}
	if !ok {
		return []coldseam.Reason{caution("fog_unknown", nil)}
	}
	return nil
}

func (in *Inputs) rampCaution(steps []Hour) []coldseam.Reason {
	if a, _, any := extreme(steps, air, math.Min); any && a < 0 {
		return []coldseam.Reason{caution("ramp_ice", nil)}
	}
	return nil
}

// rainCautions cap the verdict: a flood watch or advisory, a severe warning of
// unknown kind, or heavy rain upstream.
func (in *Inputs) rainCautions(c Candidate) (out []coldseam.Reason) {
	for _, a := range in.Alerts.List {
		if !alive(a, c.Start, c.End.Add(hours(in.Table.AfterH))) {
			continue
		}
		switch ClassifyAlert(a, in.Alerts.Rules) {
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
