package forecast

import (
	"math"
	"sort"

	"example.org/coldseam"
)

// Climate holds the daily flows of the years before, by day of year, for
// percentile words and the high-flow stops.
//
// Official flow maps ask for 30 years of record; ours needs MinClimateYears
// and says how many it has [proposal].
type Climate struct {
	days  coldseam.Days
	years int
}

// MinClimateYears is the shortest record that gets a percentile word.
const MinClimateYears = 10

// climateHalfWindow is the half width, in days of the year, of the sample
// around a date [proposal].
const climateHalfWindow = 15

// minDaysOfYear is how many days make a year count.
const minDaysOfYear = 200

// NewClimate reads the record. Days with soft flow (ice, estimated) count:
// they are the season of interest, and a percentile forgives their error.
func NewClimate(d coldseam.Days) Climate {
	n := map[int]int{}
	for i, q := range d.FlowM3S {
		if !math.IsNaN(q) {
			n[d.Day(i).Year]++
		}
	}
	c := Climate{days: d}
	for _, k := range n {
		if k >= minDaysOfYear {
			c.years++
		}
	}
	return c
}

// Years is the number of years behind the percentiles.
func (c Climate) Years() int { return c.years }

// Enough reports whether percentiles may be used at all.
func (c Climate) Enough() bool { return c.years >= MinClimateYears }

// Sample is the sorted flows of days within 15 days of day's place in the
// year, all years but the 30 days up to day itself (they would compare the
// present with itself).
func (c Climate) Sample(day coldseam.Date) []float64 {
	var out []float64
	doy := day.YearDay()
	for i, q := range c.days.FlowM3S {
		if math.IsNaN(q) {
			continue
		}
		d := c.days.Day(i)
		gap := d.YearDay() - doy
		if gap < 0 {
			gap = -gap
		}
		gap = min(gap, 366-gap)
		if gap <= climateHalfWindow && (day.Sub(d) > 60 || day.Sub(d) < -60) {
			out = append(out, q)
		}
	}
	sort.Float64s(out)
	return out
}

// Percentile is the share of sample at or below q, 0-1, mid-rank for ties; NaN
// for an empty sample.
func Percentile(sample []float64, q float64) float64 {
	if len(sample) == 0 {
		return math.NaN()
	}
	lo := sort.SearchFloat64s(sample, q)
	hi := sort.Search(len(sample), func(i int) bool { return sample[i] > q })
	return (float64(lo) + 0.5*float64(hi-lo)) / float64(len(sample))
}

// WholeRecordQuantile is the p-quantile of all daily flows, the value that
// `site add` proposes as max_flow at p = .95. NaN without a record.
func (c Climate) WholeRecordQuantile(p float64) float64 {
	var x []float64
	for _, q := range c.days.FlowM3S {
		if !math.IsNaN(q) {
			x = append(x, q)
		}
	}
	return coldseam.Quantile(x, p)
}
