package jig

import (
	"math"
	"sort"

	"example.org/coldseam"
)

// Advise computes the weight for one spot, one rig and one window, and says
// why when it will not name one. It never guesses a depth and never says that
// wading is safe. The result depends on in alone.
func Advise(in SpotInput) coldseam.SpotJig {
	out, _ := advised(in)
	return out
}

func advise(in SpotInput) coldseam.SpotJig {
	a := adviser{in: in, lim: in.Limits.filled()}
	a.out = coldseam.SpotJig{SpotID: in.Spot.ID, Spot: in.Spot.Name, Kind: in.Spot.Kind,
		Presentation: in.Rig.Pres.Name, Body: in.Rig.Body.Name, Line: in.Rig.Line.Name,
		Logs: len(in.Logs), Leader: leader(in)}
	if a.missing() {
		return a.out
	}
	if !a.physics() {
		return a.out
	}
	a.safety()
	a.odds()
	a.size()
	a.words()
	return a.out
}

// adviser carries the parts of one advice from step to step.
type adviser struct {
	in    SpotInput
	lim   Limits
	out   coldseam.SpotJig
	s     *site
	k     siteInputs
	flows []float64
	med   float64 // median of the flows
	st    Station // at the median flow, clamped
	wet   Station // not clamped
	minKG float64 // 0 = none up to 80 g
	cal   Calibration
	o     Odds
	share float64 // of the members outside the measured range
}

// withhold keeps the first code as the reason and every code as a warning.
func (a *adviser) withhold(kind, code, why string, values map[string]float64) {
	r := because(kind, code, why, values)
	if a.out.Withheld.Code == "" {
		a.out.Withheld = r
	}
	a.out.Warnings = append(a.out.Warnings, r)
}

func (a *adviser) note(code string, values map[string]float64) {
	a.out.Warnings = append(a.out.Warnings, because("note", code, "", values))
}

// because builds a reason from its numbers in SI; package notify words it. why
// tells cases of one code apart, "" = there is one.
func because(kind, code, why string, values map[string]float64) coldseam.Reason {
	r := coldseam.Reason{Code: code, Kind: kind, Values: values}
	if why != "" {
		r.Names = map[string]string{"case": why}
	}
	return r
}

// missing withholds what cannot be computed at all and reports whether it did.
func (a *adviser) missing() bool {
	in := a.in
	if !in.finite() {
		a.withhold("missing", "numeric", "", nil)
		return true
	}

	if !in.Rig.usable() {
		a.withhold("missing", "numeric", "rig", nil)
		return true
	}

	a.s, a.k = in.site()
	if in.Stale {
		a.withhold("missing", "stale_gauge", "", nil)
	}
	if in.Ice {
		a.withhold("safety", "ice", "", nil)
	}

	if a.k.noDepth != "" {
		a.withhold("missing", "no_depth", a.k.noDepth, nil)
	} else if in.moved() {
		a.withhold("missing", "sounding_old", "", nil)
	}

	for _, q := range in.flows() {
		if !(q > 0) {
			a.withhold("missing", "numeric", "flow", nil)
			break
		}
	}

	if a.k.noSpeed {
		a.withhold("missing", "no_speed", "", nil)
	}
	return a.out.Withheld.Code != ""
}

// physics sets the water column at the median flow and what the rig does in it.
// false: there is no water column.
func (a *adviser) physics() bool {
	in := a.in
	a.flows = in.flows()
	a.med = coldseam.Quantile(a.flows, .5)
	a.wet = a.s.at(a.med)
	var clamped bool
	a.st, clamped = a.wet.Clamp()

	switch {
	case !a.wet.finite():
		a.withhold("missing", "numeric", "column", nil)
		return false
	case a.wet.DepthM <= 0:
		a.withhold("missing", "no_depth", "dry", nil)
		return false
	}

	a.out.DepthM, a.out.SurfaceMS = a.wet.DepthM, a.wet.SurfaceMS
	for fifth := range 5 {
		z := a.wet.DepthM * (1 - float64(fifth)/5)
		a.out.ColumnMS = append(a.out.ColumnMS, a.wet.SurfaceMS*a.wet.shape(z))
	}
	if clamped {
		a.clamped()
	}
	if in.Rig.netWeightN(heaviest(in.BoxOz)*coldseam.KgPerOunce, a.s.water) <= 0 {
		a.withhold("missing", "floats", "", nil)
	}

	if kg, ok := Lightest(in.Rig, a.st); ok {
		a.minKG = kg
		if coldseam.Oz(kg) <= 1 {
			a.out.MinOz = coldseam.Oz(kg)
		}
	}

	lo, hi := a.measured()
	for _, q := range a.flows {
		if q < lo || q > hi {
			a.share += 1 / float64(len(a.flows))
		}
	}

	if a.s.form == depthByStage && a.s.curve.usable() && a.beyondCurve() >= outsideShare {
		a.note("stage_range", nil)
	}
	return true
}

