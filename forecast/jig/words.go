package jig

import (
	"math"

	"example.org/coldseam"
)

// slowSinkMS is what the smallest head reaches at most with a bulky body
// [reference calculation].
const slowSinkMS = .2

// words fills what is said about the line, the cost of other gear, the bed and
// the reason.
func (a *adviser) words() {
	a.why()
	a.drift()
	a.dunes()
	if a.in.Rig.Body.Name == "bulky" && a.lim.FloorOz <= 1./16 && coldseam.Feet(a.wet.DepthM) >= 15 {
		a.note("slow_sink", map[string]float64{"size_oz": 1. / 16, "sink_m_s": slowSinkMS})
	}
	kg := a.out.TieOz * coldseam.KgPerOunce
	if kg == 0 {
		return
	}
	sh := Solve(a.in.Rig, a.st, kg)
	if !sh.OK {
		return
	}
	a.out.AngleDeg, a.out.BowPct, a.out.SlackM, a.out.SinkS = sh.AngleDeg, sh.BowPct, sh.SlackM, sh.SinkS
	a.out.LineLies = lies(sh, a.st, a.in.Rig.Line)
	a.out.Costs = a.costs()
	if a.k.speedBy == "kind" && a.cal.Logs == 0 && !a.in.Here {
		may, _ := a.o.mayNeed()
		a.out.MayNeedOz = [2]float64{may[0], may[len(may)-1]}
	}
}

// lies says how the line lies with the size tied on.
func lies(sh Shape, st Station, l Line) coldseam.Reason {
	deg := math.Abs(sh.AngleDeg)
	lie := "near_vertical"
	switch {
	case deg >= 55:
		lie = "swept_low"
	case deg >= 35:
		lie = "slanting"
	case deg >= 15:
		lie = "leaning"
	}

	chord := math.Hypot(sh.SetbackM, st.DepthM-bottomM)
	r := because("note", "line_lies", "", map[string]float64{
		"angle_deg": deg, "line_out_m": sh.LineOutM, "bow_cm": sh.BowPct * chord, "slack_cm": sh.SlackM * 100,
	})
	r.Names = map[string]string{"lie": lie}
	if l.Nylon {
		r.Names["line"] = "nylon"
	}
	return r
}

// costs says what thicker line or a bulkier body would cost in size, by the
// same rule as the size tied on.
func (a *adviser) costs() coldseam.Notes {
	line, body := a.in.Rig, a.in.Rig
	other, shape := "nylon-0.28", "bulky"
	if line.Line.Nylon || line.Line.DiameterM > .2e-3 {
		other = DefaultLine
	}
	if body.Body.Name == shape {
		shape = "slim"
	}
	line.Line, _ = ParseLine(other)
	body.Body, _ = ParseBody(shape)
	return coldseam.Notes{a.cost(other, line), a.cost(shape, body)}
}

// cost is what a changed rig costs.
func (a *adviser) cost(gear string, other Rig) coldseam.Reason {
	r := because("note", "cost", "", nil)
	if kg, ok := Lightest(other, a.st); !ok {
		r.Code = "cost_none"
	} else if oz, ok := a.shifted(math.Log(kg / a.minKG)); !ok {
		r.Code = "cost_box"
	} else if oz == a.out.TieOz {
		r.Code = "cost_same"
	} else {
		r.Values = map[string]float64{"size_oz": oz}
	}
	r.Names = map[string]string{"gear": gear}
	return r
}

// shifted is the size to tie on if every minimum mass were e^d times what it
// is.
func (a *adviser) shifted(d float64) (oz float64, ok bool) {
	box := a.in.box(a.floorOz(), math.Inf(1))
	for _, oz := range box {
		if a.o.Holds(oz*coldseam.KgPerOunce*math.Exp(-d)) >= a.tieLimit() {
			return oz, true
		}
	}
	return 0, false
}

// why says what the weight follows from.
func (a *adviser) why() {
	by := a.k.speedBy
	if a.in.Here {
		by = "given"
	}
	a.out.Why = because("note", "weight_from", "", map[string]float64{"spot_depth_m": a.wet.DepthM,
		"current_m_s": a.wet.SurfaceMS})
	a.out.Why.Names = map[string]string{"speed_by": by}

	if !a.in.WaterOK {
		a.note("no_water_temp", map[string]float64{"taken_c": defaultWaterC})
	}
	if a.s.form == depthByFlow && !a.in.Here {
		a.note("depth_by_flow", nil)
	}
	if g := a.in.Geometry; g.Valid() && g.Default {
		a.note("default_geometry", nil)
	}
	a.floats()
}

// floats says what is weak about the float timing.
func (a *adviser) floats() {
	sp := a.in.Spot
	switch {
	case sp.FloatMS == nil || a.k.speedBy == "angle":
	case a.k.speedBy != "float":
		a.note("float_no_flow", nil)
	case sp.FloatWind != "" && sp.FloatWind != "calm":
		a.note("float_wind", nil)
		a.out.Warnings[len(a.out.Warnings)-1].Names = map[string]string{"wind": sp.FloatWind}
	case sp.FloatN > 0 && sp.FloatN < 5:
		a.note("float_few", map[string]float64{"timed_floats": float64(sp.FloatN)})
	}
}

// drift notes the sensitivity to boat speed in drift mode: the size with the
// boat as fast as the surface, and slower. A size over an ounce is left out.
func (a *adviser) drift() {
	if a.in.Rig.Pres.Name != "drift" {
		return
	}
	sizes := map[string]float64{}
	for name, frame := range map[string]float64{"same_oz": 1, "slower_oz": driftFrame} {
		r := a.in.Rig
		r.Pres.Frame = frame
		if kg, ok := Lightest(r, a.st); ok {
			if oz, ok := SizeFor(kg); ok {
				sizes[name] = oz
			}
		}
	}
	a.note("drift_sensitive", sizes)
}

// clamped notes that the column is outside what is computed.
func (a *adviser) clamped() {
	if m := a.wet.DepthM; m < MinDepthM || m > MaxDepthM {
		a.note("clamped", map[string]float64{"water_m": m, "low_m": MinDepthM, "limit_m": MaxDepthM})
		return
	}
	a.out.Warnings = append(a.out.Warnings,
		because("note", "clamped", "speed", map[string]float64{"current_m_s": a.wet.SurfaceMS,
			"limit_m_s": MaxSurfaceMS}))
}

// dunes describes a sand bed under the mean flow of several days.
func (a *adviser) dunes() {
	if a.in.Spot.Bed != "sand" {
		return
	}
	q := a.in.BedFlowM3S
	if !(q > 0) {
		q = a.in.FlowM3S
	}
	if !(q > 0) {
		q = a.med
	}
	st, _ := a.s.at(q).Clamp()
	a.out.Dunes = Dunes(st.DepthM, st.MeanMS(), a.in.Spot.D50M, st.Water).reason()
}

// leader is the leader to use: stronger where the rig is dragged over snags.
func leader(in SpotInput) coldseam.Reason {
	snaggy := in.Spot.Snags || in.Spot.Bed == "rock" || in.Spot.Kind == coldseam.SpotShallow
	dragged := in.Rig.Pres.Name == "drift" || in.Rig.Body.Name == "bulky"
	switch {
	case snaggy && dragged:
		return because("note", "leader", "dragged", nil)
	case snaggy:
		return because("note", "leader", "snags", nil)
	}
	return because("note", "leader", "", map[string]float64{"short_m": 2 * coldseam.MetrePerFoot,
		"long_m": 3 * coldseam.MetrePerFoot})
}
