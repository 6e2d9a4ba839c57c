package chart

import (
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"

	"example.org/coldseam"
)

// The drawing of a spot, px at every width of the window: a line's angle is true
// only where both ways have one scale.
const (
	sectionWide  = 288. // what a phone of 320 px has between its margins
	sectionDeep  = 150. // at most
	sectionReach = 100. // of the line, at most
	sectionLeft  = 46.  // where the water begins
	sectionArrow = 56.  // the current at the surface
	sectionTop   = 12.
)

// SectionSVG draws a spot from the side, the current from left to right: depth,
// line and its angle to one scale, the current by arrows at fifths of the depth, the
// jig by its size beside it. It is empty without a depth or a weight.
func SectionSVG(j coldseam.SpotJig, units string) template.HTML {
	angle := math.Abs(j.AngleDeg) * math.Pi / 180
	if !(j.DepthM > 0) || !(j.TieOz > 0) || !(angle < 1.4) || !finite(j.DepthM+j.TieOz+j.BowPct) {
		return ""
	}

	column := j.ColumnMS
	if slices.ContainsFunc(column, func(ms float64) bool { return !(ms > 0) || !finite(ms) }) {
		column = nil
	}

	// The line from the jig up: x = slope*y + bend*y^2. It meets the surface at the
	// angle told, and is as far from its chord in the middle as the bow told.
	deep := sectionDeep
	chord := 1 / math.Cos(angle)
	bend := 4 * j.BowPct / 100 * chord * chord
	slope := max(math.Tan(angle)-2*bend, 0)
	if reach := (slope + bend) * deep; reach > sectionReach {
		deep *= sectionReach / reach
	}
	side := 1.
	if j.AngleDeg < 0 {
		side = -1 // the jig lies upstream
	}
	bed := sectionTop + deep
	jig := sectionLeft + 16 + sectionReach/2 + side*(slope+bend)*deep/2
	at := func(share float64) (x, y float64) {
		return jig - side*(slope*share+bend*share*share)*deep, bed - share*deep
	}

	depth, speed := fmt.Sprintf("%.0f ft", coldseam.Feet(j.DepthM)), func(ms float64) string {
		return fmt.Sprintf("%.1f ft/s", coldseam.Feet(ms))
	}
	if units == "metric" {
		depth, speed = fmt.Sprintf("%.1f m", j.DepthM), func(ms float64) string { return fmt.Sprintf("%.1f m/s", ms) }
	}
	size, lies := coldseam.OzName(j.TieOz)+" oz", fmt.Sprintf("%.0f°", math.Abs(j.AngleDeg))
	says := fmt.Sprintf("%s of water. The line to %s stands %s off vertical.", depth, size, lies)
	if n := len(column); n > 0 {
		says += fmt.Sprintf(" The current runs %s at the surface and %s near the bed.", speed(column[0]), speed(column[n-1]))
	}

	var w strings.Builder
	text := func(class string, x, y float64, anchor, s string) {
		fmt.Fprintf(&w, `<text class="%s" x="%s" y="%s" text-anchor="%s">%s</text>`, class, px(x), px(y), anchor,
			strings.ReplaceAll(s, " ", "\u00a0"))
	}
	fmt.Fprintf(&w, `<svg class="chart section" role="img" aria-labelledby="spot-t spot-d" width="%s" height="%s"><title id="spot-t">%s from the side</title><desc id="spot-d">%s</desc>`,
		px(sectionWide), px(bed+22), esc(j.Spot), esc(says))
	fmt.Fprintf(&w, `<rect class="f80" x="%s" y="%s" width="%s" height="%s"/>`, px(sectionLeft), px(sectionTop),
		px(sectionWide-sectionLeft), px(deep))
	fmt.Fprintf(&w, `<path class="med" d="M%s,%sH%s"/><path class="flood" d="M%s,%sH%s"/>`, px(sectionLeft),
		px(sectionTop), px(sectionWide), px(sectionLeft), px(bed), px(sectionWide))

	for fifth, ms := range column {
		long := sectionArrow * min(ms/column[0], 1)
		y := sectionTop + 9 + (deep-9)*float64(fifth)/float64(len(column))
		x := sectionLeft + sectionReach + 30
		fmt.Fprintf(&w, `<path class="med" d="M%s,%sh%sm-6,-4l6,4l-6,4"/>`, px(x), px(y), px(long))
		if fifth == 0 || fifth == len(column)-1 {
			text("bn", sectionWide-3, y+4.5, "end", speed(ms))
		}
	}

	w.WriteString(`<path class="obs" d="`)
	for i := range 13 {
		x, y := at(float64(i) / 12)
		fmt.Fprintf(&w, "%c%s,%s", "ML"[min(i, 1)], px(x), px(y))
	}
	x, y := at(.85)
	fmt.Fprintf(&w, `"/><circle class="jig" cx="%s" cy="%s" r="%s"/>`, px(jig), px(bed-4), px(5*math.Cbrt(j.TieOz/.25)))
	text("bn", x+10*side, y+4.5, map[bool]string{true: "start", false: "end"}[side > 0], lies)
	text("b", jig, bed+18, "middle", size)
	text("", sectionLeft-6, sectionTop+4.5, "end", "0")
	text("", sectionLeft-6, bed+4.5, "end", depth)
	w.WriteString(`</svg>`)
	return template.HTML(w.String())
}
