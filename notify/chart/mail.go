package chart

import (
	"bytes"
	"fmt"
	"image/png"
	"strings"
	"time"

	"example.org/coldseam"
)

// The mail's picture: 656 px wide, shown at 328; text is 24 px so that it
// reads as 12 on the phone.
const (
	MailWidth      = 656 // px of the file; show it at half
	mailText       = 24
	mailLeft       = 88.
	mailRight      = 84.
	mailFlowHeight = 168.
	mailTempHeight = 224.
)

// MailPNG draws the mail's picture of the brief: flow and water temperature,
// one day measured and four forecast, on light paper, 656 px wide, at most
// 20 KB. A STOP shows the flow alone, without windows. It returns ErrNotFound
// for NO CALL and when there is nothing to draw.
func MailPNG(b coldseam.Brief, units string) ([]byte, error) {
	if b.Verdict == coldseam.NoCall {
		return nil, fmt.Errorf("chart %s: no picture for NO CALL: %w", b.Reach, coldseam.ErrNotFound)
	}
	s := span{before: 24 * time.Hour, after: 4 * 24 * time.Hour, words: 26, windows: b.Verdict.ShowsOdds()}
	var fans []fan
	var last error

	for _, temp := range []bool{false, true} {
		s.h = mailFlowHeight
		if temp {
			s.h = mailTempHeight
		}
		if temp && b.Verdict == coldseam.Stop {
			break
		}
		f, err := newFan(b, temp, units == "metric", s)
		if err != nil {
			last = err
			continue
		}

		fans = append(fans, f)
	}

	if len(fans) == 0 {
		return nil, last
	}
	return mailPicture(fans)
}

func mailPicture(fans []fan) ([]byte, error) {
	face, err := newFaces(mailText)
	if err != nil {
		return nil, fmt.Errorf("chart font: %w", err)
	}

	bold, err := newFaces(26)
	if err != nil {
		return nil, fmt.Errorf("chart font: %w", err)
	}
	h := 50.
	for _, f := range fans {
		h += 58 + f.H + 4
	}
	c := newCanvas(MailWidth, int(h), paper)

	y := 0.
	for _, f := range fans {
		title := f.Title + ", " + f.Unit
		c.text(bold.bold, ink, 24, y+38, 0, title)
		p := panel{c: c, f: f, face: face, x0: mailLeft, x1: MailWidth - mailRight, y0: y + 58}
		if len(fans) == 1 {
			p.x1 = MailWidth - 24
		}
		p.draw()
		y += 58 + f.H + 4
	}

	last := panel{c: c, f: fans[len(fans)-1], face: face, x0: mailLeft, x1: MailWidth - mailRight, y0: y}
	if len(fans) == 1 {
		last.x1 = MailWidth - 24
	}
	last.days(y + 28)
	return encode(c)
}

// mailMost is the largest file that goes into a mail, in bytes.
const mailMost = 20 << 10

// encode writes the indexed file. A picture that is too restless to fit, such
// as an hourly fan of a hydropower river, is written with fewer half tones.
func encode(c *canvas) ([]byte, error) {
	full := mailPalette()
	var out bytes.Buffer
	for _, colours := range []int{len(full), tokens} {
		out.Reset()
		enc := png.Encoder{CompressionLevel: png.BestCompression}
		if err := enc.Encode(&out, indexed(c.img, full[:colours])); err != nil {
			return nil, fmt.Errorf("chart png: %w", err)
		}
		if out.Len() <= mailMost {
			break
		}
	}
	return out.Bytes(), nil
}

// panel is one chart inside a picture.
type panel struct {
	c      *canvas
	f      fan
	face   faces
	x0, x1 float64
	y0     float64
}

func (p panel) at(q xy) xy { return xy{p.x0 + q.X*(p.x1-p.x0), p.y0 + q.Y} }

