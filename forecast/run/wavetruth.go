package run

import (
	"math"
	"sort"

	"example.org/coldseam"
)

// A log shows the same wave by its rates [proposal]: the day's rate is more
// than waveRatio times the rate of the seven days before, with waveHours line
// hours on both sides, and the lower 80 % bound of the ratio is above 1.
const (
	waveHours = 6
	waveZ     = 1.2816 // two-sided 80 %
)

// WaveDay is one day on which the log could tell.
type WaveDay struct {
	Day   coldseam.Date
	Wave  bool
	Ratio float64 // day's rate over the rate of the seven days before
}

// LogWaves resolves days from the trip log, ascending: days with too few hours
// on either side are left out, they say nothing.
func LogWaves(trips []coldseam.Trip, species string) []WaveDay {
	fish, effort := map[coldseam.Date]float64{}, map[coldseam.Date]float64{}
	for _, t := range trips {
		if counts(t, species) {
			fish[t.Date] += float64(t.Fish)
			effort[t.Date] += lineHours(t)
		}
	}

	var out []WaveDay
	for d, h := range effort {
		y0, h0 := 0.0, 0.0
		for k := 1; k <= 7; k++ {
			y0, h0 = y0+fish[d.Add(-k)], h0+effort[d.Add(-k)]
		}
		if h < waveHours || h0 < waveHours {
			continue
		}
		w := WaveDay{Day: d}
		w.Ratio, w.Wave = rateRatio(fish[d], h, y0, h0)
		out = append(out, w)
	}

	sort.Slice(out, func(i, j int) bool { return out[i].Day.Before(out[j].Day) })
	return out
}

// rateRatio compares two counts with their efforts; half a fish is added to
// both, so that a blank week does not make any fish a wave.
func rateRatio(y, h, y0, h0 float64) (ratio float64, wave bool) {
	ratio = (y + .5) / h / ((y0 + .5) / h0)
	low := ratio * math.Exp(-waveZ*math.Sqrt(1/(y+.5)+1/(y0+.5)))
	return ratio, ratio > waveRatio && low > 1
}
