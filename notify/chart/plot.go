package chart

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Plot draws columns of a table: lines or points over numbers or days, bars over
// words.
type Plot struct {
	Title  string
	Days   bool     // X are seconds since 1970
	Words  []string // of the bars; X counts them
	Points bool
	Series []PlotSeries
}

// PlotSeries is one line, or the bars of one colour.
type PlotSeries struct {
	Name string
	X, Y []float64
}

// plotColours are read on white and on dark paper alike; words and grid take the
// colour of the text around the drawing.
var plotColours = []string{"#2F88A1", "#C06A33", "#7B8790", "#7F9436", "#A0628F"}

// The drawing, px; across it everything is a share, so that words keep their size
// at any width.
const (
	plotHigh   = 190.
	plotGutter = .12 // of the numbers to the left
	plotBar    = 17.
	barWords   = .36 // of the words to the left of bars
	barRoom    = .52
)

// SVG is the drawing as an element to stand in a page or a Markdown text: colours
// are attributes, as neither a style sheet nor a style is sure to be read there.
func (p Plot) SVG() string {
	var w strings.Builder
	top := 26.
	text := func(x, y float64, more, s string) {
		fmt.Fprintf(&w, `<text x="%s" y="%s"%s>%s</text>`, pct(x), px(y), more, esc(s))
	}
	fmt.Fprintf(&w, `<title>%s</title>`, esc(p.Title))
	text(0, 14, ` font-weight="700"`, p.Title)
	if len(p.Series) > 1 {
		for i, s := range p.Series {
			fmt.Fprintf(&w, `<rect x="0" y="%s" width="14" height="4" fill="%s"/>`, px(top), plotColours[i%len(plotColours)])
			fmt.Fprintf(&w, `<text x="20" y="%s">%s</text>`, px(top+6), esc(s.Name))
			top += 17
		}
	}
	if len(p.Words) > 0 {
		top = p.bars(&w, top, text)
	} else {
		top = p.lines(&w, top, text)
	}
	return fmt.Sprintf(`<svg class="plotted" role="img" width="100%%" height="%s" overflow="visible" fill="currentColor" font-family="system-ui, sans-serif" font-size="13" xmlns="http://www.w3.org/2000/svg">%s</svg>`,
		px(top), w.String())
}

// bars lie, so that their words have room.
func (p Plot) bars(w *strings.Builder, top float64, text func(x, y float64, more, s string)) float64 {
	most := 0.
	for _, s := range p.Series {
		most = max(most, slices.Max(s.Y))
	}
	for k, word := range p.Words {
		top += 6
		text(0, top+13, "", word)
		for i, s := range p.Series {
			at := slices.Index(s.X, float64(k))
			if at < 0 {
				continue
			}
			wide := 0.
			if most > 0 {
				wide = max(s.Y[at], 0) / most * barRoom
			}
			fmt.Fprintf(w, `<rect x="%s" y="%s" width="%s" height="%s" fill="%s"/>`, pct(barWords), px(top), pct(wide),
				px(plotBar-3), plotColours[i%len(plotColours)])
			text(barWords+wide, top+12, ` dx="5"`, number(s.Y[at]))
			top += plotBar
		}
	}
	return top + 6
}

