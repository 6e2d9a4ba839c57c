package verdict

import (
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
	rates := DailyRates(trips)
	first := map[coldseam.Date]coldseam.Brief{}
	for _, b := range briefs {
		if p, ok := first[b.Day]; !ok || b.Issued.Before(p.Issued) {
			first[b.Day] = b
		}
	}

	var out []Resolved
	for d, b := range first {
		rate, known := rates[d]
		out = append(out, Resolved{
			Day:     d,
			Verdict: b.Verdict,
			Odds:    b.Odds,
			OddsOK:  b.OddsOK,
			Known:   known,
			Good:    known && rate >= target-1e-9,
		})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Day.Before(out[j].Day) })
	return out
}

// Rival is another way to choose one's days.
type Rival struct {
	Name string
	Goes func(coldseam.Date) bool
}

// Always goes every day.
func Always() Rival {
	return Rival{Name: "always going", Goes: func(coldseam.Date) bool { return true }}
}

// RuleOfThumb goes when the water of the day is 40-50 F and warmer than two
// days before; water gives daily means in degC, NaN where unknown.
func RuleOfThumb(water func(coldseam.Date) float64) Rival {
	return Rival{Name: "40-50 F and rising", Goes: func(d coldseam.Date) bool {
		f := coldseam.F(water(d))
		return f >= 40 && f <= 50 && water(d) > water(d.Add(-2))
	}}
}

// RivalMoney is a rival's worth on the same days, with the 90 % interval of
// our gain over it.
type RivalMoney struct {
	Name   string
	Net    float64
	Lo, Hi float64
}

// Money is what following the word was worth, in good trips: a good one is
// worth 1, every trip costs Cost.
type Money struct {
	N          int // known days
	Go, GoGood int
	Saved      int // known days without a GO that were not good
	Missed     int // known days without a GO that were good
	UnknownGo  int // GO days nobody fished: nothing is known of them
	Cost       float64
	Net        float64      // going on GO days
	Rivals     []RivalMoney // the first is always going
}

// minClaim is the number of known days below which no skill is claimed.
const minClaim = 30

// Worth sums the known mornings and holds them against always going and the
// rivals; rng is the source of the bootstrap.
func Worth(days []Resolved, cost float64, rivals []Rival, rng *rand.Rand) Money {
	m := Money{Cost: cost}
	rivals = append([]Rival{Always()}, rivals...)
	gain := make([]map[int]float64, len(rivals)) // by week
	for i, r := range rivals {
		m.Rivals = append(m.Rivals, RivalMoney{Name: r.Name})
		gain[i] = map[int]float64{}
	}

	for _, d := range days {
		if !d.Known {
			if d.Verdict == coldseam.Go {
				m.UnknownGo++
			}
			continue
		}

		own, value := m.count(d)
		week := weekOf(d.Day)
		for i, r := range rivals {
			other := 0.0
			if r.Goes(d.Day) {
				other = value
			}
			m.Rivals[i].Net += other
			gain[i][week] += own - other
		}
	}

	for i := range m.Rivals {
		m.Rivals[i].Lo, m.Rivals[i].Hi = bootstrap(gain[i], rng)
	}
	return m
}

// count adds a known day; value is what going on it was worth, own what
// following the word was.
func (m *Money) count(d Resolved) (own, value float64) {
	m.N++
	value = -m.Cost
	if d.Good {
		value++
	}

	switch {
	case d.Verdict == coldseam.Go:
		m.Go++
		if d.Good {
			m.GoGood++
		}
		m.Net += value
		return value, value
	case d.Good:
		m.Missed++
	default:
		m.Saved++
	}

	return 0, value
}

// replicates of the bootstrap.
const replicates = 1000

// bootstrap resamples whole weeks: neighbouring days share their weather.
func bootstrap(weeks map[int]float64, rng *rand.Rand) (lo, hi float64) {
	keys := make([]int, 0, len(weeks))
	for k := range weeks {
		keys = append(keys, k)
	}
	sort.Ints(keys)
	if len(keys) == 0 {
		return 0, 0
	}
	x := make([]float64, replicates)
	for i := range x {
		for range keys {
			x[i] += weeks[keys[rng.IntN(len(keys))]]
		}
	}
	return coldseam.Quantile(x, .05), coldseam.Quantile(x, .95)
}

// Skilled reports whether the gain over always going may be claimed: 30 known
// days and a 90 % interval above 0.
func (m Money) Skilled() bool { return m.N >= minClaim && len(m.Rivals) > 0 && m.Rivals[0].Lo > 0 }
