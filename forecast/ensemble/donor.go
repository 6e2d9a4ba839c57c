package ensemble

import (
	"fmt"
	"math"

	"example.org/coldseam"
)

const (
	Pad       = CrossingHorizon + 2 // calendar days beyond the record's end
	BridgeGap = 5                   // days of missing values bridged for the tails of traces
)

// StaleDays is the age of the newest value beyond which a forecast no longer
// starts from it [proposal].
const StaleDays = 5

// Donor is a record whose days members may follow: the river's own, or that of a
// similar gauge. Obs is in the scale of the model, NaN where it is missing.
type Donor struct {
	Days coldseam.Days
	Cal  *Calendar
	Obs  []float64
	Run  []float64 // Obs with gaps of up to BridgeGap days bridged
	Pool *Pool
	Tail *Pool // days whose path to the crossing horizon is usable
}

// NewDonor prepares a record of len(obs) days.
func NewDonor(d coldseam.Days, obs []float64) Donor {
	r := Donor{Days: d, Cal: NewCalendar(d.First, len(obs)+Pad), Obs: obs, Run: Bridge(obs, BridgeGap)}
	r.Pool = NewPool(r.Cal, len(obs), func(i int) bool { return Complete(obs, i-1, i+DefaultHorizon) })
	r.Tail = NewPool(r.Cal, len(obs), func(i int) bool {
		return Complete(obs, i-1, i+1) && Complete(r.Run, i, i+CrossingHorizon)
	})
	return r
}

// Trace is a day of a donor's record.
type Trace struct {
	Donor int // 0 = the river itself
	Day   int // index in its record
}

// Traces chooses the days that the members of an issue follow: the days asked
// for where the own record has them, else draws around the day of the year. The
// own record comes first; similar gauges join when it is short. Nil when there
// is no day to follow.
func Traces(q Request, salt uint64, donors []*Donor, tier Tier) []Trace {
	members, horizon := q.Size()
	var cand []Trace
	for g, r := range donors {
		if g > 0 && tier == TierFull {
			break
		}
		p := r.Pool
		if horizon > DefaultHorizon {
			p = r.Tail
		}
		for _, i := range p.Near(q.Day.YearDay()) {
			cand = append(cand, Trace{g, int(i)})
		}
	}

	if len(cand) == 0 {
		return nil
	}
	idx := make([]int32, len(cand))
	for i := range idx {
		idx[i] = int32(i)
	}
	out := make([]Trace, members)
	for i, j := range Draw(q.Rand(salt), idx, members) {
		out[i] = cand[j]
		if len(q.Traces) > 0 {
			if j := donors[0].Days.Index(q.Traces[i%len(q.Traces)]); Complete(donors[0].Run, j, j+horizon) {
				out[i] = Trace{0, j}
			}
		}
	}
	return out
}

// NoTraces is the error of an issue without a day to follow.
func NoTraces(what string, q Request) error {
	_, horizon := q.Size()
	return fmt.Errorf("forecast %s on %s: no observed path of %d days within %d days of the date: %w",
		what, q.Day, horizon, TraceWindowWide, coldseam.ErrUnavailable)
}

// Persistence is the first week of a gauge without similar gauges: its last
// value, age days old, with the spread of rivers in general, a random walk of first and
// power that value turns into a value of the river.
func Persistence(res Result, q Request, salt uint64, age int, first, power float64,
	value func(step float64) float64) Result {
	members, horizon := q.Size()
	rng := q.Rand(salt)
	for range members {
		w := RandomWalk(rng, horizon+age, first, power)[age:]
		for h := range w {
			w[h] = value(w[h])
		}
		res.Members, res.Trace = append(res.Members, w), append(res.Trace, q.Day)
	}

	res.Tier, res.Sources, res.Weights = TierCold, []string{"persistence"}, []float64{1}
	if !res.Has(FlagLowConfidence) {
		res.Flags = append(res.Flags, FlagLowConfidence)
	}
	return res
}

// Last is the newest observed index at or before i, -1 for none.
func Last(x []float64, i int) int {
	for i = min(i, len(x)-1); i >= 0; i-- {
		if !math.IsNaN(x[i]) {
			return i
		}
	}
	return -1
}

// Same reports whether two slices are the same memory.
func Same(a, b []float64) bool {
	return len(a) == len(b) && (len(a) == 0 || &a[0] == &b[0])
}

// Epoch is day 0 of the days that error libraries are kept by.
var Epoch = coldseam.Date{Year: 1970, Month: 1, Day: 1}

// DayNumber counts the days from Epoch.
func DayNumber(d coldseam.Date) int32 { return int32(d.UTC().Unix() / 86400) }

// Record lengths that part the tiers, years; the cut-offs are judgement [proposal].
const (
	fullYears   = 8
	mediumYears = 3
	shortYears  = 1
)

// TierOf is the rung for a record of so many years.
func TierOf(years float64) Tier {
	switch {
	case years >= fullYears*.9:
		return TierFull
	case years >= mediumYears*.8:
		return TierMedium
	case years >= shortYears*.8:
		return TierShort
	}
	return TierCold
}
