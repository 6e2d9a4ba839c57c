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

// Baseline is another way to choose one's days.
type Baseline struct {
	Name   string
	Fishes func(coldseam.Date) bool
}

// Always goes every day.
func Always() Baseline {
	return Baseline{Name: "always going", Fishes: func(coldseam.Date) bool { return true }}
}

// RuleOfThumb goes when the water of the day is 40-50 F and warmer than two
// days before; water gives daily means in degC, NaN where unknown.
func RuleOfThumb(water func(coldseam.Date) float64) Baseline {
	return Baseline{Name: "40-50 F and rising", Fishes: func(d coldseam.Date) bool {
		f := coldseam.F(water(d))
		return f >= 40 && f <= 50 && water(d) > water(d.Add(-2))
	}}
}

// BaselineScore is a rival's worth on the same days, with the 90 % interval of
// our gain over it.
type BaselineScore struct {
	Name   string
	Net    float64
	Lo, Hi float64
}

// ValueScore is what following the word was worth, in good trips: a good one is
// worth 1, every trip costs Cost.
type ValueScore struct {
	N          int // known days
	Go, GoGood int
	Saved      int // known days without a GO that were not good
	Missed     int // known days without a GO that were good
	UnknownGo  int // GO days nobody fished: nothing is known of them
	Cost       float64
	Net        float64         // going on GO days
	Baselines  []BaselineScore // the first is always going
}

// ScoreValue sums the known mornings and holds them against always going and the
// rivals; rng is the source of the bootstrap.
func ScoreValue(days []Resolved, cost float64, rivals []Baseline, rng *rand.Rand) ValueScore {
	m := ValueScore{Cost: cost}
	rivals = append([]Baseline{Always()}, rivals...)
	gain := make([]map[int]float64, len(rivals)) // by week
	for i, r := range rivals {
		m.Baselines = append(m.Baselines, BaselineScore{Name: r.Name})
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
			if r.Fishes(d.Day) {
				other = value
			}
			m.Baselines[i].Net += other
			gain[i][week] += own - other
		}
	}

	for i := range m.Baselines {
		m.Baselines[i].Lo, m.Baselines[i].Hi = bootstrap(gain[i], rng)
	}
	return m
}

// count adds a known day; value is what going on it was worth, own what
// following the word was.
func (m *ValueScore) count(d Resolved) (own, value float64) {
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
