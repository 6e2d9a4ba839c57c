package ensemble

import (
	"math"
	"sort"
	"time"

	"example.org/coldseam"
)

// RunDays is the number of consecutive daily means that make a crossing: a day or
// two beyond the edge are weather [proposal].
const RunDays = 5

// CrossingSeason says in which direction edges are crossed around day d:
// upward from February to July, downward from August to January.
func CrossingSeason(d coldseam.Date) (up bool) {
	return d.Month >= time.February && d.Month <= time.July
}

// Passed returns the first day (1-based lead) on which path begins a run of
// RunDays days beyond the edge, 0 when a run that began before the issue is
// completed, and -1 when there is none. before is the number of days up to the
// issue that are already beyond.
func Passed(path []float64, edge float64, up bool, before int) int {
	run := before
	for i, v := range path {
		if !Beyond(v, edge, up) {
			run = 0
			continue
		}
		run++
		if run >= RunDays {
			return max(i+2-run, 0)
		}
	}
	return -1
}

// Beyond reports whether a daily mean is past the edge: bands include their
// upper edge, so upward means above and downward at or below.
func Beyond(v, edge float64, up bool) bool {
	if up {
		return v > edge
	}
	return v <= edge
}

// Since counts the days up to and including index i of x that are beyond the
// edge without a break.
func Since(x []float64, i int, edge float64, up bool) int {
	n := 0
	for ; i >= 0; i-- {
		if v := coldseam.At(x, i); math.IsNaN(v) || !Beyond(v, edge, up) {
			break
		}
		n++
	}
	return n
}

// Crossings reads the date of each edge off the member paths of a temperature
// forecast. The run may have begun before the issue: the observed days of view
// count. A day back across the edge restarts the search.
func Crossings(view coldseam.Days, r Result, edgesC []float64) []coldseam.Crossing {
	up := CrossingSeason(r.Day)
	out := make([]coldseam.Crossing, 0, len(edgesC))
	for _, e := range edgesC {
		out = append(out, crossing(view, r, e, up))
	}
	return out
}

func crossing(view coldseam.Days, r Result, edge float64, up bool) coldseam.Crossing {
	x := coldseam.Crossing{EdgeC: edge, Up: up, LowConf: r.Has(FlagIce) || r.Has(FlagLowConfidence)}
	n := len(r.Members)
	if n == 0 {
		x.Not = 1
		return x
	}

	x.Horizon = len(r.Members[0])
	x.PerDay = make([]float64, x.Horizon)
	before := Since(view.WaterC, view.Index(r.Day), edge, up)
	if before > 0 {
		x.AtEdge = r.Day.Add(1 - before)
	}

	if before >= RunDays {
		x.Confirmed = true
		x.Within3, x.Within7, x.Within10 = 1, 1, 1
		x.Dates = [3]coldseam.Date{x.AtEdge, x.AtEdge, x.AtEdge}
		for d := range x.PerDay {
			x.PerDay[d] = 1
		}
		return x
	}

	var days []float64
	for _, path := range r.Members {
		d := Passed(path, edge, up, before)
		if d < 0 {
			continue
		}
		if d == 0 {
			days = append(days, float64(1-before))
		} else {
			days = append(days, float64(d))
		}

		for k := max(d, 1); k <= x.Horizon; k++ {
			x.PerDay[k-1] += 1 / float64(n)
		}
	}

	x.Not = 1 - float64(len(days))/float64(n)
	x.Within3, x.Within7, x.Within10 = within(x.PerDay, 3), within(x.PerDay, 7), within(x.PerDay, 10)
	if len(days) > 0 {
		sort.Float64s(days)
		for k, p := range [3]float64{.1, .5, .9} {
			x.Dates[k] = r.Day.Add(int(math.Round(coldseam.Quantile(days, p))))
		}
	}

	return x
}

// within is P(crossed by day d), NaN-free also for a horizon shorter than d.
func within(perDay []float64, d int) float64 {
	if len(perDay) == 0 {
		return 0
	}
	return perDay[min(d, len(perDay))-1]
}
