package chart

import (
	"fmt"
	"math"
	"time"

	"example.org/coldseam"
)

// xy is a point of a plot: X is the share of the width from the left, Y is
// pixels from the top.
type xy struct{ X, Y float64 }

// mark is a labelled value of the vertical axis.
type mark struct {
	Y     float64
	Label string
	Bold  bool
}

// dayMark is one civil day of the horizontal axis.
type dayMark struct {
	Midnight float64 // its beginning; outside 0-1 when it began before the chart
	Noon     float64
	Short    string // Sat
	Date     string // 10
	Today    bool
	Past     bool // before today
	Odd      bool // left out where there is little room
}

// fan is the geometry of one chart.
type fan struct {
	Temp    bool
	Title   string
	Unit    string
	Desc    string
	H       float64
	Windows [][2]float64
	Grid    []mark // temperature: the band lines
	Plain   []mark // numbers without a line, where the band lines give no scale
	Words   []mark // band words
	P80     []xy   // closed outline
	P50     []xy
	Median  []xy
	Obs     [][]xy
	Limit   *mark
	Place   place // where the words of the limit stand
	Now     float64
	NowText string
	Dots    []xy
	Days    []dayMark
}

// span is the time and the height that a chart covers.
type span struct {
	before, after time.Duration
	h             float64
	words         float64 // height of a line of text, px
	windows       bool
}

// pad is the share of the range left free above and below [proposal].
const pad = .12

// minSpanF keeps the noise of a steady river from looking like weather, in
// degF [proposal].
const minSpanF = 6

// minSpanFlow is the smallest height of the flow axis as a share of its middle
// value [proposal].
const minSpanFlow = .2

// limitRoom is the share of the height kept free above the limit line.
const limitRoom = .25

// joinGap is the longest silence over which the fan is drawn on from the last
// reading; a fan of longer steps is drawn on over one of them.
const joinGap = 6 * time.Hour

// frame maps instants and values to the plot.
type frame struct {
	from, to time.Time
	lo, hi   float64
	h        float64
}

func (f frame) x(t time.Time) float64 { return float64(t.Sub(f.from)) / float64(f.to.Sub(f.from)) }
func (f frame) y(v float64) float64   { return (f.hi - v) / (f.hi - f.lo) * f.h }

// step is one forecast step in display units.
type step struct {
	at time.Time
	q  [5]float64
}

// newFan computes the chart of the brief's flow or temperature. It returns
// ErrNotFound when there is neither a reading nor a forecast in the span.
func newFan(b coldseam.Brief, temp, metric bool, s span) (fan, error) {
	loc, err := time.LoadLocation(b.Zone)
	if err != nil {
		return fan{}, fmt.Errorf("chart %s: zone %q: %w", b.Reach, b.Zone, coldseam.ErrInvalid)
	}

	c := b.Chart
	fr := frame{from: b.Issued.Add(-s.before), to: b.Issued.Add(s.after), h: s.h}
	conv := flowUnit(metric)
	obs, raw := c.FlowObs, c.FlowFan
	if temp {
		conv, obs, raw = tempUnit(metric), c.TempObs, c.TempFan
	}
	if len(raw) > 0 && len(raw) != len(c.Valid) {
		return fan{}, fmt.Errorf("chart %s: %d forecast steps, %d times: %w", b.Reach, len(raw), len(c.Valid),
			coldseam.ErrInvalid)
	}

	strokes := cutObs(obs, fr, b.Issued, conv.f)
	steps := cutSteps(c.Valid, raw, fr, conv.f)
	steps = joinLast(steps, strokes)
	if len(strokes) == 0 && len(steps) == 0 {
		return fan{}, fmt.Errorf("chart %s: nothing to draw: %w", b.Reach, coldseam.ErrNotFound)
	}
	limit := conv.f(c.FlowLimitM3S)
	if temp || c.FlowLimitM3S <= 0 || !drawable(c.FlowLimitM3S) {
		limit = math.NaN()
	}

	fr.lo, fr.hi = scale(strokes, steps, limit, temp, metric)
	out := fan{
		Temp:    temp,
		Title:   conv.title,
		Unit:    conv.unit,
		H:       s.h,
		Now:     fr.x(b.Issued),
		NowText: "now " + clock(b.Issued.In(loc)),
	}
	for _, st := range strokes {
		var line []xy
		for _, p := range st {
			line = append(line, xy{fr.x(p.At), fr.y(p.V)})
		}
		out.Obs = append(out.Obs, line)
	}

	out.P80, out.P50, out.Median = band(fr, steps, 0, 4), band(fr, steps, 1, 3), median(fr, steps)
	if s.windows {
		for _, w := range c.Windows {
			if x0, x1 := max(fr.x(w[0]), 0), min(fr.x(w[1]), 1); x0 < x1 {
				out.Windows = append(out.Windows, [2]float64{x0, x1})
			}
		}
		if temp {
			out.Dots = dots(b, fr, steps, conv, loc)
		}
	}

	if temp {
		out.Grid, out.Words = bandLines(b, fr, metric, b.Run.Stage != "")
		out.Plain = plainMarks(fr, out.Grid)
	} else {
		out.Grid = ticks(fr)
	}

	if !math.IsNaN(limit) && limit <= fr.hi {
		out.Limit = &mark{Y: fr.y(limit), Label: "club limit " + number(threeFigures(limit)), Bold: true}
	}
	if out.Limit != nil {
		out.Place = out.limitPlace(s.words)
	}
	out.Days = dayMarks(fr, b.Day, loc)
	out.Desc = describe(b, conv, strokes, steps, limit, loc)
	return out, nil
}

