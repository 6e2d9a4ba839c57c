package chart

import (
	"image"
	"image/color"
)

// The light paper of the pages (look tokens), which the mail's picture always uses:
// on a dark ground it is a card, on a light one part of the page.
var (
	paper  = rgb(0xF4F3EE)
	ink    = rgb(0x17222A)
	ink2   = rgb(0x4B5860)
	rule   = rgb(0xD2D1C8)
	water  = rgb(0x0C566A)
	water2 = rgb(0x86B7C4)
	water1 = rgb(0xC3DCE2)
	tail   = rgb(0x94400F)
	tail2  = rgb(0xD79F79)
	tail1  = rgb(0xF0D6C2)
	win    = rgb(0xE3E4DC)
)

func rgb(v uint32) color.RGBA {
	return color.RGBA{uint8(v >> 16), uint8(v >> 8), uint8(v), 255}
}

func blend(a, b color.RGBA, w float64) color.RGBA {
	m := func(x, y uint8) uint8 { return uint8(float64(x)*w + float64(y)*(1-w) + .5) }
	return color.RGBA{m(a.R, b.R), m(a.G, b.G), m(a.B, b.B), 255}
}

// tokens is the number of plain colours at the head of the palette.
const tokens = 11

// mailPalette is fixed, so that the same brief gives the same bytes: the
// tokens and the half tones that smooth text and lines need. Sixteen colours
// are half a byte a pixel and a fifth less file than 23; at two pixels of the
// file to one of the phone no eye misses the others, and the outlines of the
// fan do without any.
func mailPalette() color.Palette {
	cols := []color.RGBA{
		paper, ink, ink2, rule, water, water2, water1, tail, tail2, tail1, win,
		blend(ink, paper, .45), blend(ink2, paper, .25), blend(ink2, paper, .6), blend(water, water2, .5),
		blend(tail, tail2, .5),
	}
	out := make(color.Palette, len(cols))
	for i, c := range cols {
		out[i] = c
	}
	return out
}

// indexed maps every pixel to the nearest colour of the palette.
func indexed(img *image.RGBA, p color.Palette) *image.Paletted {
	out := image.NewPaletted(img.Bounds(), p)
	seen := map[[3]uint8]uint8{}
	for i := range out.Pix {
		k := [3]uint8{img.Pix[4*i], img.Pix[4*i+1], img.Pix[4*i+2]}
		v, ok := seen[k]
		if !ok {
			v = uint8(p.Index(color.RGBA{k[0], k[1], k[2], 255}))
			seen[k] = v
		}
		out.Pix[i] = v
	}
	return out
}
