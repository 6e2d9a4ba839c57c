package jig

import (
	"math"

	"example.org/coldseam"
)

// DefaultGrainM is the bed grain taken where the admin names none.
const DefaultGrainM = 0.4e-3

const (
	sandSG      = 2.65 // density of quartz over water
	d90OverD50  = 2.0  // [assumed]
	duneLengthH = 7.3  // dune length over depth [source: HEC-RAS 1D Sediment Transport Reference]
	washedOutT  = 25.0
	yalinWashed = 17.6
	rippleGrain = 10.0
	rippleStage = 3.0
)

// Bed is the state of a sand bed under a steady flow.
type Bed struct {
	State     string  // still, ripples, dunes, washed_out
	Transport float64 // T = tau/tau_cr - 1
	GrainD    float64 // D*
	VanRijnM  float64 // dune height by van Rijn 1984
	YalinM    float64 // by Yalin 1964
	LengthM   float64
}

// Dunes computes the bed state for depth h m, mean speed u m/s and median
// grain d50 m. Near the threshold of motion the two heights differ by 2.2
// times: never print them finer than in whole feet. Dunes lag the flow, so u
// and h belong to a mean of several days.
//
// D* and the stage are van Rijn's; critical Shields numbers [from memory].
func Dunes(h, u, d50 float64, w Water) Bed {
	if d50 <= 0 {
		d50 = DefaultGrainM
	}
	var b Bed
	b.GrainD = d50 * math.Cbrt((sandSG-1)*coldseam.GravityMPS2/(w.NuM2S*w.NuM2S))
	chezy := 18 * math.Log10(12*h/(3*d90OverD50*d50))
	tau := w.RhoKGM3 * coldseam.GravityMPS2 * u * u / (chezy * chezy)
	crit := criticalShields(b.GrainD) * (sandSG - 1) * w.RhoKGM3 * coldseam.GravityMPS2 * d50
	b.Transport = tau/crit - 1

	b.LengthM = duneLengthH * h
	t := b.Transport
	switch {
	case t <= 0:
		b.State = "still"
		return b
	case t >= washedOutT:
		b.State = "washed_out"
		return b
	}

	b.State = "dunes"
	if b.GrainD < rippleGrain && t < rippleStage {
		b.State = "ripples"
	}
	b.VanRijnM = .11 * h * math.Pow(d50/h, .3) * (1 - math.Exp(-.5*t)) * (washedOutT - t)
	if tau < yalinWashed*crit {
		b.YalinM = h / 6 * (1 - crit/tau)
	}
	return b
}

// criticalShields is the threshold of motion against D* [from memory: van Rijn
// 1984].
func criticalShields(d float64) float64 {
	switch {
	case d <= 4:
		return .24 / d
	case d <= 10:
		return .14 * math.Pow(d, -.64)
	case d <= 20:
		return .04 * math.Pow(d, -.1)
	case d <= 150:
		return .013 * math.Pow(d, .29)
	}
	return .055
}

// reason says what to expect; the two methods bound the height.
func (b Bed) reason() coldseam.Reason {
	if b.State != "dunes" {
		return because("note", "bed_"+b.State, "", nil)
	}
	lo, hi := b.VanRijnM, b.YalinM
	if hi == 0 {
		hi = lo
	}
	return because("note", "bed_dunes", "", map[string]float64{"low_m": min(lo, hi), "high_m": max(lo, hi),
		"apart_m": b.LengthM})
}