// cutObs returns the measured strokes inside the frame. A gap stays a gap.
func cutObs(obs []coldseam.Point, fr frame, issued time.Time, f func(float64) float64) [][]coldseam.Point {
	var out [][]coldseam.Point
	fresh := true
	for _, p := range obs {
		if p.At.Before(fr.from) || p.At.After(issued) || !drawable(p.V) {
			fresh = fresh || !drawable(p.V)
			continue
		}
		if fresh || p.Gap || len(out) == 0 {
			out = append(out, nil)
		}
		fresh = false
		out[len(out)-1] = append(out[len(out)-1], coldseam.Point{At: p.At, V: f(p.V)})
	}
	return out
}

// cutSteps returns the finite forecast steps up to the frame's end, the last
// one interpolated onto it.
func cutSteps(valid []time.Time, raw [][5]float64, fr frame, f func(float64) float64) []step {
	var out []step
	for i := range raw {
		s := step{at: valid[i]}
		ok := true
		for k, v := range raw[i] {
			s.q[k] = f(v)
			ok = ok && drawable(v)
		}

		if n := len(out); !ok || s.at.Before(fr.from) || n > 0 && !s.at.After(out[n-1].at) {
			continue // times that do not advance have no place on an axis
		}
		if s.at.After(fr.to) {
			if n := len(out); n > 0 && out[n-1].at.Before(fr.to) {
				out = append(out, between(out[n-1], s, fr.to))
			}
			break
		}

		out = append(out, s)
	}

	return out
}

func between(a, b step, at time.Time) step {
	w := float64(at.Sub(a.at)) / float64(b.at.Sub(a.at))
	out := step{at: at}
	for k := range out.q {
		out.q[k] = a.q[k] + w*(b.q[k]-a.q[k])
	}
	return out
}

// joinLast begins the fan at the last reading when that is recent.
func joinLast(steps []step, strokes [][]coldseam.Point) []step {
	if len(steps) == 0 || len(strokes) == 0 {
		return steps
	}
	last := strokes[len(strokes)-1]
	p := last[len(last)-1]
	longest := joinGap
	if len(steps) > 1 {
		longest = max(longest, steps[1].at.Sub(steps[0].at))
	}
	if gap := steps[0].at.Sub(p.At); gap <= 0 || gap > longest {
		return steps
	}
	return append([]step{{at: p.At, q: [5]float64{p.V, p.V, p.V, p.V, p.V}}}, steps...)
}

// scale is the value range: all of p10-p90 and the measured, padded; the flow
// is never cut at the top, and a limit line is in the picture when it lies
// within reach of it.
func scale(strokes [][]coldseam.Point, steps []step, limit float64, temp, metric bool) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, s := range strokes {
		for _, p := range s {
			lo, hi = min(lo, p.V), max(hi, p.V)
		}
	}

	for _, s := range steps {
		lo, hi = min(lo, s.q[0]), max(hi, s.q[4])
	}
	least := minSpanFlow * math.Abs(hi+lo) / 2
	if temp {
		least = minSpanF
		if metric {
			least /= 1.8
		}
	}

	shown := false
	if !math.IsNaN(limit) && limit <= hi+(hi-lo)+.5*math.Abs(hi) {
		shown, hi, lo = true, max(hi, limit), min(lo, limit)
	}
	least = max(least, 1e-6)
	if d := least - (hi - lo); d > 0 {
		lo, hi = lo-d/2, hi+d/2
	}
	p := pad * (hi - lo)

	floor := lo
	lo, hi = lo-p, hi+p
	if shown { // the words of the line stand above it
		hi = max(hi, limit+limitRoom*(hi-lo))
	}
	if !temp && floor >= 0 {
		lo = max(lo, 0)
	}
	return lo, hi
}

