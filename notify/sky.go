package notify

import (
	"math"
	"slices"
	"strings"

	"example.org/coldseam"
)

// light says when it gets light on the morning of a window.
func (f format) light(b coldseam.Brief) string {
	if b.DaylightFrom.IsZero() {
		return ""
	}
	s := "sunrise " + f.clock(b.DaylightFrom)
	told := slices.ContainsFunc(b.Cautions, func(r coldseam.Reason) bool { return r.Code == "dark" })
	if !b.FirstLight.IsZero() && !told {
		s = "first light " + f.clock(b.FirstLight) + ", " + s
	}
	return s
}

// skyCodes are the cautions and caps by which the sky is worth a line of its own.
var skyCodes = []string{"wind", "gust", "wind_chill", "freezing_spray", "thunder_possible", "fog", "fast_fall",
	"ramp_ice", "no_gust", "no_thunder"}

// rainMM is the rain in a window that is told of [proposal].
const rainMM = .5

// sky is air, wind, rain and thunder of the best window, what a caution says
// already left out, and whether something of it matters.
func (k *block) sky(f format) (parts []part, matters bool) {
	b := k.Brief
	w, ok := b.Best()
	if !ok {
		return nil, false
	}
	told := map[string]bool{}
	for _, r := range slices.Concat(b.Cautions, b.Reasons) {
		told[r.Code] = true
		matters = matters || slices.Contains(skyCodes, r.Code)
	}

	parts = append(parts, f.windParts(w, b.CurrentDeg, told["wind"])...)
	if a, e := known(w.Sky.LaunchC, w.AirC), known(w.Sky.EndC); a != nil {
		air := f.temp(*a)
		if e != nil && f.temp(*e) != air {
			air = strings.TrimRight(air, nbsp+"°CF") + " to " + f.temp(*e)
		}
		parts = append(parts, part{Text: "air " + air, Optional: true})
	}
	if mm := known(w.Sky.RainMM); mm != nil && *mm >= rainMM {
		parts = append(parts, part{Text: "rain " + f.quantity("rain_mm", *mm), Optional: true})
	}
	if p := known(w.Thunder); p != nil && *p >= .05 && !told["thunder_possible"] {
		parts = append(parts, part{Text: "thunder " + percent(*p) + nbsp + "%", Optional: true})
	}
	return parts, matters && len(parts) > 0
}

// known is the first value that is there and a number.
func known(values ...*float64) *float64 {
	for _, v := range values {
		if v != nil && finite(*v) {
			return v
		}
	}
	return nil
}

// windParts are wind and gusts of a window, with where they come from and how they
// meet the current.
func (f format) windParts(w coldseam.Window, current *float64, told bool) []part {
	var out []part
	wind, gust := known(w.WindMS), known(w.GustMS)
	if wind != nil && !told {
		out = append(out, part{Text: "wind " + f.wind(*wind)})
	}
	if from := known(w.Sky.WindFromDeg); from != nil && wind != nil && *wind >= calmMS {
		s := "from " + compass(*from)
		if len(out) == 0 {
			s = "wind " + s
		}
		if current != nil {
			s += ", " + againstCurrent(*from, *current)
		}
		out = append(out, part{Text: s, Sep: " "})
	}
	if gust != nil && (wind == nil || f.wind(*gust) != f.wind(*wind)) {
		out = append(out, part{Text: "gusts " + f.wind(*gust)})
	}
	return out
}

// calmMS is the wind under which its direction says nothing: light air, Beaufort 1
// [source: WMO guide to instruments, table of Beaufort, from memory].
const calmMS = 1.6

// compass names one of eight directions.
func compass(deg float64) string {
	names := [...]string{"N", "NE", "E", "SE", "S", "SW", "W", "NW"}
	return names[int(math.Round(math.Mod(deg+360, 360)/45))%8]
}

// againstCurrent says how a wind from a direction meets a current that runs to
// another: one that comes from where the water runs to blows up the river.
func againstCurrent(from, current float64) string {
	switch d := math.Abs(math.Mod(from-current+540, 360) - 180); {
	case d <= 45:
		return "against the current"
	case d >= 135:
		return "with the current"
	}
	return "across the current"
}
