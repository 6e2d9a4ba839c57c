package run

import (
	"math"

	"example.org/coldseam"
)

// Reference is a river's own usual season, made by running the clock over its
// past springs.
type Reference struct {
	Springs int
	Peak    float64 // median of the seasons' greatest H + .8B
}

// MinSprings is how many springs a river's own reference needs before it
// replaces the shipped one [proposal].
const MinSprings = 5

// referencePaths is the number of noise paths a spring.
const referencePaths = 6

// NewReference runs the clock over every past calendar year of days that has
// water temperatures from January to mid-July. With fewer than MinSprings of
// them the shipped values stand and Springs says how many there were.
func NewReference(sp Species, days coldseam.Days, modelC []float64, before int, seed uint64) Reference {
	r := Reference{Peak: SeasonPeak}
	var peaks []float64
	for y := days.First.Year; y < before; y++ {
		w, err := spring(days, modelC, yearStart(y, days.Lat).Add(LastDay), sp.Tb)
		if err != nil || w.short {
			continue
		}
		r.Springs++
		dr := sp.drives(days.Lat, w.first, w.t, w.q, nil, 0)
		for k := range referencePaths {
			peaks = append(peaks, sp.peak(dr, seed+uint64(y), k))
		}
	}

	if r.Springs < MinSprings {
		return r
	}
	r.Peak = coldseam.Quantile(peaks, .5)
	return r
}

// peak runs the middle parameters on one noise path and returns the season's
// fullest hole.
func (s *Species) peak(dr []drive, seed uint64, k int) float64 {
	rng := stream(seed, k)
	p := s.defaults()
	var st state
	peak := 0.0
	for i := range dr {
		s.step(&p, &st, &dr[i], s.Sigma, rng.NormFloat64())
		t := st.totals(s)
		peak = math.Max(peak, t.h+0.8*t.b)
	}
	return peak
}
