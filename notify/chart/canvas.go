package chart

import (
	"image"
	"image/color"
	"image/draw"
	"math"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
	"gonum.org/v1/plot/font/liberation"
)

// canvas is an RGB picture with the three things a chart needs: filled
// outlines, strokes with round ends, and text. Coordinates are pixels.
type canvas struct {
	img     *image.RGBA
	ras     *vector.Rasterizer
	pending [][]xy
}

func newCanvas(w, h int, ground color.RGBA) *canvas {
	c := &canvas{img: image.NewRGBA(image.Rect(0, 0, w, h)), ras: vector.NewRasterizer(1, 1)}
	draw.Draw(c.img, c.img.Bounds(), image.NewUniform(ground), image.Point{}, draw.Src)
	return c
}

// outline adds a closed outline to what the next paint fills.
func (c *canvas) outline(pts []xy) { c.pending = append(c.pending, pts) }

// paint fills the pending outlines. It rasterises their bounding box alone:
// most of them are small.
func (c *canvas) paint(col color.RGBA) {
	box := image.Rectangle{}
	for _, o := range c.pending {
		for _, p := range o {
			at := image.Pt(int(math.Floor(p.X)), int(math.Floor(p.Y)))
			box = box.Union(image.Rectangle{at, at.Add(image.Pt(1, 1))})
		}
	}

	box = box.Inset(-1).Intersect(c.img.Bounds())
	if !box.Empty() {
		c.ras.Reset(box.Dx(), box.Dy())
		for _, o := range c.pending {
			for i, p := range o {
				x, y := float32(p.X-float64(box.Min.X)), float32(p.Y-float64(box.Min.Y))
				if i == 0 {
					c.ras.MoveTo(x, y)
				} else {
					c.ras.LineTo(x, y)
				}
			}
			c.ras.ClosePath()
		}

		c.ras.Draw(c.img, box, image.NewUniform(col), image.Point{})
	}

	c.pending = c.pending[:0]
}

// fill paints the inside of a closed outline.
func (c *canvas) fill(col color.RGBA, pts []xy) {
	if len(pts) < 3 {
		return
	}
	c.outline(pts)
	c.paint(col)
}

func (c *canvas) rect(col color.RGBA, x0, y0, x1, y1 float64) {
	c.fill(col, []xy{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}})
}

// stroke draws a line of the given width. Every segment and joint is an
// outline of the same turn, so that overlaps add up instead of cancelling.
func (c *canvas) stroke(col color.RGBA, width float64, pts []xy) {
	if len(pts) == 0 {
		return
	}
	r := width / 2

	for i, p := range pts {
		c.outline(disc(p, r))
		if i == 0 {
			continue
		}
		q := pts[i-1]
		dx, dy := p.X-q.X, p.Y-q.Y
		l := math.Hypot(dx, dy)
		if l == 0 {
			continue
		}
		nx, ny := -dy/l*r, dx/l*r
		c.outline([]xy{{q.X - nx, q.Y - ny}, {p.X - nx, p.Y - ny}, {p.X + nx, p.Y + ny}, {q.X + nx, q.Y + ny}})
	}

	c.paint(col)
}

func disc(p xy, r float64) []xy {
	const n = 16
	out := make([]xy, n)
	for i := range out {
		s, k := math.Sincos(2 * math.Pi * float64(i) / n)
		out[i] = xy{p.X + r*k, p.Y + r*s}
	}
	return out
}

func (c *canvas) dot(fillc, rim color.RGBA, p xy, r, w float64) {
	c.fill(rim, disc(p, r+w))
	c.fill(fillc, disc(p, r))
}

// dotted draws a level line of short dashes.
func (c *canvas) dotted(col color.RGBA, x0, x1, y, dash, gap, width float64) {
	for x := x0; x < x1; x += dash + gap {
		r, top, bottom := min(x+dash, x1), y-width/2, y+width/2
		c.outline([]xy{{x, top}, {r, top}, {r, bottom}, {x, bottom}})
	}
	c.paint(col)
}

// faces are the two fonts of one picture. A face keeps state, so each picture
// opens its own.
type faces struct{ regular, bold font.Face }

var sans = sync.OnceValue(func() [2]*opentype.Font {
	var out [2]*opentype.Font
	for _, f := range liberation.Collection() {
		if f.Font.Variant != "Sans" || f.Font.Style != font.StyleNormal {
			continue
		}
		if f.Font.Weight == font.WeightBold {
			out[1] = f.Face
		} else {
			out[0] = f.Face
		}
	}
	return out
})

func newFaces(px float64) (faces, error) {
	var out faces
	for i, p := range []*font.Face{&out.regular, &out.bold} {
		f, err := opentype.NewFace(sans()[i], &opentype.FaceOptions{Size: px, DPI: 72, Hinting: font.HintingNone})
		if err != nil {
			return faces{}, err
		}
		*p = f
	}
	return out, nil
}

// text writes s with its base line at y; anchor 0 begins, .5 centres and 1
// ends at x. It returns the left and right edge.
func (c *canvas) text(f font.Face, col color.RGBA, x, y, anchor float64, s string) (x0, x1 float64) {
	d := font.Drawer{Dst: c.img, Src: image.NewUniform(col), Face: f}
	w := float64(d.MeasureString(s)) / 64
	x0 = x - anchor*w
	d.Dot = fixed.Point26_6{X: fixed.Int26_6(x0 * 64), Y: fixed.Int26_6(y * 64)}
	d.DrawString(s)
	return x0, x0 + w
}

// width is the advance of s in pixels.
func width(f font.Face, s string) float64 { return float64(font.MeasureString(f, s)) / 64 }
