package chart

import (
	"bytes"
	"fmt"
	"image/color"
	"math"
	"strconv"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"example.org/coldseam"
)

// ReliabilityBin is one class of issued odds: how often it was said and how
// often it came true.
type ReliabilityBin struct {
	Said float64 // mean of the issued odds, 0-1
	Came float64 // share that came true, 0-1
	N    int
}

// Reliability is the chart of what was said against what came.
type Reliability struct {
	Title string
	Bins  []ReliabilityBin
}

// PIT is the histogram of where the truth fell in the ensemble, equal classes
// from below all members to above all. Flat is right; a heap in the middle is
// a fan too wide, heaps at the ends one too narrow.
type PIT struct {
	Title  string
	Counts []int
}

// SkillSeries is one line of the skill chart: skill against one reference at
// each lead, with its interval. Lo and Hi may be nil.
type SkillSeries struct {
	Name          string // "against persistence"
	Skill, Lo, Hi []float64
}

// Skill is the chart of skill by lead; 0 is no better than the reference.
type Skill struct {
	Title  string
	Leads  []int // days
	Series []SkillSeries
}

// SampleFan is one forecast with what happened afterwards.
type SampleFan struct {
	Title, Unit string
	Zone        string
	Before      []coldseam.Point // known at the issue
	Valid       []time.Time
	Fan         [][5]float64 // p10, p25, p50, p75, p90 in the unit of the title
	After       []coldseam.Point
}

// least is the number of cases under which a bin is printed hollow: too few to
// judge [proposal].
const least = 10

// PNG draws the chart, 1,000 x 800 px.
func (r Reliability) PNG() ([]byte, error) {
	p := newPlot(r.Title, "said, in 10", "came true, in 10")
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, 10, 0, 10
	p.X.Tick.Marker, p.Y.Tick.Marker = whole{2}, whole{2}
	diag, err := plotter.NewLine(plotter.XYs{{X: 0, Y: 0}, {X: 10, Y: 10}})
	if err != nil {
		return nil, chartErr(r.Title, err)
	}

	diag.Color, diag.Dashes = lightEdge, []vg.Length{vg.Points(3), vg.Points(4)}
	p.Add(grid(), diag)
	var pts plotter.XYs
	var labels []string
	var hollow []bool
	for _, b := range r.Bins {
		if b.N == 0 || !finite(b.Said) || !finite(b.Came) {
			continue
		}
		pts = append(pts, plotter.XY{X: 10 * b.Said, Y: 10 * b.Came})
		labels = append(labels, " "+strconv.Itoa(b.N))
		hollow = append(hollow, b.N < least)
	}

	if len(pts) == 0 {
		return nil, chartErr(r.Title, fmt.Errorf("no odds issued: %w", coldseam.ErrNotFound))
	}
	line, err := plotter.NewLine(pts)
	if err != nil {
		return nil, chartErr(r.Title, err)
	}

	line.Color, line.Width = lightWater2, vg.Points(1.5)
	dots, err := plotter.NewScatter(pts)
	if err != nil {
		return nil, chartErr(r.Title, err)
	}

	dots.GlyphStyleFunc = func(i int) draw.GlyphStyle {
		g := draw.GlyphStyle{Color: lightWater, Radius: vg.Points(5), Shape: draw.CircleGlyph{}}
		if hollow[i] {
			g.Shape = draw.RingGlyph{}
		}
		return g
	}
	lab, err := plotter.NewLabels(plotter.XYLabels{XYs: pts, Labels: labels})
	if err != nil {
		return nil, chartErr(r.Title, err)
	}

	for i := range lab.TextStyle {
		sans13(&lab.TextStyle[i].Font)
		lab.TextStyle[i].Color = lightInk2
		lab.Offset.Y = -vg.Points(12)
	}
	p.Add(line, dots, lab)
	p.X.Label.Text += "   (numbers: cases; rings: fewer than " + strconv.Itoa(least) + ")"
	return render(p)
}

