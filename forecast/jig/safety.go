package jig

import "example.org/coldseam"

// The limits of the access rules [proposal]; the field-crew product of 10 ft x
// ft/s is an outer bound for trained people, not advice.
const (
	anchorLimitMS  = 3 * coldseam.MetrePerFoot
	wadeDepthM     = 2.5 * coldseam.MetrePerFoot
	wadeSpeedMS    = 2.5 * coldseam.MetrePerFoot
	wadeProductM2S = 6 * coldseam.MetrePerFoot * coldseam.MetrePerFoot
)

// safety withholds presentations that put people at risk.
func (a *adviser) safety() {
	if a.in.Rig.Pres.Anchored {
		a.anchor()
		a.out.Warnings = append(a.out.Warnings, because("safety", "anchor_note", "", nil))
	}
	if a.in.Rig.Pres.Name == "wading" && !a.wade() {
		a.out.Warnings = append(a.out.Warnings, because("safety", "wading_note", "", nil))
	}
}

func (a *adviser) anchor() {
	switch {
	case a.in.Debris:
		a.withhold("safety", "anchor", "debris", nil)
	case a.in.HighFlow:
		a.withhold("safety", "anchor", "high", nil)
	case a.wet.SurfaceMS >= anchorLimitMS:
		a.withhold("safety", "anchor", "", map[string]float64{"current_m_s": a.wet.SurfaceMS,
			"limit_m_s": anchorLimitMS})
	}
}

// wade reports whether a rule forbids wading and withholds the weight then.
func (a *adviser) wade() bool {
	m, mps := a.wet.DepthM, a.wet.MeanMS()
	switch {
	case a.in.Rising:
		a.withhold("safety", "wading", "rising", nil)
	case a.in.Spot.Sounded.IsZero() && !a.in.Here:
		a.withhold("safety", "wading", "undated", nil)
	case m > wadeDepthM:
		a.withhold("safety", "wading", "deep", map[string]float64{"wade_m": m, "limit_m": wadeDepthM})
	case mps > wadeSpeedMS:
		a.withhold("safety", "wading", "fast", map[string]float64{"current_m_s": mps, "limit_m_s": wadeSpeedMS})
	case m*mps >= wadeProductM2S:
		a.withhold("safety", "wading", "product",
			map[string]float64{"wade_m": m, "current_m_s": mps, "product_m2_s": m * mps, "limit_m2_s": wadeProductM2S})
	default:
		return false
	}
	return true
}
