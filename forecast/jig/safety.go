package jig

import (
	"fmt"

	"example.org/coldseam"
)

// The limits of the access rules [proposal]; the field-crew product of 10 ft x
// ft/s is an outer bound for trained people, not advice.
const (
	anchorLimitFPS   = 3.0
	wadeDepthFt      = 2.5
	wadeSpeedFPS     = 2.5
	wadeProductFtFPS = 6.0
)

// anchorNote goes with every anchored line [common practice].
const anchorNote = "bow anchor only, on a release, never above a dam, pier or wood"

// wadeNote goes with every wading line that no rule withholds.
const wadeNote = "these numbers cannot clear wading: look at the water first"

// safety withholds presentations that put people at risk.
func (a *adviser) safety() {
	if a.in.Rig.Pres.Anchored {
		if why := a.anchorWhy(); why != "" {
			a.withhold("anchor", "safety", "do not anchor: "+why, "")
		}
		a.warn("anchor_note", "safety", anchorNote, "")
	}
	if a.in.Rig.Pres.Name == "wading" {
		if us, si := a.wadeWhy(); us != "" {
			a.withhold("wading", "safety", "do not wade: "+us, "do not wade: "+si)
		} else {
			a.warn("wading_note", "safety", wadeNote, "")
		}
	}
}

func (a *adviser) anchorWhy() string {
	switch {
	case a.in.Debris:
		return "debris or ice is running"
	case a.in.HighFlow:
		return "flow above 9 in 10 days for the date"
	case coldseam.Feet(a.wet.SurfaceMS) >= anchorLimitFPS:
		return fmt.Sprintf("current %.1f ft/s, the limit is %.0f", coldseam.Feet(a.wet.SurfaceMS), anchorLimitFPS)
	}
	return ""
}

func (a *adviser) wadeWhy() (us, si string) {
	ft, fps := coldseam.Feet(a.wet.DepthM), coldseam.Feet(a.wet.MeanMS())
	switch {
	case a.in.Rising:
		return "water is rising", "water is rising"
	case a.in.Spot.Sounded.IsZero() && !a.in.Here:
		return "depth has no dated sounding", "depth has no dated sounding"
	case ft > wadeDepthFt:
		return fmt.Sprintf("%.1f ft deep, the limit is %.1f", ft, wadeDepthFt),
			fmt.Sprintf("%.1f m deep, the limit is %.2f", a.wet.DepthM, wadeDepthFt*coldseam.MetrePerFoot)
	case fps > wadeSpeedFPS:
		return fmt.Sprintf("current %.1f ft/s, the limit is %.1f", fps, wadeSpeedFPS),
			fmt.Sprintf("current %.1f m/s, the limit is %.2f", a.wet.MeanMS(), wadeSpeedFPS*coldseam.MetrePerFoot)
	case ft*fps >= wadeProductFtFPS:
		return fmt.Sprintf("%.1f ft times %.1f ft/s, the limit is %.0f", ft, fps, wadeProductFtFPS),
			fmt.Sprintf("%.2f m times %.2f m/s, the limit is %.2f", a.wet.DepthM, a.wet.MeanMS(), wadeProductFtFPS*coldseam.MetrePerFoot*coldseam.MetrePerFoot)
	}
	return "", ""
}
