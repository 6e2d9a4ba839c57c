package chart

import (
	"fmt"
	"html/template"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// page is the span of the river page's charts.
var pageFlow = span{before: 48 * time.Hour, after: 7 * 24 * time.Hour, h: 170, words: 15, windows: true}
var pageTemp = span{before: 48 * time.Hour, after: 7 * 24 * time.Hour, h: 210, words: 15, windows: true}

// FlowSVG draws two days of measured flow and seven of forecast, for a plot
// with a 46 px gutter left and 60 px right. units is "metric" or anything else
// for US. The markup has classes only: colours come from the page's style
// sheet. It returns ErrNotFound when there is nothing to draw.
func FlowSVG(b coldseam.Brief, units string) (template.HTML, error) {
	s := pageFlow
	s.windows = b.Verdict.ShowsOdds()
	f, err := newFan(b, false, units == "metric", s)
	if err != nil {
		return "", err
	}
	return f.svg("flow"), nil
}

// TempSVG draws the water temperature as FlowSVG draws the flow, with the band
// lines and the middle forecast of each window.
func TempSVG(b coldseam.Brief, units string) (template.HTML, error) {
	s := pageTemp
	s.windows = b.Verdict.ShowsOdds()
	f, err := newFan(b, true, units == "metric", s)
	if err != nil {
		return "", err
	}
	return f.svg("temp"), nil
}

// top is the room above the plot: the flow chart prints the clock there.
func (f fan) top() float64 {
	if f.Temp {
		return 4
	}
	return 24
}

// svg writes the chart. The outer element has no viewBox, the inner one is
// stretched: strokes and text keep their size at any width.
func (f fan) svg(id string) template.HTML {
	var w strings.Builder
	top, cls := f.top(), "chart"
	if f.Temp {
		cls = "chart t"
	}
	fmt.Fprintf(&w, `<svg class="%s" role="img" aria-labelledby="%s-t %s-d" width="100%%" height="%s"><title id="%s-t">%s, %s</title><desc id="%s-d">%s</desc>`,
		cls, id, id, px(top+f.H+24), id, esc(f.Title), esc(f.Unit), id, esc(f.Desc))
	fmt.Fprintf(&w, `<svg x="0" y="%s" width="100%%" height="%s" viewBox="0 0 1000 %s" preserveAspectRatio="none">`,
		px(top), px(f.H), px(f.H))
	f.svgPlot(&w)
	w.WriteString(`</svg>`)
	f.svgText(&w, top)
	w.WriteString(`</svg>`)
	return template.HTML(w.String())
}

func (f fan) svgPlot(w *strings.Builder) {
	for _, b := range f.Windows {
		fmt.Fprintf(w, `<rect class="win" x="%s" y="0" width="%s" height="%s"/>`, px(b[0]*1000), px((b[1]-b[0])*1000),
			px(f.H))
	}
	if !f.Temp {
		for _, g := range f.Grid {
			path(w, "grid", []xy{{0, g.Y}, {1, g.Y}}, false)
		}
	}

	path(w, "f80", f.P80, true)
	path(w, "f50", f.P50, true)
	if f.Temp {
		for _, g := range f.Grid {
			path(w, "bl", []xy{{0, g.Y}, {1, g.Y}}, false)
		}
	}

	path(w, "med", f.Median, false)
	for _, o := range f.Obs {
		if len(o) == 1 { // a lone reading is still a reading
			o = append(o, xy{o[0].X + .002, o[0].Y})
		}
		path(w, "obs", o, false)
	}

	if f.Limit != nil {
		path(w, "flood", []xy{{0, f.Limit.Y}, {1, f.Limit.Y}}, false)
	}
	path(w, "now", []xy{{f.Now, 0}, {f.Now, f.H}}, false)
	path(w, "axis", []xy{{0, f.H - .5}, {1, f.H - .5}}, false)
	for _, d := range f.Days {
		if d.Midnight > 0 && d.Midnight < 1 {
			path(w, "day", []xy{{d.Midnight, f.H - 6}, {d.Midnight, f.H}}, false)
		}
	}
}

func (f fan) svgText(w *strings.Builder, top float64) {
	for _, g := range append(append([]mark(nil), f.Grid...), f.Plain...) {
		fmt.Fprintf(w, `<text x="-8" y="%s" text-anchor="end">%s</text>`, px(top+g.Y+4.5), esc(g.Label))
	}
	for _, g := range f.Words {
		cls := "bn"
		if g.Bold {
			cls = "bn b"
		}
		fmt.Fprintf(w, `<text class="%s" x="100%%" dx="8" y="%s">%s</text>`, cls, px(top+g.Y+4.5), esc(g.Label))
	}

	if f.Limit != nil {
		x, anchor, y, words := "100%", "end", top+f.Limit.Y-7, f.Limit.Label
		switch {
		case f.Place.Title:
			y, words = 15, "— "+words
		case f.Place.Below:
			y = top + f.Limit.Y + 17
		}
		if f.Place.Left {
			x, anchor = "4", "start"
		}
		fmt.Fprintf(w, `<text class="ln" x="%s" y="%s" text-anchor="%s">%s</text>`, x, px(y), anchor, esc(words))
	}

	if !f.Temp {
		fmt.Fprintf(w, `<text class="nw" x="%s" y="15" text-anchor="middle">%s</text>`, pct(f.Now), esc(f.NowText))
	}
	for _, d := range f.Dots {
		fmt.Fprintf(w, `<circle class="dot" cx="%s" cy="%s" r="4"/>`, pct(d.X), px(top+d.Y))
	}

	for _, d := range f.Days {
		if d.Noon < .02 || d.Noon > .98 {
			continue
		}
		cls := "xl"
		if d.Odd {
			cls += " odd"
		}
		if d.Today {
			cls += " b"
		}
		fmt.Fprintf(w, `<text class="%s" x="%s" y="%s" text-anchor="middle">%s<tspan class="wide"> %s</tspan></text>`,
			cls, pct(d.Noon), px(top+f.H+17), esc(d.Short), esc(d.Date))
	}
}

func path(w *strings.Builder, class string, pts []xy, closed bool) {
	if len(pts) < 2 {
		return
	}
	fmt.Fprintf(w, `<path class="%s" d="`, class)

	for i, p := range pts {
		if i == 0 {
			w.WriteByte('M')
		} else {
			w.WriteByte('L')
		}
		w.WriteString(px(p.X * 1000))
		w.WriteByte(',')
		w.WriteString(px(p.Y))
	}

	if closed {
		w.WriteByte('Z')
	}
	w.WriteString(`"/>`)
}

// px writes a coordinate to a tenth.
func px(v float64) string {
	s := strconv.FormatFloat(v, 'f', 1, 64)
	s = strings.TrimSuffix(s, ".0")
	if s == "-0" {
		return "0"
	}
	return s
}

func pct(v float64) string { return strconv.FormatFloat(v*100, 'f', 2, 64) + "%" }

func esc(s string) string { return template.HTMLEscapeString(s) }
