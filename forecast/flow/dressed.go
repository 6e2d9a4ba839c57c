package flow

import (
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// climateShare is one member in so many that turns to the climatology, on short
// records [proposal].
const climateShare = ensemble.ClimateShare(8)

// Salts of the random streams within one issue.
const (
	saltTrace  = 11
	saltCouple = 12
)

// start is the state of the river at the issue: its last usable day.
type start struct {
	y     float64 // ln Q, NaN when there is none to start from
	age   int     // days before the issue
	flags []string
}

// begin finds the value to start from. A non-positive newest day is no start:
// the logarithm has no value there, and the day before says nothing of it.
func begin(q ensemble.Request) start {
	t := q.View.Index(q.Day)
	obs, _ := logs(q.View, q.View.Len())
	s := start{y: math.NaN()}
	if v := coldseam.At(q.View.FlowM3S, t); v <= 0 {
		s.flags = append(s.flags, ensemble.FlagNoLog, ensemble.FlagLowConfidence)
		return s
	}

	l := ensemble.Last(obs, t)
	s.age = t - l
	if l < 0 || s.age > ensemble.StaleDays {
		s.flags = append(s.flags, ensemble.FlagStale, ensemble.FlagLowConfidence)
		return s
	}

	s.y = obs[l]
	if s.age > 0 {
		s.flags = append(s.flags, ensemble.FlagStale)
	}
	if l < len(q.View.FlowSoft) && q.View.FlowSoft[l] {
		s.flags = append(s.flags, ensemble.FlagEstimated)
	}
	return s
}

// forecastSimple is dressed persistence in ln Q pooled with the climatology of
// the traces, over the recession floor.
func (k *Predictor) forecastSimple(q ensemble.Request) (ensemble.Result, error) {
	_, horizon := q.Size()
	s := begin(q)
	res := ensemble.Result{Day: q.Day, Tier: k.m.Tier, Source: "flow/dressed-persistence", Flags: s.flags,
		Sources: []string{"dressed persistence", "climatology"}, Weights: climateShare.Weights(k.m.Years)}
	if math.IsNaN(s.y) {
		res.Tier = ensemble.TierStale
		res.Weights = []float64{0, 1}
	}

	if k.m.Tier == ensemble.TierShort || k.m.Tier == ensemble.TierCold {
		res.Flags = append(res.Flags, ensemble.FlagLowConfidence)
	}
	traces := ensemble.Traces(q, saltTrace, k.donors, k.m.Tier)
	if traces == nil && !math.IsNaN(s.y) {
		res.Source = "flow/persistence"
		return ensemble.Persistence(res, q, saltTrace, s.age, bareFirst, barePower, s.step), nil
	}
	if traces == nil {
		return ensemble.Result{}, ensemble.NoTraces("discharge", q)
	}

	for i, c := range traces {
		r := k.donors[c.Donor]
		path := make([]float64, horizon)
		base := 0.0
		switch {
		case !math.IsNaN(s.y):
			base = s.y - r.Run[max(c.Day-s.age, 0)]
			if math.IsNaN(base) {
				base = s.y - r.Run[c.Day]
			}
		case c.Donor > 0: // another river's level means nothing here
			base = k.m.Climate.LogQ.Doy(q.Day.YearDay()) - r.Run[c.Day]
		}

		for h := range path {
			keep := 1.
			if !math.IsNaN(s.y) && c.Donor == 0 { // another river's level is no climatology of this one
				keep = climateShare.Keep(i, h+1+s.age, k.m.Years)
			}
			path[h] = math.Exp(r.Run[c.Day+h+1] + keep*base)
		}
		res.Members = append(res.Members, path)
		res.Trace = append(res.Trace, r.Days.Day(c.Day))
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

// step is the flow in m3/s after a change of ln Q.
func (s start) step(w float64) float64 {
	if w > 0 {
		w *= bareRise
	}
	return math.Exp(s.y + w)
}

// floor lifts members that fall faster than the steep recession curve.
func (k *Predictor) floor(members [][]float64, s start) {
	if math.IsNaN(s.y) || k.m.FloorA <= 0 {
		return
	}
	for _, p := range members {
		for h := range p {
			p[h] = max(p[h], Recession(math.Exp(s.y), k.m.FloorA, k.m.FloorB, float64(h+1+s.age)))
		}
	}
}
