package chart

import (
	"bytes"
	"fmt"
	"image/color"
	"image/png"
	"sort"

	"example.org/coldseam"
)

// Rig is the weight chart of one spot: the lightest trade size that holds
// bottom against flow, with the forecast of today's window below it.
type Rig struct {
	Title    string              // "Tamsen, main seam: slim, braid 0.14 mm, quartering"
	Units    string              // us, metric
	Critical []coldseam.SizeFlow // flow at which each size stops holding, any order
	Members  []float64           // today's flow in the window, m3/s; may be empty
	NowM3S   float64             // 0 = no reading
	Note     string              // a line under the chart
}

// The light paper of the pages: this picture is looked at on a desk.
var (
	lightPaper  = rgb(0xF4F3EE)
	lightInk    = rgb(0x17222A)
	lightInk2   = rgb(0x4B5860)
	lightRule   = rgb(0xD2D1C8)
	lightEdge   = rgb(0x737E84)
	lightWater  = rgb(0x0C566A)
	lightWater1 = rgb(0xC9E0E5)
	lightWater2 = rgb(0x8DBCC8)
	lightTail   = rgb(0x94400F)
	lightTail2  = rgb(0xDFAC84)
)

// rigStep is one tread of the stairs: Oz holds from one flow to the next.
type rigStep struct {
	Oz       float64
	From, To float64 // m3/s
	Beyond   bool    // To is the end of the measured range: it holds there still
}

// stairs turns critical flows into treads: between two of them the lighter
// size has let go and the heavier still holds. A heavier size that lets go
// earlier than a lighter one is no tread of its own.
func stairs(crit []coldseam.SizeFlow) []rigStep {
	s := append([]coldseam.SizeFlow(nil), crit...)
	sort.Slice(s, func(i, j int) bool { return s[i].Oz < s[j].Oz })
	var out []rigStep
	from := 0.
	for _, c := range s {
		if !finite(c.M3S) || c.M3S <= from || c.Oz <= 0 {
			continue
		}
		out = append(out, rigStep{c.Oz, from, c.M3S, c.Beyond})
		from = c.M3S
	}
	return out
}

// PNG draws the chart, 960 x 600 px. It returns ErrInvalid without a critical
// flow.
func (r Rig) PNG() ([]byte, error) {
	st := stairs(r.Critical)
	if len(st) == 0 {
		return nil, fmt.Errorf("rig chart %q: no critical flow: %w", r.Title, coldseam.ErrInvalid)
	}
	face, err := newFaces(22)
	if err != nil {
		return nil, fmt.Errorf("chart font: %w", err)
	}

	head, err := newFaces(26)
	if err != nil {
		return nil, fmt.Errorf("chart font: %w", err)
	}
	p := rigPlot{c: newCanvas(960, 600, lightPaper), face: face, x0: 110, x1: 920, y0: 80, y1: 420, strip: 470, st: st}
	p.c.text(head.bold, lightInk, 30, 44, 0, r.Title)
	p.flows(r)
	p.tread(r)
	p.members(r)

	if r.Note != "" {
		p.c.text(face.regular, lightInk2, 30, 584, 0, r.Note)
	}
	var out bytes.Buffer
	enc := png.Encoder{CompressionLevel: png.BestCompression}
	if err := enc.Encode(&out, p.c.img); err != nil {
		return nil, fmt.Errorf("chart png: %w", err)
	}
	return out.Bytes(), nil
}

type rigPlot struct {
	c              *canvas
	face           faces
	x0, x1, y0, y1 float64
	strip          float64 // base line of the forecast's strip
	st             []rigStep
	hi             float64 // largest flow shown, m3/s
}

func (p rigPlot) x(q float64) float64 { return p.x0 + min(q/p.hi, 1)*(p.x1-p.x0) }

func (p rigPlot) y(i int) float64 {
	n := float64(len(p.st))
	return p.y1 - (float64(i)+.5)/n*(p.y1-p.y0)
}

// flows chooses the range: all of today's members and the sizes up to one
// beyond what they need, so that far-off sizes do not squeeze the picture.
func (p *rigPlot) flows(r Rig) {
	need := r.NowM3S
	for _, m := range r.Members {
		if finite(m) {
			need = max(need, m)
		}
	}

	n := len(p.st)
	if need > 0 {
		for i, s := range p.st {
			if s.To >= need*1.3 {
				n = min(i+2, n)
				break
			}
		}
	}

	p.st = p.st[:n]
	p.hi = max(p.st[n-1].To, need*1.1)
	conv := flowUnit(r.Units == "metric")
	fr := frame{lo: 0, hi: conv.f(p.hi), h: 1000}
	for _, t := range ticks(fr) {
		x := p.x1 - (t.Y/1000)*(p.x1-p.x0)
		p.c.rect(lightRule, x-1, p.y0, x+1, p.strip)
		p.c.text(p.face.regular, lightInk2, x, p.strip+28, .5, t.Label)
	}

	p.c.text(p.face.regular, lightInk2, p.x1, p.strip+58, 1, "flow at the gauge, "+conv.unit)
}

func (p rigPlot) tread(r Rig) {
	var line []xy
	share := r.shares(p.st)
	for i, s := range p.st {
		y, face := p.y(i), p.face.regular
		if share[i] >= .5 { // the size of most of today's forecasts
			face = p.face.bold
		}
		p.c.text(face, lightInk, p.x0-16, y+8, 1, coldseam.OzName(s.Oz)+" oz")
		p.c.rect(lightRule, p.x0, y-1, p.x(s.From), y+1)
		line = append(line, xy{p.x(s.From), y}, xy{p.x(s.To), y})
	}

	p.c.stroke(lightTail, 5, line)
	if last := p.st[len(p.st)-1]; last.Beyond {
		p.c.text(p.face.regular, lightInk2, p.x1, p.y0-10, 1, "to the end of the measured range")
	} else if p.hi > last.To*1.02 {
		p.c.text(p.face.regular, lightInk2, p.x1, p.y0-10, 1, "beyond: heavier, or no size holds")
	}

	if r.NowM3S > 0 {
		x := p.x(r.NowM3S)
		p.c.rect(lightInk, x-1.5, p.y0, x+1.5, p.strip)
		p.c.text(p.face.bold, lightInk, x, p.y0-10, .5, "now")
	}
}

// members draws today's forecast: 8 in 10 light, half dark, the middle a line.
func (p rigPlot) members(r Rig) {
	var m []float64
	for _, v := range r.Members {
		if finite(v) {
			m = append(m, v)
		}
	}
	if len(m) == 0 {
		return
	}
	q := func(k float64) float64 { return p.x(coldseam.Quantile(m, k)) }
	bar := func(col color.RGBA, a, b float64) { p.c.rect(col, q(a), p.strip-34, max(q(b), q(a)+2), p.strip-6) }
	bar(lightWater1, .1, .9)
	bar(lightWater2, .25, .75)
	x := q(.5)
	p.c.rect(lightWater, x-2, p.strip-38, x+2, p.strip-2)
	p.c.text(p.face.regular, lightInk2, p.x0-16, p.strip-12, 1, "today")
}

// shares is the share of the members in which each tread's size is the lightest
// that holds; what remains is beyond the heaviest.
func (r Rig) shares(st []rigStep) []float64 {
	out := make([]float64, len(st))
	for i, s := range st {
		for _, m := range r.Members {
			if m > s.From && m <= s.To || s.From == 0 && m <= 0 {
				out[i] += 1 / float64(len(r.Members))
			}
		}
	}
	return out
}