// PNG draws the chart, 1,000 x 800 px.
func (h PIT) PNG() ([]byte, error) {
	n := 0
	for _, c := range h.Counts {
		n += c
	}
	if n == 0 {
		return nil, chartErr(h.Title, fmt.Errorf("no cases: %w", coldseam.ErrNotFound))
	}

	p := newPlot(h.Title, "where the truth fell: 0 below every member, 1 above", "share of "+number(float64(n))+
		" cases, %")
	vals := make(plotter.Values, len(h.Counts))
	for i, c := range h.Counts {
		vals[i] = 100 * float64(c) / float64(n)
	}
	bars := make(plotter.XYs, 0, 2*len(vals)+2)
	k := float64(len(vals))

	bars = append(bars, plotter.XY{X: 0, Y: 0})
	for i, v := range vals {
		bars = append(bars, plotter.XY{X: float64(i) / k, Y: v}, plotter.XY{X: float64(i+1) / k, Y: v})
	}
	bars = append(bars, plotter.XY{X: 1, Y: 0})
	poly, err := plotter.NewPolygon(bars)
	if err != nil {
		return nil, chartErr(h.Title, err)
	}
	poly.Color, poly.LineStyle.Color = lightWater1, lightWater

	// Ideal and the 2-sigma reach of sheer chance for independent cases.
	mean := 100 / k
	sd := 100 * math.Sqrt((1/k)*(1-1/k)/float64(n))
	p.Add(poly)

	for _, l := range []struct {
		y    float64
		dash []vg.Length
	}{{mean, nil}, {mean + 2*sd, dots2()}, {max(mean-2*sd, 0), dots2()}} {
		ln, err := plotter.NewLine(plotter.XYs{{X: 0, Y: l.y}, {X: 1, Y: l.y}})
		if err != nil {
			return nil, chartErr(h.Title, err)
		}
		ln.Color, ln.Dashes = lightTail, l.dash
		p.Add(ln)
	}

	p.X.Min, p.X.Max, p.Y.Min = 0, 1, 0
	p.Y.Max = max(p.Y.Max, mean*1.6)
	return render(p)
}

func dots2() []vg.Length { return []vg.Length{vg.Points(2), vg.Points(3)} }

// PNG draws the chart, 1,000 x 800 px.
func (s Skill) PNG() ([]byte, error) {
	if len(s.Leads) == 0 || len(s.Series) == 0 {
		return nil, chartErr(s.Title, fmt.Errorf("no leads: %w", coldseam.ErrNotFound))
	}
	p := newPlot(s.Title, "lead, days", "skill (1 perfect, 0 no better)")
	p.Add(grid())
	zero, err := plotter.NewLine(plotter.XYs{{X: float64(s.Leads[0]), Y: 0}, {X: float64(s.Leads[len(s.Leads)-1]),
		Y: 0}})
	if err != nil {
		return nil, chartErr(s.Title, err)
	}

	zero.Color, zero.Width = lightInk, vg.Points(1.5)
	p.Add(zero)
	style := []struct {
		c color.Color
		d []vg.Length
		g draw.GlyphDrawer
	}{{lightWater, nil, draw.CircleGlyph{}}, {lightTail, nil, draw.SquareGlyph{}},
		{lightInk2, []vg.Length{vg.Points(5), vg.Points(3)}, draw.TriangleGlyph{}},
		{lightWater2, []vg.Length{vg.Points(2), vg.Points(3)}, draw.RingGlyph{}},
		{lightTail2, []vg.Length{vg.Points(7), vg.Points(2)}, draw.CrossGlyph{}}}

	for i, x := range s.Series {
		if len(x.Skill) != len(s.Leads) || x.Lo != nil && (len(x.Lo) != len(s.Leads) || len(x.Hi) != len(s.Leads)) {
			return nil, chartErr(s.Title, fmt.Errorf("series %q: %d values for %d leads: %w", x.Name, len(x.Skill),
				len(s.Leads), coldseam.ErrInvalid))
		}
		st := style[i%len(style)]
		var pts plotter.XYs

		var errs plotter.YErrors
		for k, l := range s.Leads {
			if !finite(x.Skill[k]) {
				continue
			}
			// A small shift keeps the intervals of two lines apart.
			pts = append(pts, plotter.XY{X: float64(l) + .06*float64(i), Y: x.Skill[k]})
			if x.Lo != nil && finite(x.Lo[k]) && finite(x.Hi[k]) {
				errs = append(errs, struct{ Low, High float64 }{x.Skill[k] - x.Lo[k], x.Hi[k] - x.Skill[k]})
			} else {
				errs = append(errs, struct{ Low, High float64 }{})
			}
		}

		if len(pts) == 0 {
			continue
		}
		line, dots, err := plotter.NewLinePoints(pts)
		if err != nil {
			return nil, chartErr(s.Title, err)
		}

		line.Color, line.Dashes, line.Width = st.c, st.d, vg.Points(2)
		dots.Color, dots.Shape, dots.Radius = st.c, st.g, vg.Points(4)
		p.Add(line, dots)
		p.Legend.Add(x.Name, line, dots)

		if x.Lo != nil {
			bars, err := plotter.NewYErrorBars(struct {
				plotter.XYer
				plotter.YErrorer
			}{pts, errs})
			if err != nil {
				return nil, chartErr(s.Title, err)
			}
			bars.Color = st.c
			p.Add(bars)
		}
	}

	p.X.Tick.Marker = leadTicks(s.Leads)
	p.X.Max += .4
	roomForLegend(p, len(s.Series))
	return render(p)
}

