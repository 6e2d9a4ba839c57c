package verdict

import (
	"math"
	"sort"

	"example.org/coldseam"
)

// Climate is the flow of past years around one day of the year: all daily
// means within 15 days of it.
type Climate struct {
	Years int // with at least 20 of the 31 days
	flow  []float64
}

// ClimateOf collects the flows of the calendar years before day's own. Days
// that are missing are left out; negative flows (backwater) count.
func ClimateOf(days coldseam.Days, day coldseam.Date) Climate {
	var c Climate
	for y := days.First.Year; y < day.Year; y++ {
		mid := days.Index(coldseam.Date{Year: y, Month: day.Month, Day: day.Day})
		n := 0
		for i := mid - 15; i <= mid+15; i++ {
			if q := coldseam.At(days.FlowM3S, i); !math.IsNaN(q) {
				c.flow = append(c.flow, q)
				n++
			}
		}
		if n >= 20 {
			c.Years++
		}
	}
	sort.Float64s(c.flow)
	return c
}

// Pct is the share of past flows below q, ties counted half; NaN with no past
// or no q.
func (c Climate) Pct(q float64) float64 {
	if len(c.flow) == 0 || math.IsNaN(q) {
		return math.NaN()
	}
	lo := sort.SearchFloat64s(c.flow, q)
	hi := lo + sort.Search(len(c.flow)-lo, func(i int) bool { return c.flow[lo+i] > q })
	return (float64(lo) + float64(hi)) / 2 / float64(len(c.flow))
}

// Quantile is the p-quantile of the past flows in m3/s, NaN with none.
func (c Climate) Quantile(p float64) float64 {
	if len(c.flow) == 0 {
		return math.NaN()
	}
	f := min(max(p, 0), 1) * float64(len(c.flow)-1)
	i := int(f)
	if i+1 >= len(c.flow) {
		return c.flow[len(c.flow)-1]
	}
	return c.flow[i] + (f-float64(i))*(c.flow[i+1]-c.flow[i])
}

// FlowPct returns a function of day and flow for the run clock's high-flow
// gate: NaN while fewer than minYears stand behind the percentile. It keeps what
// it has looked up and is not for concurrent use.
func FlowPct(days coldseam.Days, minYears int) func(coldseam.Date, float64) float64 {
	cache := map[coldseam.Date]Climate{}
	return func(d coldseam.Date, q float64) float64 {
		c, ok := cache[d]
		if !ok {
			c = ClimateOf(days, d)
			cache[d] = c
		}
		if c.Years < minYears {
			return math.NaN()
		}
		return c.Pct(q)
	}
}
