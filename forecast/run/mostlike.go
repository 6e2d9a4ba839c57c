package run

import (
	"math"
	"sort"

	"example.org/coldseam"
)

// likeLimit is the greatest distance at which a past spring is called alike
// [proposal]; see likeness.
const likeLimit = 1.5

// mostLike names up to two past years whose spring stood nearest to this one
// on the same date, nearest first; none before 1 February, when all winters
// look alike.
func (in *Input) mostLike(w season) []int {
	n := len(w.t)
	if n < 31 {
		return nil
	}
	now := in.likeness(w.first, w.t)
	type near struct {
		year int
		d    float64
	}

	var found []near
	for y := in.Days.First.Year; y < w.first.Year; y++ {
		past, err := spring(in.Days, nil, yearStart(y, in.Days.Lat).Add(n), in.Species.Tb)
		if err != nil || past.short {
			continue
		}
		d := 0.0
		for k, v := range in.likeness(past.first, past.t) {
			d += (v - now[k]) * (v - now[k])
		}
		if d = math.Sqrt(d); d <= likeLimit {
			found = append(found, near{y, d})
		}
	}

	sort.Slice(found, func(i, j int) bool { return found[i].d < found[j].d })
	var out []int
	for i := range min(2, len(found)) {
		out = append(out, found[i].year)
	}
	return out
}

// likeness places a spring by its ripeness (steps of 30 %), the mean water of
// the last two weeks (steps of 1 C) and of the last three days against them
// (steps of 1 C).
func (in *Input) likeness(first coldseam.Date, t []float64) [3]float64 {
	dr := in.Species.drives(in.Days.Lat, first, t, nil, nil, 0)
	p := in.Species.defaults()
	var st state
	for i := range dr {
		in.Species.step(&p, &st, &dr[i], 0, 0)
	}
	n := len(t)
	two, three := mean(t[n-14:]), mean(t[n-3:])
	return [3]float64{math.Log1p(st.r) / 0.3, two, three - two}
}