// PNG draws the chart, 1,000 x 800 px.
func (f SampleFan) PNG() ([]byte, error) {
	if len(f.Valid) == 0 || len(f.Valid) != len(f.Fan) {
		return nil, chartErr(f.Title, fmt.Errorf("%d times, %d steps: %w", len(f.Valid), len(f.Fan),
			coldseam.ErrInvalid))
	}
	loc := time.UTC
	if f.Zone != "" {
		l, err := time.LoadLocation(f.Zone)
		if err != nil {
			return nil, chartErr(f.Title, fmt.Errorf("zone %q: %w", f.Zone, coldseam.ErrInvalid))
		}
		loc = l
	}

	p := newPlot(f.Title, "", f.Unit)
	p.Add(grid())

	for _, b := range []struct {
		lo, hi int
		c      color.Color
		name   string
	}{{0, 4, lightWater1, "8 in 10"}, {1, 3, lightWater2, "half of forecasts"}} {
		var pts plotter.XYs
		for i, t := range f.Valid {
			pts = append(pts, plotter.XY{X: float64(t.Unix()), Y: f.Fan[i][b.hi]})
		}
		for i := len(f.Valid) - 1; i >= 0; i-- {
			pts = append(pts, plotter.XY{X: float64(f.Valid[i].Unix()), Y: f.Fan[i][b.lo]})
		}
		poly, err := plotter.NewPolygon(pts)
		if err != nil {
			return nil, chartErr(f.Title, err)
		}

		poly.Color, poly.LineStyle.Width = b.c, 0
		p.Add(poly)
		p.Legend.Add(b.name, poly)
	}

	var med plotter.XYs
	for i, t := range f.Valid {
		med = append(med, plotter.XY{X: float64(t.Unix()), Y: f.Fan[i][2]})
	}

	for _, l := range []struct {
		pts  plotter.XYs
		c    color.Color
		d    []vg.Length
		name string
	}{{med, lightWater, nil, "middle forecast"}, {points(f.Before), lightInk, nil, "known then"},
		{points(f.After), lightInk, []vg.Length{vg.Points(4), vg.Points(3)}, "what came"}} {
		if len(l.pts) == 0 {
			continue
		}
		ln, err := plotter.NewLine(l.pts)
		if err != nil {
			return nil, chartErr(f.Title, err)
		}
		ln.Color, ln.Dashes, ln.Width = l.c, l.d, vg.Points(2)
		p.Add(ln)
		p.Legend.Add(l.name, ln)
	}

	p.X.Tick.Marker = dayTicks{loc}
	roomForLegend(p, 5)
	return render(p)
}

