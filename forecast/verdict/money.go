package verdict

import (
	"fmt"
	"math/rand/v2"
	"sort"

	"example.org/coldseam"
)

// Resolved is a past morning as it was issued, with what the log says of it.
type Resolved struct {
	Day     coldseam.Date
	Verdict coldseam.Verdict
	Odds    float64
	OddsOK  bool
	Known   bool // the day was fished, whatever the verdict
	Good    bool
}

// Resolve joins briefs as issued with the log: a day is known when somebody
// fished the reach, good when the day's rate reached target fish a line hour.
// Where a day has several issues the first one counts: it is what people
// drove by.
func Resolve(briefs []coldseam.Brief, trips []coldseam.Trip, target float64) []Resolved {
	fish, effort := map[coldseam.Date]float64{}, map[coldseam.Date]float64{}
	for _, t := range trips {
		if !t.WentNot && t.Hours > 0 {
			fish[t.Date] += float64(t.Fish)
			effort[t.Date] += LineHours(t)
		}
	}
	first := map[coldseam.Date]coldseam.Brief{}
	for _, b := range briefs {
		if p, ok := first[b.Day]; !ok || b.Issued.Before(p.Issued) {
			first[b.Day] = b
		}
	}
	var out []Resolved
	for d, b := range first {
		h := effort[d]
		out = append(out, Resolved{Day: d, Verdict: b.Verdict, Odds: b.Odds, OddsOK: b.OddsOK, Known: h > 0, Good: h > 0 && fish[d]/h >= target-1e-9})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Day.Before(out[j].Day) })
	return out
}

// Money is what following the word was worth, in good trips: a good one is
// worth 1, every trip costs Cost.
type Money struct {
	N               int // known days
	Go, GoGood      int
	Saved           int // known days without a GO that were not good
	Missed          int // known days without a GO that were good
	Cost            float64
	Net             float64 // going on GO days
	Always          float64 // going on every known day
	Calendar        float64 // going on the days of a fixed calendar
	Lo, Hi          float64 // 90 % bootstrap interval of Net - Always, by weeks
	CalLo, CalHi    float64 // the same against the calendar
	Synthetic       bool
	OtherSpecies    string // not empty: the log is of another species
	UnknownGo       int    // GO days nobody fished: nothing is known of them
	StopsKnown      int
	replicates      int
	differenceWeeks int
}

// minClaim is the number of known days below which no skill is claimed.
const minClaim = 30

// Worth sums the known mornings. calendar is the fixed calendar to beat; rng
// is the source of the bootstrap.
func Worth(days []Resolved, cost float64, calendar func(coldseam.Date) bool, rng *rand.Rand) Money {
	m := Money{Cost: cost, replicates: 1000}
	always, cal := map[int]float64{}, map[int]float64{} // by week: net minus the rival's
	for _, d := range days {
		if !d.Known {
			if d.Verdict == coldseam.Go {
				m.UnknownGo++
			}
			continue
		}
		m.N++
		value := -cost
		if d.Good {
			value = 1 - cost
		}
		own, other := 0.0, 0.0
		switch {
		case d.Verdict == coldseam.Go:
			m.Go++
			own = value
			if d.Good {
				m.GoGood++
			}
		case d.Good:
			m.Missed++
		default:
			m.Saved++
		}
		if d.Verdict == coldseam.Stop {
			m.StopsKnown++
		}
		if calendar(d.Day) {
			other = value
		}
		m.Net += own
		m.Always += value
		m.Calendar += other
		week := d.Day.UTC().Unix() / (7 * 86400)
		always[int(week)] += own - value
		cal[int(week)] += own - other
	}
	m.differenceWeeks = len(always)
	m.Lo, m.Hi = m.bootstrap(always, rng)
	m.CalLo, m.CalHi = m.bootstrap(cal, rng)
	return m
}

// bootstrap resamples whole weeks: neighbouring days share their weather.
func (m *Money) bootstrap(weeks map[int]float64, rng *rand.Rand) (lo, hi float64) {
	keys := make([]int, 0, len(weeks))
	for k := range weeks {
		keys = append(keys, k)
	}
	sort.Ints(keys)
	if len(keys) == 0 {
		return 0, 0
	}
	x := make([]float64, m.replicates)
	for i := range x {
		for range keys {
			x[i] += weeks[keys[rng.IntN(len(keys))]]
		}
	}
	return coldseam.Quantile(x, .05), coldseam.Quantile(x, .95)
}

// Skilled reports whether the gain over always going may be claimed: 30 known
// days and a 90 % interval above 0.
func (m Money) Skilled() bool { return m.N >= minClaim && m.Lo > 0 }

// Words is the one line for people; it never comes without the number of days
// behind it.
func (m Money) Words() string {
	if m.N == 0 {
		return "nothing to judge by yet: no logged mornings"
	}
	s := fmt.Sprintf("following it: %d of %d GO days good, %s saved, %s missed, of %d logged mornings",
		m.GoGood, m.Go, plural(m.Saved, "drive"), plural(m.Missed, "good day"), m.N)
	switch {
	case m.N < minClaim:
		s += "; too few to claim skill"
	case !m.Skilled():
		s += "; a gain over always going is not proven"
	}
	if m.Synthetic {
		s += " (synthetic log)"
	}
	if m.OtherSpecies != "" {
		s += " (" + m.OtherSpecies + ", another species)"
	}
	return s
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
