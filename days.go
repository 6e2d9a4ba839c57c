package coldseam

import "math"

// Days is a gap-aware frame of daily means on consecutive civil days, the form
// in which the daily models read a river. NaN marks a missing day; a nil slice
// a quantity that is not measured at all. Units: m3/s and degC.
type Days struct {
	First    Date
	FlowM3S  []float64
	WaterC   []float64
	AirC     []float64
	FlowSoft []bool // flow estimated or under ice: not to be fitted on
	// IceMark: the agency marks ice. WaterDoubt: a water temperature of the day
	// is flagged, so that its mean may close a reach for ice but never open one.
	IceMark    []bool
	WaterDoubt []bool
	Lat        float64
}

// Len is the number of days.
func (d Days) Len() int { return max(len(d.FlowM3S), len(d.WaterC), len(d.AirC)) }

// Day is the civil day of index i.
func (d Days) Day(i int) Date { return d.First.Add(i) }

// Index is the index of day t, which may lie outside the frame.
func (d Days) Index(t Date) int { return t.Sub(d.First) }

// At returns x[i], NaN outside or when x is nil.
func At(x []float64, i int) float64 {
	if i < 0 || i >= len(x) {
		return math.NaN()
	}
	return x[i]
}

// Cut returns the frame up to and including day t: the view a forecast issued
// after t may have. It shares memory.
func (d Days) Cut(t Date) Days {
	n := max(d.Index(t)+1, 0)
	if d.FlowM3S != nil {
		d.FlowM3S = d.FlowM3S[:min(n, len(d.FlowM3S))]
	}
	if d.WaterC != nil {
		d.WaterC = d.WaterC[:min(n, len(d.WaterC))]
	}
	if d.AirC != nil {
		d.AirC = d.AirC[:min(n, len(d.AirC))]
	}
	for _, marks := range []*[]bool{&d.FlowSoft, &d.IceMark, &d.WaterDoubt} {
		if *marks != nil {
			*marks = (*marks)[:min(n, len(*marks))]
		}
	}
	return d
}