func (p panel) line(pts []xy) []xy {
	out := make([]xy, len(pts))
	for i, q := range pts {
		out[i] = p.at(q)
	}
	return out
}

func (p panel) draw() {
	c, f := p.c, p.f
	f80, f50, med := water1, water2, water
	if f.Temp {
		f80, f50, med = tail1, tail2, tail
	}
	bottom := p.y0 + f.H
	for _, w := range f.Windows {
		c.rect(win, p.at(xy{w[0], 0}).X, p.y0, p.at(xy{w[1], 0}).X, bottom)
	}

	if !f.Temp {
		for _, g := range f.Grid {
			c.rect(rule, p.x0, p.y0+g.Y-1, p.x1, p.y0+g.Y+1)
		}
	}

	c.fill(f80, p.line(f.P80))
	c.fill(f50, p.line(f.P50))
	for _, g := range f.Grid {
		if f.Temp {
			c.dotted(ink2, p.x0, p.x1, p.y0+g.Y, 3, 7, 2)
		}
		c.text(p.face.regular, ink2, p.x0-12, p.y0+g.Y+8, 1, g.Label)
	}

	for _, g := range f.Plain {
		c.text(p.face.regular, ink2, p.x0-12, p.y0+g.Y+8, 1, g.Label)
	}
	c.stroke(med, 4, p.line(f.Median))
	for _, o := range f.Obs {
		c.stroke(ink, 4.4, p.line(o))
	}

	if f.Limit != nil {
		p.limit()
	}
	now := p.at(xy{f.Now, 0}).X
	c.rect(ink, now-1.5, p.y0, now+1.5, bottom)
	for _, d := range f.Dots {
		c.dot(ink, paper, p.at(d), 7.5, 3)
	}

	for _, w := range f.Words {
		face, col := p.face.regular, ink2
		if w.Bold {
			face, col = p.face.bold, ink
		}
		y := p.y0 + w.Y + 8
		parts := mailWord(w.Label)
		for i, s := range parts {
			c.text(face, col, p.x1+10, y+float64(i)*26-float64(len(parts)-1)*13, 0, s)
		}
	}
}

// mailWord fits a band word into the right gutter: at its hyphen in two lines,
// else cut short.
func mailWord(s string) []string {
	const most = 6
	if len([]rune(s)) <= most {
		return []string{s}
	}
	if i := strings.IndexByte(s, '-'); i > 0 && i < most && len([]rune(s[i+1:])) <= most {
		return []string{s[:i+1], s[i+1:]}
	}
	return []string{string([]rune(s)[:most-1]) + "."}
}

func (p panel) limit() {
	y := p.y0 + p.f.Limit.Y
	p.c.rect(ink, p.x0, y-2.5, p.x1, y+2.5)
	x, anchor, base, words := p.x1, 1., y-10, p.f.Limit.Label
	switch {
	case p.f.Place.Title:
		base, words = p.y0-20, "— "+words
	case p.f.Place.Below:
		base = y + 28
	}
	if p.f.Place.Left {
		x, anchor = p.x0+6, 0
	}
	p.c.text(p.face.bold, ink, x, base, anchor, words)
}

// days writes the day names: "measured" under the past, then each day that
// has room under its noon.
func (p panel) days(base float64) {
	now := p.at(xy{p.f.Now, 0}).X
	right := now - 8
	if x0, x1 := now-8-width(p.face.regular, "measured"), now-8; x0 > 4 {
		p.c.text(p.face.regular, ink2, x1, base, 1, "measured")
		right = x1
	}

	for _, d := range p.f.Days {
		if d.Past || d.Noon > 1 {
			continue
		}
		face, col := p.face.regular, ink2
		if d.Today {
			face, col = p.face.bold, ink
		}
		x := p.at(xy{d.Noon, 0}).X
		w := width(face, d.Short)
		if x-w/2 < right+14 {
			x = right + 14 + w/2
		}
		_, right = p.c.text(face, col, x, base, .5, d.Short)
	}
}
