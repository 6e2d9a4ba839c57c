package ice

import (
	"math"
	"slices"

	"example.org/coldseam"
)

// Usual is when the agency's ice marks usually begin and end at a gauge, in
// days after 1 July (1 January south of the equator).
type Usual struct {
	First, Last int // early for the first mark, late for the last one
	Winters     int
}

// UsualOf reads the usual dates from the marks of whole winters, nil when there
// are fewer than ten of them.
func UsualOf(south bool, days []Day) *Usual {
	first, last := map[int]int{}, map[int]int{}
	for _, d := range days {
		if d.MarkAt.IsZero() {
			continue
		}
		year, n := winter(d.Date, south)
		if _, ok := first[year]; !ok {
			first[year] = n
		}
		last[year] = n
	}
	if len(first) < leastWinters {
		return nil
	}

	return &Usual{First: int(dayShare(first, firstMarkShare)), Last: int(math.Ceil(dayShare(last, lastMarkShare))),
		Winters: len(first)}
}

func dayShare(days map[int]int, p float64) float64 {
	var x []float64
	for _, n := range days {
		x = append(x, float64(n))
	}
	slices.Sort(x)
	return coldseam.Quantile(x, p)
}

// winter counts a date in days from the 1 July before it, south of the equator
// from 1 January.
func winter(d coldseam.Date, south bool) (year, n int) {
	from := coldseam.Date{Year: d.Year, Month: 7, Day: 1}
	if south {
		from.Month = 1
	} else if d.Month < 7 {
		from.Year--
	}
	return from.Year, d.Sub(from)
}

// at reports whether the last of days lies after the usual first mark, and
// whether this winter's ice is over: after the usual last mark, or after a flood
// of floodTimes the least flow of the winter that has passed its peak.
func (u *Usual) at(south bool, days []Day) (begun, over bool) {
	if len(days) == 0 {
		return true, false
	}
	year, n := winter(days[len(days)-1].Date, south)
	if n < u.First || n > u.Last {
		return n > u.Last, n > u.Last
	}

	from := len(days) - 1
	for from > 0 {
		if y, k := winter(days[from-1].Date, south); y != year || k < u.First {
			break
		}
		from--
	}

	base, peak := math.Inf(1), 0.
	for _, d := range days[from:] {
		q := d.FlowM3S
		if !known(q) || q <= 0 {
			continue
		}
		base = min(base, q)
		if _, k := winter(d.Date, south); k >= midwinter && (q >= floodTimes*base || peak > 0) {
			peak = max(peak, q)
		}
		if q <= floodPassed*peak {
			return true, true
		}
	}

	return true, false
}
