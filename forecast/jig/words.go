package jig

import (
	"fmt"
	"math"
	"strings"

	"example.org/coldseam"
)

// words fills what is said about the line, the cost of other gear, the bed and
// the reason.
func (a *adviser) words() {
	a.why()
	a.drift()
	a.dunes()
	if a.in.Rig.Body.Name == "bulky" && a.lim.FloorOz <= 1./16 && coldseam.Feet(a.wet.DepthM) >= 15 {
		a.warn("slow_sink", "note", "1/16 oz with this body hardly sinks: under 0.7 ft/s", "1/16 oz with this body hardly sinks: under 0.2 m/s")
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
	a.out.LineWords, a.out.LineWordsSI = lineWords(sh, a.st, a.in.Rig.Line)
	a.out.CostWords = a.cost()
}

// lineWords says how the line lies with the size tied on.
func lineWords(sh Shape, st Station, l Line) (us, si string) {
	lie := "near vertical"
	switch t := math.Abs(sh.AngleDeg); {
	case t >= 55:
		lie = "swept low"
	case t >= 35:
		lie = "slanting"
	case t >= 15:
		lie = "leaning"
	}
	chord := math.Hypot(sh.SetbackM, st.DepthM-bottomM)
	bow := sh.BowPct / 100 * chord
	tail := ""
	if l.Nylon {
		tail = "; nylon bows, takes show late"
	}
	us = fmt.Sprintf("line %s (%.0f deg off vertical), %.0f ft out, bow %s, slack %s%s",
		lie, math.Abs(sh.AngleDeg), coldseam.Feet(sh.LineOutM), inches(bow), inches(sh.SlackM), tail)
	si = fmt.Sprintf("line %s (%.0f deg off vertical), %.1f m out, bow %.0f cm, slack %.0f cm%s",
		lie, math.Abs(sh.AngleDeg), sh.LineOutM, bow*100, sh.SlackM*100, tail)
	return us, si
}

func inches(m float64) string {
	if in := coldseam.Feet(m) * 12; in >= 1 {
		return fmt.Sprintf("%.0f in", in)
	}
	return "under 1 in"
}

// cost says what thicker line or a bulkier body would cost in size, by the
// same rule as the size tied on.
func (a *adviser) cost() string {
	var parts []string
	r := a.in.Rig
	alt := func(what string, other Rig) {
		kg, ok := Lightest(other, a.st)
		if !ok {
			parts = append(parts, what+": nothing sane holds")
			return
		}
		oz, ok := a.shifted(math.Log(kg / a.minKG))
		switch {
		case !ok:
			parts = append(parts, what+": nothing you carry holds")
		case oz != a.out.TieOz:
			parts = append(parts, what+": "+coldseam.OzName(oz)+" oz")
		default:
			parts = append(parts, what+": same size")
		}
	}
	line := r
	if r.Line.Nylon || r.Line.DiameterM > .2e-3 {
		line.Line, _ = ParseLine(DefaultLine)
		alt("0.14 mm braid", line)
	} else {
		line.Line, _ = ParseLine("nylon-0.28")
		alt("0.28 mm nylon", line)
	}
	body := r
	if r.Body.Name == "bulky" {
		body.Body, _ = ParseBody("slim")
		alt("slim body", body)
	} else {
		body.Body, _ = ParseBody("bulky")
		alt("bulky body", body)
	}
	return strings.Join(parts, "; ")
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
	by := map[string]string{"float": "timed by floats", "angle": "from the line angle", "kind": "by kind of spot, not timed"}[a.k.speedBy]
	if a.in.Here {
		by = "as given"
	}
	a.out.Why = fmt.Sprintf("%.0f ft deep, %.1f ft/s on top (%s)", coldseam.Feet(a.wet.DepthM), coldseam.Feet(a.wet.SurfaceMS), by)
	a.out.WhySI = fmt.Sprintf("%.1f m deep, %.2f m/s on top (%s)", a.wet.DepthM, a.wet.SurfaceMS, by)
	if !a.in.WaterOK {
		a.warn("no_water_temp", "note", "water temperature unknown: 37 F taken", "water temperature unknown: 3 C taken")
	}
	if a.s.form == depthByFlow && !a.in.Here {
		a.warn("depth_by_flow", "note", "depth carried by flow, not by stage: too deep in holes on a rise", "")
	}
	if g := a.in.Geometry; g.Valid() && g.Default {
		a.warn("default_geometry", "note", "few gaugings: textbook change of speed with flow", "")
	}
	a.floats()
}

// floats says what is weak about the float timing.
func (a *adviser) floats() {
	sp := a.in.Spot
	switch {
	case sp.FloatMS == nil || a.k.speedBy == "angle":
	case a.k.speedBy != "float":
		a.warn("float_no_flow", "note", "floats timed, but the flow of that day is unknown: not used", "")
	case sp.FloatWind != "" && sp.FloatWind != "calm":
		a.warn("float_wind", "note", "floats were timed in wind: "+sp.FloatWind, "")
	case sp.FloatN > 0 && sp.FloatN < 5:
		a.warn("float_few", "note", fmt.Sprintf("%d floats timed, five make a timing", sp.FloatN), "")
	}
}

// drift prints the sensitivity to boat speed in drift mode.
func (a *adviser) drift() {
	if a.in.Rig.Pres.Name != "drift" {
		return
	}
	size := func(frame float64) string {
		r := a.in.Rig
		r.Pres.Frame = frame
		if kg, ok := Lightest(r, a.st); ok {
			if oz, ok := SizeFor(kg); ok {
				return coldseam.OzName(oz) + " oz"
			}
		}
		return "over 1 oz"
	}
	a.warn("drift_sensitive", "note", fmt.Sprintf("boat as fast as the surface: %s; at 3/4 of it: %s", size(1), size(driftFrame)), "")
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
	a.out.Dunes, a.out.DunesSI = Dunes(st.DepthM, st.MeanMS(), a.in.Spot.D50M, st.Water).words()
	if a.out.DunesSI == a.out.Dunes {
		a.out.DunesSI = ""
	}
}

// leaderWords is the leader test: stronger where the rig is dragged over
// snags.
func leaderWords(in SpotInput) string {
	snaggy := in.Spot.Snags || in.Spot.Bed == "rock" || in.Spot.Kind == coldseam.SpotShallow
	dragged := in.Rig.Pres.Name == "drift" || in.Rig.Body.Name == "bulky"
	switch {
	case snaggy && dragged:
		return "12 lb, thick-wire hook: dragged over snags"
	case snaggy:
		return "10-12 lb: snags"
	}
	return "10 lb, 2-3 ft"
}

// placeWords is what a kind of place tends to give [common practice].
func placeWords(k coldseam.SpotKind) string {
	switch k {
	case coldseam.SpotHole:
		return "fills and empties with the arrivals"
	case coldseam.SpotSeam:
		return "feeds the hole below: fish on the move"
	case coldseam.SpotSlack, coldseam.SpotShallow:
		return "fewer bites, larger females on average around the spawn"
	case coldseam.SpotDunes:
		return "many average fish in the lee of the crests, little fished"
	}
	return "fish passing through"
}

// holdingWords names the spots where something holds.
func holdingWords(js []coldseam.SpotJig) string {
	var at []string
	for _, j := range js {
		if j.TieOz > 0 {
			at = append(at, j.Spot+" "+coldseam.OzName(j.TieOz)+" oz")
		}
	}
	if len(at) == 0 {
		return "; nor at any other spot"
	}
	return "; holds at " + strings.Join(at, ", ")
}

func clampWords(st Station) (us, si string) {
	if st.DepthM < MinDepthM || st.DepthM > MaxDepthM {
		return fmt.Sprintf("depth %.1f ft is outside %.1f-%.0f ft: computed at the limit", coldseam.Feet(st.DepthM), coldseam.Feet(MinDepthM), coldseam.Feet(MaxDepthM)),
			fmt.Sprintf("depth %.1f m is outside %.1f-%.0f m: computed at the limit", st.DepthM, MinDepthM, MaxDepthM)
	}
	return fmt.Sprintf("current %.1f ft/s is above %.1f ft/s: computed at the limit", coldseam.Feet(st.SurfaceMS), coldseam.Feet(MaxSurfaceMS)),
		fmt.Sprintf("current %.1f m/s is above %.0f m/s: computed at the limit", st.SurfaceMS, MaxSurfaceMS)
}

func tooFastWords(us float64) (text, si string) {
	return fmt.Sprintf("current %.1f ft/s, too fast; none is advised from 5 ft/s", coldseam.Feet(us)),
		fmt.Sprintf("current %.1f m/s, too fast; none is advised from 1.5 m/s", us)
}
