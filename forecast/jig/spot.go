package jig

import (
	"math"
	"sort"

	"example.org/coldseam"
)

// ratio is the speed over a spot relative to the gauge section, by kind, and
// the ln-sd of that ratio, half the width of its stated range taken as p10-p90
// [assumed; no source]. A float timing replaces it.
type ratio struct{ r, lnSD float64 }

func kindRatio(k coldseam.SpotKind) ratio {
	switch k {
	case coldseam.SpotSlack:
		return ratio{.25, .49} // 0.1-0.35
	case coldseam.SpotSeam:
		return ratio{.6, .27} // 0.4-0.8
	case coldseam.SpotHole:
		return ratio{.8, .27}
	case coldseam.SpotDunes:
		return ratio{1.0, .27}
	case coldseam.SpotShallow:
		return ratio{.7, .27}
	}
	return ratio{1.2, .13} // main channel, outside bend: 1.0-1.4
}

// StageCurve turns flow into stage by a table, both strictly increasing, flow
// in m3/s, stage in m on the gauge's zero.
type StageCurve struct {
	FlowM3S, StageM []float64
}

// CurveFromRating takes the table of a rating.
func CurveFromRating(r coldseam.Rating) StageCurve {
	return StageCurve{r.Discharge, r.StageM}
}

// At is the stage at q, linear in ln Q and extended along the end slopes;
// inside is false beyond the table.
func (c StageCurve) At(q float64) (stageM float64, inside bool) {
	n := len(c.FlowM3S)
	i := min(max(sort.SearchFloat64s(c.FlowM3S, q), 1), n-1)
	a, b := math.Log(c.FlowM3S[i-1]), math.Log(c.FlowM3S[i])
	w := (math.Log(q) - a) / (b - a)
	return c.StageM[i-1] + w*(c.StageM[i]-c.StageM[i-1]), q >= c.FlowM3S[0] && q <= c.FlowM3S[n-1]
}

func (c StageCurve) usable() bool {
	if len(c.FlowM3S) < 2 || len(c.FlowM3S) != len(c.StageM) {
		return false
	}
	for i, q := range c.FlowM3S {
		if !(q > 0) || math.IsInf(q, 0) || math.IsNaN(c.StageM[i]) || i > 0 &&
			(q <= c.FlowM3S[i-1] || c.StageM[i] <= c.StageM[i-1]) {
			return false
		}
	}
	return true
}

// site is a spot ready to be asked for its water column at any flow.
type site struct {
	spot  coldseam.Spot
	geo   Geometry
	water Water

	gain     float64 // depth change per stage change
	anchorQ  float64 // a flow with its stage
	anchorM  float64
	curve    StageCurve
	form     depthForm
	speedMS  float64 // surface speed at speedQ
	speedQ   float64
	exponent float64 // of speed against flow
}

type depthForm int

const (
	depthUnknown depthForm = iota
	depthByStage           // sounding plus stage change
	depthByFlow            // sounding times a power of the flow: over-predicts the rise in deep holes
)

// at is the water column at q m3/s, not clamped.
func (s *site) at(q float64) Station {
	return Station{
		DepthM:    s.depthM(q),
		SurfaceMS: s.speedMS * math.Pow(q/s.speedQ, s.exponent),
		Profile:   s.profile(),
		Water:     s.water,
	}
}

func (s *site) profile() float64 {
	if s.spot.Profile > 0 {
		return s.spot.Profile
	}
	return DefaultProfile
}

func (s *site) depthM(q float64) float64 {
	if s.form == depthByFlow {
		f := s.geo.F
		if f <= 0 {
			f = defaultF
		}
		return *s.spot.DepthRefM * math.Pow(q/(*s.spot.FlowRef), f)
	}
	return *s.spot.DepthRefM + s.gain*(s.stageM(q)-*s.spot.StageRefM)
}

// stageM is the stage at q: the anchor (the forecast's own pair of flow and
// stage) plus the change along the rating, or along the mean depth of the
// gauge section where no rating is known.
func (s *site) stageM(q float64) float64 {
	if s.curve.usable() {
		a, _ := s.curve.At(s.anchorQ)
		b, _ := s.curve.At(q)
		return s.anchorM + b - a
	}
	if !s.geo.Valid() {
		return s.anchorM
	}
	return s.anchorM + s.geo.DepthM(q) - s.geo.DepthM(s.anchorQ)
}
