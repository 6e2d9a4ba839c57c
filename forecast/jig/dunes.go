package jig

import (
	"fmt"
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
	State     string  // still, ripples, dunes, washed out
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
		b.State = "washed out"
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

// FormRoughnessM is the roughness height of the bed with its dunes, for the
// log law of a Station [from memory: van Rijn 1984].
func (b Bed) FormRoughnessM(d50 float64) float64 {
	if d50 <= 0 {
		d50 = DefaultGrainM
	}
	ks := 3 * d90OverD50 * d50
	if b.VanRijnM > 0 {
		ks += 1.1 * b.VanRijnM * (1 - math.Exp(-25*b.VanRijnM/b.LengthM))
	}
	return ks
}

// words says what to expect, in feet and in metres, never finer than the
// methods agree.
func (b Bed) words() (us, si string) {
	switch b.State {
	case "still":
		s := "sand not moving at this flow; old dunes may remain"
		return s, s
	case "washed out":
		s := "sand washed flat at this flow"
		return s, s
	case "ripples":
		s := "ripples, low dunes at most"
		return s, s
	}
	lo, hi := b.VanRijnM, b.YalinM
	if hi == 0 {
		hi = lo
	}
	lo, hi = min(lo, hi), max(lo, hi)
	return fmt.Sprintf("dunes likely, %s high, about %s ft apart", span(coldseam.Feet(lo), coldseam.Feet(hi), 1, "ft"), tens(coldseam.Feet(b.LengthM))),
		fmt.Sprintf("dunes likely, %s high, about %s m apart", span(lo, hi, .5, "m"), fives(b.LengthM))
}

// span rounds outward to steps: "1-2 ft", "under 1 ft".
func span(lo, hi, step float64, unit string) string {
	a, b := math.Floor(lo/step)*step, math.Ceil(hi/step)*step
	if b <= step {
		return fmt.Sprintf("under %g %s", step, unit)
	}
	if a <= 0 {
		return fmt.Sprintf("up to %g %s", b, unit)
	}
	return fmt.Sprintf("%g-%g %s", a, b, unit)
}

func tens(x float64) string  { return fmt.Sprintf("%.0f", math.Round(x/10)*10) }
func fives(x float64) string { return fmt.Sprintf("%.0f", math.Round(x/5)*5) }
