package jig

import (
	"math"
	"time"

	"example.org/coldseam"
)

// Limits are the probabilities and sizes of the advice, the club's to edit. A
// zero field takes the default.
type Limits struct {
	TieNew  float64 // P to tie on until the spot is calibrated; .50
	TieDone float64 // afterwards; .70
	Pack    float64 // .90
	FloorOz float64 // 1/8: physics alone says 1/16 in slack water, nobody feels it
	MaxOz   float64 // 3/4
}

func (l Limits) filled() Limits {
	def := func(p *float64, v float64) {
		if !(*p > 0) {
			*p = v
		}
	}
	def(&l.TieNew, .50)
	def(&l.TieDone, .70)
	def(&l.Pack, .90)
	def(&l.FloorOz, 1./8)
	def(&l.MaxOz, 3./4)
	return l
}

// SpotInput is everything the weight at one spot in one window rests on.
//
// FlowMembers holds, for each member of the forecast, its highest flow in the
// window; StageMembers the stage at that hour, in the same order, nil where
// stage is not forecast. FlowM3S and StageM are the gauge now, 0 and nil when
// unknown; they stand in for members that are missing.
type SpotInput struct {
	Spot     coldseam.Spot
	Rig      Rig
	BoxOz    []float64 // sizes carried; empty = all nine trade sizes
	Limits   Limits
	Geometry Geometry   // of the gauge; the zero value = no gaugings
	Curve    StageCurve // stage against flow; the zero value = unknown

	FlowM3S      float64
	StageM       *float64
	FlowMembers  []float64
	StageMembers []float64
	BedFlowM3S   float64 // mean of several days, for dunes; 0 = FlowM3S

	WaterC   float64
	WaterOK  bool // false: 3 C is taken and said
	Stale    bool // gauge older than its limit
	Ice      bool // the decision's ice state is ice or unknown
	Debris   bool // debris or ice running
	HighFlow bool // above P90 for the date
	Rising   bool
	// Here says that sounding and float timing are of this moment, such as a
	// trial by hand: no gauge section, date or change of flow lies between.
	Here bool
	// OverP95 says that a day above P95 came after the sounding: a sand bed
	// has moved since.
	OverP95 bool

	Logs    []Log
	Timings []Timing // by members: they move the weight, and nothing that a word looks at
}

// defaultWaterC is taken where the water temperature is unknown. Between 1 and
// 5 C it moves the minimum by 3 % [reference calculation].
const defaultWaterC = 3.0

// flows are the members, or the flow now as the only one.
func (in SpotInput) flows() []float64 {
	if len(in.FlowMembers) > 0 {
		return in.FlowMembers
	}
	if in.FlowM3S > 0 {
		return []float64{in.FlowM3S}
	}
	return nil
}

// finite reports whether every number that reaches the physics is one.
func (in SpotInput) finite() bool {
	sum := in.FlowM3S + in.WaterC + in.BedFlowM3S + in.Spot.Profile + in.Spot.StageGain + in.Spot.D50M
	for _, x := range [][]float64{in.FlowMembers, in.StageMembers, in.BoxOz} {
		for _, v := range x {
			sum += v
		}
	}
	for _, p := range []*float64{in.StageM, in.Spot.DepthRefM, in.Spot.StageRefM, in.Spot.FlowRef, in.Spot.FloatMS,
		in.Spot.FloatFlow} {
		if p != nil {
			sum += *p
		}
	}
	return !math.IsNaN(sum) && !math.IsInf(sum, 0)
}

// box lists the sizes that may be tied on, ascending, within floor and limit.
func (in SpotInput) box(floorOz, maxOz float64) []float64 {
	src := in.BoxOz
	if len(src) == 0 {
		src = coldseam.TradeSizesOz[:]
	}
	var out []float64
	for _, s := range sorted(src) {
		if s > 0 && s >= floorOz-1e-9 && s <= maxOz+1e-9 {
			out = append(out, s)
		}
	}
	return out
}

// siteInputs says how a spot's water column is known.
type siteInputs struct {
	speedBy string  // float, angle, kind
	speedSD float64 // of ln us over the spot
	depthSD float64
	noSpeed bool
	noDepth string // why the depth today cannot be said: unsounded, zero, flow, undated; "" = it can
}