func (p Plot) lines(w *strings.Builder, top float64, text func(x, y float64, more, s string)) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	from, to := math.Inf(1), math.Inf(-1)
	for _, s := range p.Series {
		lo, hi = min(lo, slices.Min(s.Y)), max(hi, slices.Max(s.Y))
		from, to = min(from, slices.Min(s.X)), max(to, slices.Max(s.X))
	}
	room := max(pad*(hi-lo), math.Abs(hi)*.01, 1e-9)
	if p.Days {
		from, to = from-43200, to+43200
	} else if from == to {
		from, to = from-1, to+1
	}
	fr := frame{lo: lo - room, hi: hi + room, h: plotHigh}
	at := func(x float64) float64 { return (x - from) / (to - from) }

	top += 6
	for _, g := range ticks(fr) {
		y := px(top + g.Y)
		fmt.Fprintf(w, `<line x1="%s" x2="100%%" y1="%s" y2="%s" stroke="currentColor" stroke-opacity=".18"/>`, pct(plotGutter), y, y)
		text(plotGutter, top+g.Y+4.5, ` dx="-6" text-anchor="end"`, g.Label)
	}
	fmt.Fprintf(w, `<svg x="%s" y="%s" width="%s" height="%s" viewBox="0 0 1000 %s" preserveAspectRatio="none" overflow="visible">`,
		pct(plotGutter), px(top), pct(1-plotGutter), px(plotHigh), px(plotHigh))
	var lone [][3]float64
	for i, s := range p.Series {
		for _, run := range unbroken(s) {
			if len(run) == 1 || p.Points {
				for _, k := range run {
					lone = append(lone, [3]float64{at(s.X[k]), fr.y(s.Y[k]), float64(i)})
				}
				continue
			}
			w.WriteString(`<path d="`)
			for n, k := range run {
				fmt.Fprintf(w, "%c%s,%s", "ML"[min(n, 1)], px(1000*at(s.X[k])), px(fr.y(s.Y[k])))
			}
			fmt.Fprintf(w, `" fill="none" stroke="%s" stroke-width="2" vector-effect="non-scaling-stroke"/>`, plotColours[i%len(plotColours)])
		}
	}

	w.WriteString(`</svg>`)
	for _, x := range lone {
		fmt.Fprintf(w, `<circle cx="%s" cy="%s" r="3.5" fill="%s"/>`, pct(plotGutter+(1-plotGutter)*x[0]), px(top+x[1]),
			plotColours[int(x[2])%len(plotColours)])
	}
	for _, m := range p.marks(from, to) {
		text(plotGutter+(1-plotGutter)*at(m.at), top+plotHigh+18, ` text-anchor="middle"`, m.label)
	}
	return top + plotHigh + 26
}

// unbroken are the places of a series between which nothing is missing: a day or
// year left out is a gap and no line.
func unbroken(s PlotSeries) (out [][]int) {
	order := make([]int, len(s.X))
	step := math.Inf(1)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(s.X[a], s.X[b]) })
	for i := 1; i < len(order); i++ {
		if d := s.X[order[i]] - s.X[order[i-1]]; d > 0 {
			step = min(step, d)
		}
	}
	for i, k := range order {
		if i == 0 || s.X[k]-s.X[order[i-1]] > 1.5*step {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], k)
	}
	return out
}

type plotMark struct {
	at    float64
	label string
}

// marks are up to six places along the axis: days of the month, whole numbers or
// round ones.
func (p Plot) marks(from, to float64) (out []plotMark) {
	const most = 6
	if p.Days {
		first := time.Unix(int64(from), 0).UTC().Truncate(24*time.Hour).AddDate(0, 0, 1)
		days := int((to - from) / 86400)
		for _, in := range [][]int{{1, 5, 9, 13, 17, 21, 25, 29}, {1, 11, 21}, {1, 15}, {1}} {
			out = nil
			for k := range days + 1 {
				d := first.AddDate(0, 0, k)
				if at := float64(d.Unix()); slices.Contains(in, d.Day()) && at <= to {
					out = append(out, plotMark{at, d.Format("2 Jan")})
				}
			}
			if len(out) <= most {
				break
			}
		}
		if len(out) > most { // years
			kept := out[:0]
			for i, every := 0, (len(out)+most-1)/most; i < len(out); i += every {
				kept = append(kept, plotMark{out[i].at, time.Unix(int64(out[i].at), 0).UTC().Format("Jan 2006")})
			}
			out = kept
		}
		return out
	}

	step := math.Pow(10, math.Floor(math.Log10((to-from)/2)))
	for _, m := range []float64{1, 2, 5, 10} {
		if (to-from)/(m*step) <= most-1 {
			step *= m
			break
		}
	}
	for x := math.Ceil(from/step) * step; x <= to; x += step {
		out = append(out, plotMark{x, strconv.FormatFloat(math.Round(x/step)*step, 'f', -1, 64)})
	}
	return out
}
