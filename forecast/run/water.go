package run

import (
	"fmt"
	"math"

	"example.org/coldseam"
)

// MaxGap is the longest run of missing days that is drawn straight from its
// neighbours [proposal].
const MaxGap = 5

// season is one spring of daily values from 1 January.
type season struct {
	first coldseam.Date // 1 January
	t, q  []float64
	notes []string
}

// spring cuts 1 January to the day before today out of days and fills its
// water temperature: gaps of up to MaxGap days from the neighbours, longer
// ones from model (same index as days, may be nil). A winter whose first
// reading is at or below tb counts as cold until then, as below tb nothing
// ripens. Anything else is missing, and the run clock refuses to guess.
func spring(days coldseam.Days, model []float64, today coldseam.Date, tb float64) (season, error) {
	s := season{first: coldseam.Date{Year: today.Year, Month: 1, Day: 1}}
	n := today.Sub(s.first)
	off := days.Index(s.first)
	s.t, s.q = make([]float64, n), make([]float64, n)
	filled := 0
	for i := range n {
		s.t[i], s.q[i] = coldseam.At(days.WaterC, off+i), coldseam.At(days.FlowM3S, off+i)
	}
	short := interpolate(s.t, MaxGap)
	for i := range n {
		if math.IsNaN(s.t[i]) {
			if v := coldseam.At(model, off+i); !math.IsNaN(v) {
				s.t[i], filled = v, filled+1
			}
		}
	}
	if short > 0 {
		s.notes = append(s.notes, fmt.Sprintf("water temperature of %d days drawn between neighbours", short))
	}
	if filled > 0 {
		s.notes = append(s.notes, fmt.Sprintf("water temperature of %d days from the model", filled))
	}
	if err := s.winter(tb); err != nil {
		return season{}, err
	}
	return s, nil
}

// winter fills the days before the first reading, if that reading shows that
// the water was still cold, and refuses any other gap.
func (s *season) winter(tb float64) error {
	lead := 0
	for lead < len(s.t) && math.IsNaN(s.t[lead]) {
		lead++
	}
	if lead == len(s.t) && lead > 0 {
		return fmt.Errorf("run clock: no water temperature since %s: %w", s.first, coldseam.ErrUnavailable)
	}
	if lead > 0 && s.t[lead] <= tb {
		for i := range lead {
			s.t[i] = math.Min(s.t[lead], 0.5)
		}
		s.notes = append(s.notes, fmt.Sprintf("water before %s not measured, taken as winter water", s.first.Add(lead)))
	}
	for i, t := range s.t {
		if math.IsNaN(t) {
			j := i
			for j < len(s.t) && math.IsNaN(s.t[j]) {
				j++
			}
			return fmt.Errorf("run clock: water temperature missing %s to %s (%d days): %w",
				s.first.Add(i), s.first.Add(j-1), j-i, coldseam.ErrUnavailable)
		}
	}
	return nil
}

// interpolate fills inner gaps of up to most days linearly, and one at the end
// by its last value if it is no longer than that; it returns how many days it
// filled.
func interpolate(x []float64, most int) int {
	n, last := 0, -1
	for i := 0; i <= len(x); i++ {
		if i < len(x) && math.IsNaN(x[i]) {
			continue
		}
		gap := i - last - 1
		if last >= 0 && gap > 0 && gap <= most {
			for k := last + 1; k < i; k++ {
				x[k] = x[last]
				if i < len(x) {
					x[k] += (x[i] - x[last]) * float64(k-last) / float64(i-last)
				}
				n++
			}
		}
		last = i
	}
	return n
}
