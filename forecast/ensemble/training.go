package ensemble

import (
	"math"
	"slices"

	"example.org/coldseam"
)

// Training says which days of a record a model may learn from: those within
// First..Last (zero = open) whose calendar year is not in Drop.
type Training struct {
	First coldseam.Date `json:"first"`
	Last  coldseam.Date `json:"last"`
	Drop  []int         `json:"drop,omitempty"`
}

// Allows reports whether day d may be learnt from.
func (t Training) Allows(d coldseam.Date) bool {
	if !t.First.IsZero() && d.Before(t.First) {
		return false
	}
	if !t.Last.IsZero() && t.Last.Before(d) {
		return false
	}
	return !slices.Contains(t.Drop, d.Year)
}

// Without returns t with more years dropped.
func (t Training) Without(years ...int) Training {
	t.Drop = append(slices.Clone(t.Drop), years...)
	slices.Sort(t.Drop)
	t.Drop = slices.Compact(t.Drop)
	return t
}

// Mask returns a copy of d with every value outside the training days missing.
func (t Training) Mask(d coldseam.Days) coldseam.Days {
	n := d.Len()
	ok := make([]bool, n)
	for i := range ok {
		ok[i] = t.Allows(d.Day(i))
	}

	cut := func(x []float64) []float64 {
		if x == nil {
			return nil
		}
		out := make([]float64, len(x))
		for i, v := range x {
			out[i] = math.NaN()
			if ok[i] {
				out[i] = v
			}
		}
		return out
	}
	d.FlowM3S, d.WaterC, d.AirC = cut(d.FlowM3S), cut(d.WaterC), cut(d.AirC)
	return d
}

// Calendar holds day of year and year for consecutive days, so that inner
// loops need no date arithmetic.
type Calendar struct {
	First coldseam.Date
	Doy   []int // 1..366
	Year  []int
	Sin   []float64 // of 2 pi doy/365.25, for climatologies
	Cos   []float64
}

// NewCalendar covers n days from first.
func NewCalendar(first coldseam.Date, n int) *Calendar {
	c := &Calendar{
		First: first,
		Doy:   make([]int, n),
		Year:  make([]int, n),
		Sin:   make([]float64, n),
		Cos:   make([]float64, n),
	}
	t := first.UTC()
	for i := range n {
		c.Doy[i], c.Year[i] = t.YearDay(), t.Year()
		c.Sin[i], c.Cos[i] = math.Sincos(2 * math.Pi * float64(c.Doy[i]) / YearDays)
		t = t.AddDate(0, 0, 1)
	}
	return c
}

// YearDays is the length of the climatological year.
const YearDays = 365.25

// DoyGap is the distance of two days of the year on the circle, 0..183.
func DoyGap(a, b int) int {
	g := a - b
	if g < 0 {
		g = -g
	}
	if g > 183 {
		g = 366 - g
	}
	return g
}

// Years counts the calendar years of x with at least min values.
func (c *Calendar) Years(x []float64, minDays int) []int {
	n := map[int]int{}
	for i, v := range x {
		if !math.IsNaN(v) {
			n[c.Year[i]]++
		}
	}
	var out []int
	for y, k := range n {
		if k >= minDays {
			out = append(out, y)
		}
	}
	slices.Sort(out)
	return out
}

// Span is the length of the observed part of x in years: observed days/365.25.
func Span(x []float64) float64 {
	n := 0
	for _, v := range x {
		if !math.IsNaN(v) {
			n++
		}
	}
	return float64(n) / YearDays
}