// roomForLegend keeps n lines of words above the curves.
func roomForLegend(p *plot.Plot, n int) { p.Y.Max += .055 * float64(n) * (p.Y.Max - p.Y.Min) }

// rounds are the library's ticks with our numbers.
type rounds struct{}

func (rounds) Ticks(lo, hi float64) []plot.Tick {
	out := plot.DefaultTicks{}.Ticks(lo, hi)
	for i, t := range out {
		if t.Label != "" {
			out[i].Label = number(t.Value)
		}
	}
	return out
}

func points(ps []coldseam.Point) plotter.XYs {
	var out plotter.XYs
	for _, p := range ps {
		if finite(p.V) {
			out = append(out, plotter.XY{X: float64(p.At.Unix()), Y: p.V})
		}
	}
	return out
}

// whole ticks at multiples of a step.
type whole struct{ step float64 }

func (w whole) Ticks(lo, hi float64) []plot.Tick {
	var out []plot.Tick
	for v := math.Ceil(lo/w.step) * w.step; v <= hi+1e-9; v += w.step {
		out = append(out, plot.Tick{Value: v, Label: number(v)})
	}
	return out
}

type leadTicks []int

func (l leadTicks) Ticks(_, _ float64) []plot.Tick {
	var out []plot.Tick
	for _, v := range l {
		out = append(out, plot.Tick{Value: float64(v), Label: strconv.Itoa(v)})
	}
	return out
}

// dayTicks are the midnights of a zone, named at most every seventh of the span.
type dayTicks struct{ loc *time.Location }

func (d dayTicks) Ticks(lo, hi float64) []plot.Tick {
	var out []plot.Tick
	every := max(int((hi-lo)/86400/7+.99), 1)
	first := coldseam.DateOf(time.Unix(int64(lo), 0).In(d.loc)).Add(1)
	for day := first; ; day = day.Add(1) {
		v := float64(day.In(d.loc).Unix())
		if v > hi {
			return out
		}
		t := plot.Tick{Value: v}
		if day.Sub(first)%every == 0 {
			t.Label = strconv.Itoa(day.Day) + " " + day.Month.String()[:3]
		}
		out = append(out, t)
	}
}

func sans13(f *font.Font) { f.Typeface, f.Variant, f.Size = "Liberation", "Sans", vg.Points(13) }

func newPlot(title, x, y string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = lightPaper
	p.Title.Text, p.X.Label.Text, p.Y.Label.Text = title, x, y
	p.Title.TextStyle.Color = lightInk
	sans13(&p.Title.TextStyle.Font)
	p.Title.TextStyle.Font.Size = vg.Points(17)
	p.Title.Padding = vg.Points(10)

	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		sans13(&a.Label.TextStyle.Font)
		sans13(&a.Tick.Label.Font)
		a.Label.TextStyle.Color, a.Tick.Label.Color = lightInk2, lightInk2
		a.Color, a.Tick.LineStyle.Color = lightEdge, lightEdge
		a.Label.Padding = vg.Points(6)
	}

	p.Y.Tick.Marker = rounds{}
	p.Legend.Top, p.Legend.Left = true, false
	sans13(&p.Legend.TextStyle.Font)
	p.Legend.TextStyle.Color = lightInk
	p.Legend.Padding = vg.Points(3)
	return p
}

func grid() *plotter.Grid {
	g := plotter.NewGrid()
	g.Vertical.Color, g.Horizontal.Color = nil, lightRule
	return g
}

// render draws p on 1,000 x 800 px with a margin.
func render(p *plot.Plot) ([]byte, error) {
	c := vgimg.NewWith(vgimg.UseWH(vg.Points(500), vg.Points(400)), vgimg.UseDPI(144),
		vgimg.UseBackgroundColor(lightPaper))
	p.Draw(draw.Crop(draw.New(c), vg.Points(10), -vg.Points(14), vg.Points(10), -vg.Points(10)))
	var out bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(&out); err != nil {
		return nil, chartErr(p.Title.Text, err)
	}
	return out.Bytes(), nil
}

func chartErr(title string, err error) error { return fmt.Errorf("chart %q: %w", title, err) }