// beyondCurve is the share of the members outside the table of stage and flow.
func (a *adviser) beyondCurve() float64 {
	n := 0
	for _, q := range a.flows {
		_, inside := a.s.curve.At(q)
		_, low := a.s.curve.At(q * curveSlack)
		_, high := a.s.curve.At(q / curveSlack)
		if !inside && !low && !high {
			n++
		}
	}
	return float64(n) / float64(len(a.flows))
}

// curveSlack is how far past its end a stage table is trusted without a word: a
// tenth of the flow moves the depth by a few hundredths [proposal].
const curveSlack = 1.1

// measured is the range of flows in which speed and depth rest on measurements.
func (a *adviser) measured() (lo, hi float64) {
	if g := a.in.Geometry; g.Valid() {
		return g.QMin * outsideLow, g.QMax * outsideHigh
	}
	return a.s.speedQ / defaultQSpan, a.s.speedQ * defaultQSpan // one float timing and the default exponent
}

// Above this share of members outside the measured range the spread is
// widened and said; above half the weight is withheld [proposal].
const outsideShare = 0.10

// odds learns from the logs and prepares P(size holds).
func (a *adviser) odds() {
	in := a.in
	prior := modelLnSD(in.sComb(), a.k.speedSD, a.k.depthSD)
	if a.share >= outsideShare {
		prior = max(prior, outsideLnSD)
		a.note("out_of_range", nil)
	}

	if a.share > .5 {
		a.withhold("missing", "out_of_range", "most", nil)
	}
	a.cal = posterior(prior, in.Logs, a.modelAt)
	a.out.Calibrated, a.out.ModelLnSD, a.out.Logs = a.cal.Done, a.cal.SD, a.cal.Logs

	if !a.cal.Done {
		a.note("uncalibrated", nil)
	}
	lo, hi := a.measured()
	if in.Here { // the one flow there is, without the grid between measured ones
		lo, hi = a.med, a.med
	}
	a.o = newOdds(a.s, in.Rig, a.flows, lo, hi, a.cal.Mean, math.Hypot(a.cal.SD, eventLnSD))
	for _, oz := range withTradeSizes(in.BoxOz) {
		a.out.Holds = append(a.out.Holds, coldseam.SizeOdds{Oz: oz, Holds: a.o.Holds(oz * coldseam.KgPerOunce)})
	}
	a.out.CriticalM3S = a.critical()
}

// modelAt is ln of the minimum mass at the flow of a log, with the log's rig.
func (a *adviser) modelAt(l Log) (float64, bool) {
	if !(l.FlowM3S > 0) || math.IsInf(l.FlowM3S, 0) {
		return 0, false
	}
	st, _ := a.s.at(l.FlowM3S).Clamp()
	kg, ok := Lightest(l.Rig, st)
	return math.Log(kg), ok
}

// floorOz is the smallest size that is ever advised: a drift in fast water is
// a knife edge, so it starts at 1/4 [proposal].
func (a *adviser) floorOz() float64 {
	if a.in.Rig.Pres.Name == "drift" && coldseam.Feet(a.wet.SurfaceMS) > 2 {
		return max(a.lim.FloorOz, 1./4)
	}
	return a.lim.FloorOz
}

func (a *adviser) tieLimit() float64 {
	if a.cal.Done {
		return a.lim.TieDone
	}
	return a.lim.TieNew
}

// tooFastMS is the surface speed from which no weight is advised [proposal].
const tooFastMS = 5 * coldseam.MetrePerFoot

