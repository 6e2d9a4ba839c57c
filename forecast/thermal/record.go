package thermal

import (
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// record is a Days frame prepared for the models: water in degC floored at 0.
type record struct {
	ensemble.Donor
	n int
}

// newRecord prepares the training part of d.
func newRecord(d coldseam.Days, tr ensemble.Training) *record {
	d = tr.Mask(d)
	return &record{Donor: ensemble.NewDonor(d, floor0(d.WaterC, d.Len())), n: d.Len()}
}

// floor0 copies x to length n with negative values at 0: a sensor reads
// slightly below zero under ice, the models know no supercooling.
func floor0(x []float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = coldseam.At(x, i)
		if out[i] < 0 {
			out[i] = 0
		}
	}
	return out
}

// frozen reports whether the river is under ice at i: five days at or below
// 0.2 degC (supercooling stays within about 0.2 [from memory]).
func frozen(x []float64, i int) bool {
	for j := i; j > i-5; j-- {
		if v := coldseam.At(x, j); !(v <= .2) {
			return false
		}
	}
	return true
}

// clampC keeps a modelled temperature within what rivers show.
func clampC(v float64) float64 { return math.Min(math.Max(v, 0), 60) }

// steps are the reading steps of water thermometers, degC, coarsest first.
var steps = [...]float64{.5, .2, .1, .05, .02, .01}

// stepShare is the share of values on the step that makes it the record's own.
const stepShare = .98

// step is the coarsest reading step that the record keeps to, 0 for none. Under
// ice all spread is below it: a forecast finer than the thermometer would miss
// 0.00 by 0.003 and be called wrong.
func step(obs []float64) float64 {
	for _, s := range steps {
		on, n := 0, 0
		for _, v := range obs {
			if math.IsNaN(v) {
				continue
			}
			n++
			if math.Abs(v/s-math.Round(v/s)) < 1e-6 {
				on++
			}
		}
		if n > 0 && float64(on) >= stepShare*float64(n) {
			return s
		}
	}
	return 0
}

// roundTo rounds all members to the reading step.
func roundTo(members [][]float64, s float64) {
	if s <= 0 {
		return
	}
	for _, p := range members {
		for h, v := range p {
			p[h] = math.Round(v/s) * s
		}
	}
}