func band(fr frame, steps []step, a, b int) []xy {
	var out []xy
	for _, s := range steps {
		out = append(out, xy{fr.x(s.at), fr.y(s.q[b])})
	}
	for i := len(steps) - 1; i >= 0; i-- {
		out = append(out, xy{fr.x(steps[i].at), fr.y(steps[i].q[a])})
	}
	return out
}

func median(fr frame, steps []step) []xy {
	var out []xy
	for _, s := range steps {
		out = append(out, xy{fr.x(s.at), fr.y(s.q[2])})
	}
	return out
}

// dots are the middle forecasts in the windows, the very values of the band
// calendar: the window's own where the brief has them, else read off the fan.
func dots(b coldseam.Brief, fr frame, steps []step, conv unit, loc *time.Location) []xy {
	var out []xy
	for _, w := range b.Chart.Windows {
		mid := w[0].Add(w[1].Sub(w[0]) / 2)
		x := fr.x(mid)
		if x < 0 || x > 1 {
			continue
		}
		if c, ok := windowTemp(b, coldseam.DateOf(w[0].In(loc))); ok {
			if y := fr.y(conv.f(c)); y >= 0 && y <= fr.h {
				out = append(out, xy{x, y})
			}
			continue
		}

		for i := 1; i < len(steps); i++ {
			if !mid.Before(steps[i-1].at) && !mid.After(steps[i].at) {
				out = append(out, xy{x, fr.y(between(steps[i-1], steps[i], mid).q[2])})
				break
			}
		}
	}

	return out
}

// windowTemp is the median water temperature in the brief's window of a day.
func windowTemp(b coldseam.Brief, d coldseam.Date) (float64, bool) {
	if w, ok := b.Best(); ok && d == b.Day {
		return w.WaterC[1], drawable(w.WaterC[1])
	}
	for _, n := range b.Next {
		if n.Day == d && n.WaterC != [3]float64{} {
			return n.WaterC[1], drawable(n.WaterC[1])
		}
	}
	return 0, false
}

// place is where the words of the limit line stand.
type place struct{ Left, Below, Title bool }

// limitWidth is the share of the plot's width that the words of the limit take
// on a phone [proposal].
const limitWidth = .55

// limitPlace looks for a corner of the limit line where its words lie on no
// forecast and no reading; without one they stand in the title's row.
func (f fan) limitPlace(h float64) place {
	for _, p := range []place{{}, {Left: true}, {Below: true}, {Left: true, Below: true}} {
		x0, x1 := 1-limitWidth, 1.
		if p.Left {
			x0, x1 = 0, limitWidth
		}
		y0, y1 := f.Limit.Y-h-5, f.Limit.Y
		if p.Below {
			y0, y1 = f.Limit.Y, f.Limit.Y+h+5
		}
		if y0 >= 0 && y1 <= f.H && f.clear(x0, x1, y0, y1) {
			return p
		}
	}
	return place{Title: true}
}

// clear reports whether nothing is drawn in a box.
func (f fan) clear(x0, x1, y0, y1 float64) bool {
	n := len(f.P80) / 2
	for i := range n {
		if p := f.P80[i]; p.X >= x0 && p.X <= x1 && p.Y < y1 && f.P80[2*n-1-i].Y > y0 {
			return false
		}
	}
	for _, line := range f.Obs {
		for _, p := range line {
			if p.X >= x0 && p.X <= x1 && p.Y > y0 && p.Y < y1 {
				return false
			}
		}
	}
	return true
}

// mostDrawn is beyond every river in m3/s and every thermometer: what is larger
// is an error that must not flatten the rest [proposal].
const mostDrawn = 1e7

func drawable(v float64) bool { return finite(v) && math.Abs(v) < mostDrawn }

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