// size chooses what to tie on and pack, or withholds. One reason is enough: a
// weight withheld for safety needs no second one.
func (a *adviser) size() {
	if a.out.Withheld.Code != "" {
		return
	}
	if a.wet.SurfaceMS >= tooFastMS {
		a.withhold("cap", "too_fast", "", map[string]float64{"current_m_s": a.wet.SurfaceMS, "limit_m_s": tooFastMS})
	} else if oz, ok := SizeFor(a.minKG * math.Exp(a.cal.Mean)); a.minKG == 0 || !ok || oz >= 1 {
		a.withhold("cap", "too_fast", "ounce", nil)
	}

	if a.out.Withheld.Code != "" {
		return
	}
	box := a.in.box(a.floorOz(), a.lim.MaxOz)
	tie := a.first(box, a.tieLimit())
	if tie < 0 {
		a.withhold("cap", "none_holds", "", nil)
		return
	}

	a.out.TieOz, a.out.TieHolds = box[tie], a.p(box[tie])
	if tie+1 < len(box) {
		a.out.NextOz = box[tie+1]
	}
	pack := a.first(box, a.lim.Pack)
	if pack < 0 {
		pack = len(box) - 1
		a.note("pack_short", map[string]float64{"heaviest_oz": box[pack]})
	}

	a.out.PackOz = box[max(pack, tie)]
}

// first is the index of the first size of box with P of at least limit, -1 for
// none.
func (a *adviser) first(box []float64, limit float64) int {
	for i, oz := range box {
		if a.p(oz) >= limit {
			return i
		}
	}
	return -1
}

func (a *adviser) p(oz float64) float64 { return a.o.Holds(oz * coldseam.KgPerOunce) }

// HoldP is P(the heaviest size carried holds) of an advice: the factor f_hold
// of the verdict. box empty = all nine; maxOz 0 = 3/4. ok is false when the
// odds were not computed.
func HoldP(j coldseam.SpotJig, boxOz []float64, maxOz float64) (p float64, ok bool) {
	l := Limits{MaxOz: maxOz}.filled()
	box := SpotInput{BoxOz: boxOz}.box(0, l.MaxOz)
	for _, h := range j.Holds {
		if len(box) > 0 && math.Abs(h.Oz-box[len(box)-1]) < 1e-9 {
			return h.Holds, true
		}
	}
	return 0, false
}

// Reach advises every spot and puts first the spots with a weight, in the
// order of where (spot kinds or location classes, first = first), then the
// order given.
func Reach(ins []SpotInput, where []string) []coldseam.SpotJig {
	type ranked struct {
		j, base coldseam.SpotJig
		rank    int
	}
	all := make([]ranked, len(ins))
	for i, in := range ins {
		j, base := advised(in)
		all[i] = ranked{j, base, placeRank(in.Spot, where)}
	}

	sort.SliceStable(all, func(i, j int) bool {
		a, b := all[i], all[j]
		if (a.base.TieOz > 0) != (b.base.TieOz > 0) { // no member's timing moves what a word looks at
			return a.base.TieOz > 0
		}
		return a.rank < b.rank
	})
	out := make([]coldseam.SpotJig, len(all))
	for i := range all {
		out[i] = all[i].j
	}
	return out
}

// placeRank is the place of a spot in the advised order; unlisted ones follow.
func placeRank(s coldseam.Spot, where []string) int {
	for i, w := range where {
		k, class := coldseam.KindOfClass[w]
		if !class {
			k = coldseam.SpotKind(w)
		}
		if w != "" && (w == s.Class || s.Class == "" && k == s.Kind) {
			return i
		}
	}
	return len(where)
}

func sorted(x []float64) []float64 {
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	return s
}

func heaviest(box []float64) float64 {
	if len(box) == 0 {
		return coldseam.TradeSizesOz[len(coldseam.TradeSizesOz)-1]
	}
	return sorted(box)[len(box)-1]
}

// withTradeSizes are the nine sizes and whatever else the box holds, ascending.
func withTradeSizes(box []float64) []float64 {
	all := sorted(append(append([]float64(nil), coldseam.TradeSizesOz[:]...), box...))
	var out []float64
	for _, s := range all {
		if s > 0 && (len(out) == 0 || s-out[len(out)-1] > 1e-9) {
			out = append(out, s)
		}
	}
	return out
}