// site joins what is known of the spot, the gauge and the forecast.
func (in SpotInput) site() (*site, siteInputs) {
	t := defaultWaterC
	if in.WaterOK {
		t = in.WaterC
	}
	s := &site{spot: in.Spot, geo: in.Geometry, water: WaterAt(t), curve: in.Curve, gain: 1}
	if in.Spot.StageGain != 0 {
		s.gain = in.Spot.StageGain
	}
	var k siteInputs
	in.depth(s, &k)
	in.speed(s, &k)
	return s, k
}

// depth picks the form of the depth: by stage where the sounding and the
// forecast both have one, else by flow.
func (in SpotInput) depth(s *site, k *siteInputs) {
	sp := in.Spot
	k.depthSD = soundedLnSD
	flows := in.flows()
	switch {
	case sp.DepthRefM == nil:
		k.noDepth = "unsounded"
		return
	case !(*sp.DepthRefM > 0):
		k.noDepth = "zero"
		return
	case len(flows) == 0:
		k.noDepth = "flow"
		return
	}

	if sp.StageRefM != nil && (len(in.StageMembers) > 0 || in.StageM != nil) {
		s.form = depthByStage
		s.anchorQ, s.anchorM = in.FlowM3S, 0
		if in.StageM != nil {
			s.anchorM = *in.StageM
		}
		if len(in.StageMembers) > 0 {
			s.anchorQ, s.anchorM = coldseam.Quantile(flows, .5), coldseam.Quantile(in.StageMembers, .5)
		}
		if !(s.anchorQ > 0) {
			s.anchorQ = coldseam.Quantile(flows, .5)
		}
		return
	}

	if positive(sp.FlowRef) > 0 {
		s.form = depthByFlow
		if !in.Here {
			k.depthSD = byFlowLnSD
		}
		return
	}
	k.noDepth = "undated"
}

// moved reports whether the bed may have moved since the sounding.
func (in SpotInput) moved() bool {
	return in.Spot.Bed == "sand" && !in.Here && (in.OverP95 || in.Spot.Sounded.IsZero())
}

// sComb is what the gauge section adds to the spread of ln m.
func (in SpotInput) sComb() float64 {
	switch {
	case in.Here:
		return 0
	case in.Geometry.Valid():
		return in.Geometry.SComb
	}
	return defaultSComb
}

// byFlowLnSD is the spread of a depth carried by flow alone [assumed].
const byFlowLnSD = 0.20

// speed sets surface speed at a reference flow: by observed line angle, by
// float timing, or by the ratio of the spot's kind.
func (in SpotInput) speed(s *site, k *siteInputs) {
	sp, g := in.Spot, in.Geometry
	s.exponent = defaultM
	if g.Valid() {
		s.exponent = g.M
	}
	k.speedSD = timedSpeedLnSD

	if q := positive(sp.FloatFlow); q > 0 && (positive(sp.FloatMS) > 0 || in.Here && sp.FloatMS != nil &&
		*sp.FloatMS == 0) {
		k.speedBy, s.speedMS, s.speedQ = "float", *sp.FloatMS, q
	} else if g.Valid() {
		r := kindRatio(sp.Kind)
		s.speedQ = coldseam.Quantile(in.flows(), .5)
		if !(s.speedQ > 0) {
			s.speedQ = math.Sqrt(g.QMin * g.QMax)
		}
		k.speedBy, k.speedSD = "kind", r.lnSD
		s.speedMS = r.r * g.MeanMS(s.speedQ) * (1 + s.profile())
	} else {
		k.noSpeed = true
		s.speedQ = 1
	}

	if k.noDepth == "" {
		in.angle(s, k)
	}
	in.timings(s, k)
}

// angle takes the speed from the newest line angle that the model can show,
// unless the floats are newer.
func (in SpotInput) angle(s *site, k *siteInputs) {
	var newest time.Time
	for _, l := range in.Logs {
		if l.AngleDeg == nil || !(l.FlowM3S > 0) || math.IsInf(l.FlowM3S, 0) || l.At.Before(newest) {
			continue
		}
		if k.speedBy == "float" && coldseam.DateOf(l.At).Before(in.Spot.FloatOn) {
			continue
		}
		st, _ := Station{DepthM: s.depthM(l.FlowM3S), Profile: s.profile(), Water: s.water}.Clamp()
		if us, ok := SpeedFromAngle(l.Rig, st, l.Oz*coldseam.KgPerOunce, *l.AngleDeg); ok && us > 0 {
			newest = l.At
			s.speedMS, s.speedQ = us, l.FlowM3S
		}
	}
	if !newest.IsZero() {
		k.speedBy, k.speedSD, k.noSpeed = "angle", timedSpeedLnSD, false
	}
}
