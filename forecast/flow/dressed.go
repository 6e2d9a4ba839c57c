package flow

import (
	"fmt"
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/daily"
)

// trace is a day of a donor's record.
type trace struct {
	g int // donor
	i int
}

// climateShare is one member in so many that turns to the climatology, on short
// records [proposal].
const climateShare = daily.ClimateShare(8)

// Salts of the random streams within one issue.
const (
	saltTrace  = 11
	saltCouple = 12
)

func (k *Runner) candidates(doy, horizon int) []trace {
	var out []trace
	for g, r := range k.donors {
		if g > 0 && k.m.Tier == daily.TierFull {
			break
		}
		p := r.pool
		if horizon > daily.DefaultHorizon {
			p = r.tail
		}
		for _, i := range p.Near(doy) {
			out = append(out, trace{g, int(i)})
		}
	}
	return out
}

// start is the state of the river at the issue: its last usable day.
type start struct {
	y     float64 // ln Q, NaN when there is none to start from
	age   int     // days before the issue
	flags []string
}

// begin finds the value to start from. A non-positive newest day is no start:
// the logarithm has no value there, and the day before says nothing of it.
func begin(q daily.Issue) start {
	t := q.View.Index(q.Day)
	obs, _ := logs(q.View, q.View.Len())
	s := start{y: math.NaN()}
	if v := coldseam.At(q.View.FlowM3S, t); v <= 0 {
		s.flags = append(s.flags, daily.FlagNoLog, daily.FlagLowConfidence)
		return s
	}

	l := last(obs, t)
	s.age = t - l
	if l < 0 || s.age > staleDays {
		s.flags = append(s.flags, daily.FlagStale, daily.FlagLowConfidence)
		return s
	}

	s.y = obs[l]
	if s.age > 0 {
		s.flags = append(s.flags, daily.FlagStale)
	}
	if l < len(q.View.FlowSoft) && q.View.FlowSoft[l] {
		s.flags = append(s.flags, daily.FlagEstimated)
	}
	return s
}

// forecastSimple is dressed persistence in ln Q pooled with the climatology of
// the traces, over the recession floor.
func (k *Runner) forecastSimple(q daily.Issue) (daily.Result, error) {
	members, horizon := q.Size()
	s := begin(q)
	res := daily.Result{Day: q.Day, Tier: k.m.Tier, Source: "flow/dressed-persistence", Flags: s.flags,
		Sources: []string{"dressed persistence", "climatology"}, Weights: climateShare.Weights(k.m.Years)}
	if s.y != s.y {
		res.Tier = daily.TierStale
		res.Weights = []float64{0, 1}
	}

	if k.m.Tier == daily.TierShort || k.m.Tier == daily.TierCold {
		res.Flags = append(res.Flags, daily.FlagLowConfidence)
	}
	cand := k.candidates(q.Day.YearDay(), horizon)
	if len(cand) == 0 && s.y == s.y {
		return k.bare(res, q, s), nil
	}
	if len(cand) == 0 {
		return daily.Result{},
			fmt.Errorf("forecast discharge on %s: no observed path of %d days within %d days of the date: %w",
				q.Day, horizon, daily.TraceWindowWide, coldseam.ErrUnavailable)
	}

	for i, c := range k.pick(q, cand, members) {
		r := k.donors[c.g]
		path := make([]float64, horizon)
		base := 0.0
		switch {
		case s.y == s.y:
			base = s.y - r.run[max(c.i-s.age, 0)]
			if base != base {
				base = s.y - r.run[c.i]
			}
		case c.g > 0: // another river's level means nothing here
			base = k.m.Climate.LogQ.Doy(q.Day.YearDay()) - r.run[c.i]
		}

		for h := range path {
			keep := 1.
			if s.y == s.y && c.g == 0 { // another river's level is no climatology of this one
				keep = climateShare.Keep(i, h+1+s.age, k.m.Years)
			}
			path[h] = math.Exp(r.run[c.i+h+1] + keep*base)
		}
		res.Members = append(res.Members, path)
		res.Trace = append(res.Trace, r.days.Day(c.i))
	}

	k.floor(res.Members, s)
	return res, nil
}

// Spread of ln Q of a river of which nothing is known at lead h:
// bareFirst*h^barePower, the mean absolute change on the eight public rivers in
// February-May times 1.25 [measured: hindcast, persistence]; rises are taken
// 1.4 times as large as falls [assumed].
const (
	bareFirst = .13
	barePower = .7
	bareRise  = 1.4
)

// bare is the first week of a gauge without similar gauges: the last value and
// the spread of rivers in general.
func (k *Runner) bare(res daily.Result, q daily.Issue, s start) daily.Result {
	members, horizon := q.Size()
	rng := q.Rand(saltTrace)
	for range members {
		w := daily.Walk(rng, horizon+s.age, bareFirst, barePower)[s.age:]
		for h := range w {
			if w[h] > 0 {
				w[h] *= bareRise
			}
			w[h] = math.Exp(s.y + w[h])
		}
		res.Members, res.Trace = append(res.Members, w), append(res.Trace, q.Day)
	}

	res.Source, res.Tier = "flow/persistence", daily.TierCold
	res.Sources, res.Weights = []string{"persistence"}, []float64{1}
	if !res.Has(daily.FlagLowConfidence) {
		res.Flags = append(res.Flags, daily.FlagLowConfidence)
	}
	return res
}

// floor lifts members that fall faster than the steep recession curve.
func (k *Runner) floor(members [][]float64, s start) {
	if s.y != s.y || k.m.FloorA <= 0 {
		return
	}
	for _, p := range members {
		for h := range p {
			p[h] = max(p[h], Recession(math.Exp(s.y), k.m.FloorA, k.m.FloorB, float64(h+1+s.age)))
		}
	}
}

// pick chooses the members' traces: the days asked for where the own record
// has them, else draws.
func (k *Runner) pick(q daily.Issue, cand []trace, members int) []trace {
	idx := make([]int32, len(cand))
	for i := range idx {
		idx[i] = int32(i)
	}
	out := make([]trace, members)
	for i, j := range daily.Draw(q.Rand(saltTrace), idx, members) {
		out[i] = cand[j]
	}

	if len(q.Traces) == 0 {
		return out
	}
	_, horizon := q.Size()
	own := k.donors[0]
	for i := range out {
		if j := own.days.Index(q.Traces[i%len(q.Traces)]); daily.Complete(own.run, j, j+horizon) {
			out[i] = trace{0, j}
		}
	}

	return out
}
