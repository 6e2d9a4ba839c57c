package ensemble

import "math"

// Harmonic is a climatology of three annual harmonics:
// C[0] + sum_k C[2k-1] cos(2 pi k d/365.25) + C[2k] sin(2 pi k d/365.25).
// Three follow a snowmelt peak and a frozen winter well enough for anomalies;
// they do not follow single events.
type Harmonic struct {
	C [7]float64 `json:"c"`
}

const harmonicRidge = 1e-3 // keeps seasons without a single value tame [proposal]

// FitHarmonic fits x over the calendar's days by least squares, skipping NaN.
// A slight ridge on the harmonics keeps unobserved seasons bounded.
func FitHarmonic(c *Calendar, x []float64) Harmonic {
	var a [49]float64
	var b, row [7]float64
	n := 0.0
	for i, v := range x {
		if math.IsNaN(v) {
			continue
		}
		basis(&row, c.Cos[i], c.Sin[i])
		for p := range 7 {
			for q := 0; q <= p; q++ {
				a[p*7+q] += row[p] * row[q]
			}
			b[p] += row[p] * v
		}
		n++
	}

	var h Harmonic
	if n == 0 {
		return h
	}
	for p := range 7 {
		a[p*7+p] += harmonicRidge * n * float64((p+1)/2)
	}
	if Cholesky(a[:], 7) {
		CholeskySolve(a[:], 7, b[:])
		h.C = b
	}

	return h
}

// basis fills the seven terms from cos and sin of the annual angle.
func basis(row *[7]float64, c, s float64) {
	c2, s2 := c*c-s*s, 2*c*s
	*row = [7]float64{1, c, s, c2, s2, c2*c - s2*s, s2*c + c2*s}
}

// At is the value at calendar index i.
func (h Harmonic) At(c *Calendar, i int) float64 { return h.angle(c.Cos[i], c.Sin[i]) }

// Doy is the value on a day of the year.
func (h Harmonic) Doy(doy int) float64 {
	s, c := math.Sincos(2 * math.Pi * float64(doy) / YearDays)
	return h.angle(c, s)
}

func (h Harmonic) angle(c, s float64) float64 {
	var row [7]float64
	basis(&row, c, s)
	v := 0.0
	for p := range 7 {
		v += h.C[p] * row[p]
	}
	return v
}

// Over fills out[i] with the climatology of every calendar day.
func (h Harmonic) Over(c *Calendar) []float64 {
	out := make([]float64, len(c.Doy))
	for i := range out {
		out[i] = h.At(c, i)
	}
	return out
}
