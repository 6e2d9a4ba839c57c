package jig

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"example.org/coldseam"
)

// Body is a soft body or hair on the jig. All values are [assumed]: weigh and
// float-test three or four of the club's own.
type Body struct {
	Name      string
	LengthM   float64
	DiameterM float64
	VolumeM3  float64
	RhoKGM3   float64
	CdForm    float64 // form drag while held in the current
	FallM2    float64 // area and drag coefficient while it sinks
	FallCd    float64
}

var bodies = [...]Body{
	{"slim", .075, .010, 3.5e-6, 1040, .45, 2.0e-4, 1.0},
	{"flutter", .080, .010, 3.8e-6, 1040, .55, 2.4e-4, 1.0},
	{"paddle", .085, .012, 5.5e-6, 1040, .65, 3.0e-4, 1.1},
	{"bulky", .100, .022, 15e-6, 960, .75, 6.0e-4, 1.1},
	{"bucktail", .070, .014, .6e-6, 1300, .90, 2.5e-4, 1.0},
}

// BodyNames lists the bodies, in the order they are printed.
func BodyNames() []string {
	out := make([]string, len(bodies))
	for i, b := range bodies {
		out[i] = b.Name
	}
	return out
}

// ParseBody finds a body by name; "" is slim. ErrInvalid names what is known.
func ParseBody(name string) (Body, error) {
	if name == "" {
		name = "slim"
	}
	for _, b := range bodies {
		if b.Name == name {
			return b, nil
		}
	}
	return Body{}, fmt.Errorf("body %q: want one of %s: %w", name, strings.Join(BodyNames(), ", "), coldseam.ErrInvalid)
}

// Line is the main line.
type Line struct {
	Name      string // braid-0.14
	Nylon     bool
	DiameterM float64
	RhoKGM3   float64 // [from memory]
}

// Line diameters that make sense for this fishing; the drag law is not used
// outside them.
const (
	minLineMM = 0.05
	maxLineMM = 0.60
)

// DefaultLine is thin 8 lb braid.
const DefaultLine = "braid-0.14"

// ParseLine reads "braid-<mm>" or "nylon-<mm>", diameters 0.05-0.60 mm; "" is
// DefaultLine.
func ParseLine(s string) (Line, error) {
	if s == "" {
		s = DefaultLine
	}
	kind, num, ok := strings.Cut(s, "-")
	mm, err := strconv.ParseFloat(num, 64)
	switch {
	case !ok || err != nil || kind != "braid" && kind != "nylon":
		return Line{}, fmt.Errorf("line %q: want braid-<mm> or nylon-<mm>, such as braid-0.14: %w", s,
			coldseam.ErrInvalid)
	case !(mm >= minLineMM && mm <= maxLineMM):
		return Line{}, fmt.Errorf("line %q: diameter %v mm, want %.2f-%.2f mm: %w", s, mm, minLineMM, maxLineMM,
			coldseam.ErrInvalid)
	}
	l := Line{Name: s, DiameterM: mm / 1000, RhoKGM3: 970}
	if kind == "nylon" {
		l.Nylon, l.RhoKGM3 = true, 1140
	}
	return l, nil
}

// Metal is what the head is cast from.
type Metal struct {
	Name    string
	RhoKGM3 float64 // [from memory]
}

// ParseMetal finds lead or tungsten; "" is lead.
func ParseMetal(s string) (Metal, error) {
	switch s {
	case "", "lead":
		return Metal{"lead", 11340}, nil
	case "tungsten":
		return Metal{"tungsten", 17500}, nil
	}
	return Metal{}, fmt.Errorf("jig metal %q: want lead or tungsten: %w", s, coldseam.ErrInvalid)
}

// The hook: 0.6 g of steel [assumed].
const (
	hookKG       = 0.0006
	steelRhoKGM3 = 7850
)

// netWeightN is the weight in water of a head of m kg with hook and body. Zero
// or less: the pair floats.
func (r Rig) netWeightN(m float64, w Water) float64 {
	return coldseam.GravityMPS2 * (m*(1-w.RhoKGM3/r.Metal.RhoKGM3) + hookKG*(1-w.RhoKGM3/steelRhoKGM3) +
		r.Body.VolumeM3*(r.Body.RhoKGM3-w.RhoKGM3))
}

func (r Rig) headDiameterM(m float64) float64 {
	return math.Cbrt(6 * m / (math.Pi * r.Metal.RhoKGM3))
}

// heldDragN is the drag of the held jig in a stream u (signed, m/s).
func (r Rig) heldDragN(m, u float64, w Water) float64 {
	d := r.headDiameterM(m)
	head := math.Pi * d * d / 4
	face := math.Pi * r.Body.DiameterM * r.Body.DiameterM / 4
	a := sphereCd(math.Abs(u)*d/w.NuM2S)*head +
		r.Body.CdForm*max(face-head/2, .3*face) +
		plateCf(u, r.Body.LengthM, w.NuM2S)*math.Pi*r.Body.DiameterM*r.Body.LengthM
	return .5 * w.RhoKGM3 * u * math.Abs(u) * a
}
