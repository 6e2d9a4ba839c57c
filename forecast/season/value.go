package season

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
)

// The sources of outcomes.
const (
	ByTrips  = "trips"  // fish a line hour of the days fished
	ByCounts = "counts" // fish past a counter
)

// What mornings are ranked by, beside the rule of thumb.
const (
	ByOdds = "odds"        // of the word
	ByDate = "day_of_year" // the good mornings of other years
)

// goodShare is the share of mornings that are not good, where a counter has no
// club behind it that says what good is [proposal].
const goodShare = .6

// Outcomes are what the days on file came to.
type Outcomes struct {
	Source string
	Rate   map[coldseam.Date]float64
}

// OfTrips are the daily rates of a log.
func OfTrips(trips []coldseam.Trip) Outcomes { return Outcomes{ByTrips, verdict.DailyRates(trips)} }

// good is the rate from which a day of a season is good: the club's own mark, or
// for counts the sixth tenth of the counted days between the same dates.
func (o Outcomes) good(from, to coldseam.Date) float64 {
	if o.Source == ByTrips {
		var log []verdict.LogMorning
		for _, d := range slices.SortedFunc(maps.Keys(o.Rate), func(a, b coldseam.Date) int { return a.Sub(b) }) {
			log = append(log, verdict.LogMorning{Day: d, Fish: o.Rate[d], Hours: 1})
		}
		return verdict.TargetOf(coldseam.Reach{}, log, from)
	}
	var x []float64
	for d := from; !to.Before(d); d = d.Add(1) {
		if v, ok := o.Rate[d]; ok {
			x = append(x, v)
		}
	}
	return coldseam.Quantile(x, goodShare)
}

// resolved are the days of file between two dates of a year. A day without a
// fish is not good, whatever the mark.
func (o Outcomes) resolved(from, to coldseam.Date) (out []verdict.Resolved, good float64) {
	good = o.good(from, to)
	for d := from; !to.Before(d); d = d.Add(1) {
		if v, ok := o.Rate[d]; ok {
			out = append(out, verdict.Resolved{Day: d, Known: true, Good: v > 0 && v >= good})
		}
	}
	return out, good
}

// otherYears is how far from the replayed years other years of the file speak
// for a day of the year.
const otherYears = 40

// ValueOf holds the words of the seasons of one reach against what came.
func ValueOf(seasons []coldseam.Replay, o Outcomes, cost float64) coldseam.SeasonValue {
	var all, days []verdict.Resolved // of the file, and of the replayed mornings
	var marks []float64
	came := map[coldseam.Date]verdict.Resolved{}
	first, last := seasons[0], seasons[len(seasons)-1]
	for y := first.From.Year - otherYears; y <= last.From.Year+otherYears; y++ {
		from, to := first.From, first.To
		from.Year, to.Year = y, y+first.To.Year-first.From.Year
		got, good := o.resolved(from.Add(0), to.Add(0))
		all = append(all, got...)
		if len(got) > 0 {
			marks = append(marks, good)
		}
	}
	for _, d := range all {
		came[d.Day] = d
	}

	water := map[coldseam.Date]float64{}
	known := 0
	for _, s := range seasons {
		for _, c := range s.Cells {
			d := came[c.Day]
			d.Day, d.Verdict = c.Day, c.Word
			if d.OddsOK = c.Odds != nil && c.Word.ShowsOdds(); d.OddsOK {
				d.Odds = *c.Odds
			}
			if c.WaterC != nil {
				water[c.Day] = *c.WaterC
			}
			if d.Known {
				known++
			}
			days = append(days, d)
		}
	}

	byDate := verdict.DayOfYear(all)
	thumb := verdict.RuleOfThumb(func(d coldseam.Date) float64 {
		if t, ok := water[d]; ok {
			return t
		}
		return math.NaN()
	})
	calendar := verdict.Baseline{Name: ByDate, Fishes: func(d coldseam.Date) bool { return byDate(d) >= cost }}
	rng := rand.New(rand.NewPCG(20240501, 3))
	m := verdict.ScoreValue(days, cost, []verdict.Baseline{calendar, thumb}, rng)

	v := coldseam.SeasonValue{Source: o.Source, Known: known, Evidence: verdict.EvidenceOf(days, rng), Cost: cost,
		Net: m.Net, Saved: m.Saved, Missed: m.Missed}
	if len(marks) > 0 {
		v.Good = coldseam.Quantile(marks, .5)
	}
	for _, r := range m.Baselines {
		v.Baselines = append(v.Baselines, coldseam.BaselineNet{Name: r.Name, Net: r.Net,
			Gain: coldseam.Estimate{Value: m.Net - r.Net, Lo: r.Lo, Hi: r.Hi}})
	}

	for _, x := range []struct {
		name  string
		score func(verdict.Resolved) float64
	}{
		{ByOdds, func(d verdict.Resolved) float64 {
			if d.OddsOK {
				return d.Odds
			}
			return math.NaN()
		}},
		{calendar.Name, func(d verdict.Resolved) float64 { return byDate(d.Day) }},
		{thumb.Name, func(d verdict.Resolved) float64 {
			if thumb.Fishes(d.Day) {
				return 1
			}
			return 0
		}},
	} {
		v.Ranks = append(v.Ranks, verdict.Ranked(x.name, days, x.score, rng))
	}
	return v
}
