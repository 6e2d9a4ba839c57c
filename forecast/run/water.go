package run

import (
	"fmt"
	"math"
	"slices"

	"example.org/coldseam"
)

// MaxGap is the longest run of missing days over which the last value is
// carried forward [proposal]: a line to the next value would see tomorrow.
const MaxGap = 5

// season is one spring of daily values from its first day.
type season struct {
	first coldseam.Date // see seasonStart
	t, q  []float64
	short bool // the water temperature ends before the last day asked for
	notes coldseam.Notes
}

// seasonStart is the first day of the run's year that holds a day: 1 January
// in the north, 1 July in the south.
func seasonStart(day coldseam.Date, lat float64) coldseam.Date {
	first := yearStart(day.Year, lat)
	if day.Before(first) {
		first = yearStart(day.Year-1, lat)
	}
	return first
}

func yearStart(year int, lat float64) coldseam.Date {
	if lat < 0 {
		return coldseam.Date{Year: year, Month: 7, Day: 1}
	}
	return coldseam.Date{Year: year, Month: 1, Day: 1}
}

// spring cuts the season up to the day before today out of days and fills its
// water temperature: gaps of up to MaxGap days by the value before, longer ones
// from model (same index as days, may be nil). A winter whose first reading is
// at or below tb counts as cold until then, as below tb nothing ripens. Where
// neither helps the season is short: what came before still stands.
func spring(days coldseam.Days, model []float64, today coldseam.Date, tb float64) (season, error) {
	s := season{first: seasonStart(today, days.Lat)}
	n := today.Sub(s.first)
	off := days.Index(s.first)
	s.t, s.q = make([]float64, n), make([]float64, n)
	filled := 0
	for i := range n {
		s.t[i], s.q[i] = coldseam.At(days.WaterC, off+i), coldseam.At(days.FlowM3S, off+i)
	}

	carried := carry(s.t, MaxGap, false)
	for i := range n {
		if math.IsNaN(s.t[i]) {
			if v := coldseam.At(model, off+i); !math.IsNaN(v) {
				s.t[i], filled = math.Max(v, 0), filled+1
			}
		}
	}

	if carried += carry(s.t, MaxGap, true); carried > 0 {
		s.note("water_carried", float64(carried), coldseam.Date{})
	}
	if filled > 0 {
		s.note("water_from_model", float64(filled), coldseam.Date{})
	}
	return s, s.winter(tb)
}

// note says what the water was filled with, or from which day.
func (s *season) note(code string, days float64, at coldseam.Date) {
	r := coldseam.Reason{Code: code, Values: map[string]float64{"filled_days": days}}
	if !at.IsZero() {
		r.Values, r.Names = nil, map[string]string{"day": at.String()}
	}
	s.notes = append(s.notes, r)
}

// winter fills the days before the first reading, if that reading shows that
// the water was still cold, and ends the season at any other gap. It refuses a
// season that cannot begin.
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
		s.note("water_winter", 0, s.first.Add(lead))
	} else if lead > 0 {
		return fmt.Errorf("run clock: water temperature missing %s to %s (%d days): %w",
			s.first, s.first.Add(lead-1), lead, coldseam.ErrUnavailable)
	}

	if i := slices.IndexFunc(s.t, math.IsNaN); i >= 0 {
		s.short = true
		s.note("water_ends", 0, s.first.Add(i))
		s.t, s.q = s.t[:i], s.q[:i]
	}

	return nil
}

// carry fills gaps of up to most days by the value before them and returns how
// many days it filled; head takes the first days of longer gaps too.
func carry(x []float64, most int, head bool) int {
	n := 0
	for i := 1; i < len(x); i++ {
		if !math.IsNaN(x[i]) || math.IsNaN(x[i-1]) {
			continue
		}
		end := i
		for end < len(x) && math.IsNaN(x[end]) {
			end++
		}

		if end-i > most && !head {
			continue
		}
		for k := i; k < min(end, i+most); k++ {
			x[k], n = x[i-1], n+1
		}
		i = end
	}

	return n
}
