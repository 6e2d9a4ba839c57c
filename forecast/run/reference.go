package run

import (
	"math"

	"example.org/coldseam"
)

// Reference is a river's own usual season, made by running the clock over its
// past springs.
type Reference struct {
	Springs   int
	Peak      float64    // median of the seasons' greatest H + .8B
	Quartiles [3]float64 // of the fishable index without residents, days with 5-95 % arrived
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
	r := Reference{Peak: SeasonPeak, Quartiles: [3]float64{.174, .341, .450}}
	var index, peaks []float64
	for y := days.First.Year; y < before; y++ {
		w, err := spring(days, modelC, yearStart(y, days.Lat).Add(LastDay), sp.Tb)
		if err != nil || w.short {
			continue
		}
		r.Springs++
		dr := sp.drives(days.Lat, w.first, w.t, w.q, nil, 0)
		for k := range referencePaths {
			n, peak := sp.path(dr, seed+uint64(y), k)
			index, peaks = append(index, n...), append(peaks, peak)
		}
	}

	if r.Springs < MinSprings || len(index) == 0 {
		return r
	}
	r.Peak = coldseam.Quantile(peaks, .5)
	for i, p := range []float64{.25, .5, .75} {
		r.Quartiles[i] = coldseam.Quantile(index, p)
	}
	return r
}

// path runs the middle parameters on one noise path and returns the index of
// the days of the run and the season's fullest hole.
func (s *Species) path(dr []drive, seed uint64, k int) (index []float64, peak float64) {
	rng := stream(seed, k)
	p := s.defaults()
	var st state
	for i := range dr {
		s.step(&p, &st, &dr[i], s.Sigma, rng.NormFloat64())
		t := st.totals(s)
		peak = math.Max(peak, t.h+0.8*t.b)
		if inRun(t.arrived) {
			index = append(index, t.index())
		}
	}
	return index, peak
}

// WithResidents are the quartiles of the index incl. a resident share.
func (r Reference) WithResidents(share float64) [3]float64 {
	q := r.Quartiles
	for i := range q {
		q[i] += share
	}
	return q
}
