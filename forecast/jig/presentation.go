package jig

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"

	"example.org/coldseam"
)

// Presentation is how the jig is fished. Its four numbers, with pressBottom
// and gust, are the only tuned ones of the package [assumed].
type Presentation struct {
	Name        string
	Frame       float64 // speed of boat or rod, as a share of the surface speed
	Lam         float64 // share of the local water speed that the swinging rig gives up
	ThetaMaxDeg float64 // line angle from vertical beyond which bottom is lost
	LeadM       float64 // how far it may be carried while it sinks; +Inf = no limit
	Anchored    bool    // a boat lies at anchor
	Boat        bool
}

var presentations = [...]Presentation{
	{"quartering", 0, .35, 65, 6, false, true},
	{"anchored", 0, 0, 70, 10, true, true},
	{"vertical", 0, 0, 45, 6, true, true},
	{"drift", driftFrame, 0, 40, math.Inf(1), false, true},
	{"wading", 0, .25, 65, 5, false, false},
}

const (
	pressBottom = .25 // c: share of the net weight that presses on the bottom [assumed]
	gust        = 1.1 // factor on the relative speed for surges [assumed]
	maxSinkS    = 25  // a jig that takes longer to reach bottom is not fished [proposal]
	driftFrame  = .75 // boat speed over surface speed in a controlled drift [assumed]
)

// PresentationNames lists the presentations.
func PresentationNames() []string {
	out := make([]string, len(presentations))
	for i, p := range presentations {
		out[i] = p.Name
	}
	return out
}

// ParsePresentation finds a presentation by name; "" is quartering.
func ParsePresentation(name string) (Presentation, error) {
	if name == "" {
		name = "quartering"
	}
	for _, p := range presentations {
		if p.Name == name {
			return p, nil
		}
	}
	return Presentation{}, fmt.Errorf("presentation %q: want one of %s: %w", name,
		strings.Join(PresentationNames(), ", "), coldseam.ErrInvalid)
}

// Rig is what hangs in the water and how it is fished.
type Rig struct {
	Body  Body
	Line  Line
	Metal Metal
	Pres  Presentation
}

// usable reports whether the rig can be computed: the zero value cannot.
func (r Rig) usable() bool {
	v := r.Body.LengthM*r.Body.DiameterM*r.Body.FallM2*r.Line.DiameterM*r.Line.RhoKGM3*r.Metal.RhoKGM3*r.Pres.ThetaMaxDeg*r.Pres.LeadM > 0
	return v && r.Pres.ThetaMaxDeg < 90
}

// MarshalJSON writes the four names, which say all of it.
func (r Rig) MarshalJSON() ([]byte, error) {
	return json.Marshal([4]string{r.Body.Name, r.Line.Name, r.Metal.Name, r.Pres.Name})
}

// UnmarshalJSON reads the four names as ParseRig does.
func (r *Rig) UnmarshalJSON(raw []byte) error {
	var names [4]string
	if err := json.Unmarshal(raw, &names); err != nil {
		return fmt.Errorf("rig: %w: %w", err, coldseam.ErrInvalid)
	}
	var err error
	*r, err = ParseRig(names[0], names[1], names[2], names[3])
	return err
}

// ParseRig reads the four names; empty names take the defaults slim,
// braid-0.14, lead, quartering. The error wraps ErrInvalid and names what was
// found and what is wanted.
func ParseRig(body, line, metal, presentation string) (Rig, error) {
	var r Rig
	var err error
	if r.Body, err = ParseBody(body); err != nil {
		return Rig{}, err
	}
	if r.Line, err = ParseLine(line); err != nil {
		return Rig{}, err
	}
	if r.Metal, err = ParseMetal(metal); err != nil {
		return Rig{}, err
	}
	r.Pres, err = ParsePresentation(presentation)
	if err != nil {
		return Rig{}, err
	}
	return r, nil
}
