package run

import (
	"math"
	"sort"
	"time"

	"example.org/coldseam"
)

// IncubationDays is how long eggs lie at a constant water temperature, within
// 3-15 C (clipped): D = 91/(T - 0.9) for walleye [reference calculation: a fit
// to 26 d at 4.4 C and 7 d at 13.9 C]. For the recap and the note on gravel
// only. NaN where the species has no such row.
func (s *Species) IncubationDays(waterC float64) float64 {
	if s.EggCD == 0 {
		return math.NaN()
	}
	return s.EggCD / (clip(waterC, 3, 15) - s.EggT0)
}

// hatchRise is how fast the water is taken to warm beyond the forecast, degC a
// day, up to hatchTop [proposal]: the dates are given to whole weeks.
const (
	hatchRise = 0.15
	hatchTop  = 12.0
)

// hatch is the span, to whole weeks from Monday to Sunday, in which eggs lie
// and hatch: from the day a tenth has spawned plus its incubation to the day
// nine tenths have, plus theirs. Zero dates: not yet a tenth within the
// forecast, or no incubation row. While nine tenths are not in sight the end
// belongs to the last day of the forecast.
func (e *engine) hatch() (from, to coldseam.Date) {
	if e.sp.EggCD == 0 {
		return from, to
	}
	spawned := append([]float64(nil), e.past...)
	water := append([]float64(nil), e.w.t...)
	for l := range e.days {
		spawned = append(spawned, mean(e.days[l].spawned))
		day := make([]float64, len(e.in.WaterC))
		for m := range day {
			day[m] = e.in.WaterC[m][l]
		}
		water = append(water, coldseam.Quantile(day, .5))
	}

	first := sort.Search(len(spawned), func(i int) bool { return spawned[i] >= .1 })
	if first == len(spawned) {
		return from, to
	}
	last := min(sort.Search(len(spawned), func(i int) bool { return spawned[i] >= .9 }), len(spawned)-1)
	a, b := e.w.first.Add(e.sp.hatchIndex(water, first)), e.w.first.Add(e.sp.hatchIndex(water, last))
	return weekStart(a), weekStart(b).Add(6)
}

// hatchIndex is the day index on which eggs laid on day i hatch.
func (s *Species) hatchIndex(water []float64, i int) int {
	last := len(water) - 1
	for done := 0.0; done < 1; i++ {
		t := water[min(i, last)]
		if i > last {
			t = math.Max(t, math.Min(t+hatchRise*float64(i-last), hatchTop))
		}
		done += 1 / s.IncubationDays(t)
	}
	return i
}

// weekStart is the Monday of d's week.
func weekStart(d coldseam.Date) coldseam.Date {
	return d.Add(-(int(d.Weekday()) - int(time.Monday) + 7) % 7)
}
