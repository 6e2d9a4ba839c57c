package chart

import (
	"bytes"
	"fmt"
	"html"
	"image/color"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	_ "gonum.org/v1/plot/vg/vgsvg" // writes p.WriterTo(.., "svg")
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

const plotWide, plotHigh = 16 * vg.Centimeter, 7 * vg.Centimeter

// SVG is the drawing as an element to stand in a page.
func (p Plot) SVG() (string, error) {
	d := newPlot(p.Title, "", "")
	d.Add(grid())
	if p.Days {
		d.X.Tick.Marker = plot.TimeTicks{Format: "2 Jan 06"}
	}
	wide := vg.Points(240 / float64(max(1, len(p.Words)*len(p.Series))))
	for i, s := range p.Series {
		if err := p.draw(d, i, s, wide); err != nil {
			return "", fmt.Errorf("chart: %w", err)
		}
	}
	if len(p.Words) > 0 {
		d.NominalX(p.Words...)
	}
	d.Legend.Top = true

	w, err := d.WriterTo(plotWide, plotHigh, "svg")
	if err != nil {
		return "", fmt.Errorf("chart: %w", err)
	}
	var b bytes.Buffer
	if _, err := w.WriteTo(&b); err != nil {
		return "", fmt.Errorf("chart: %w", err)
	}
	_, body, _ := strings.Cut(b.String(), "<svg")
	head, body, _ := strings.Cut(body, ">")
	return "<svg role=\"img\"" + head + "><title>" + html.EscapeString(p.Title) + "</title>" + strings.TrimSpace(body), nil
}

func (p Plot) draw(d *plot.Plot, i int, s PlotSeries, wide vg.Length) error {
	col := []color.Color{lightWater, lightTail, lightInk2, lightWater2, lightTail2}[i%5]
	var thumb plot.Thumbnailer
	switch {
	case len(p.Words) > 0:
		ys := make(plotter.Values, len(p.Words))
		for k, x := range s.X {
			ys[int(x)] = s.Y[k]
		}
		bars, err := plotter.NewBarChart(ys, wide)
		if err != nil {
			return err
		}
		bars.Color, bars.LineStyle.Width = col, 0
		bars.Offset = wide * vg.Length(float64(i)-float64(len(p.Series)-1)/2)
		d.Add(bars)
		thumb = bars
	case p.Points:
		dots, err := plotter.NewScatter(plotXYs(s))
		if err != nil {
			return err
		}
		dots.Color = col
		d.Add(dots)
		thumb = dots
	default:
		line, err := plotter.NewLine(plotXYs(s))
		if err != nil {
			return err
		}
		line.Color, line.Width = col, vg.Points(1.5)
		d.Add(line)
		thumb = line
	}
	d.Legend.Add(s.Name, thumb)
	return nil
}

func plotXYs(s PlotSeries) plotter.XYs {
	out := make(plotter.XYs, len(s.X))
	for i := range out {
		out[i].X, out[i].Y = s.X[i], s.Y[i]
	}
	return out
}
