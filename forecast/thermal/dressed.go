package thermal

import (
	"fmt"
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/daily"
)

// trace is a day of a donor's record.
type trace struct {
	g int // donor
	i int // index in its record
}

// climateShare is one member in so many that turns to the climatology, on short
// records [proposal].
const climateShare = daily.ClimateShare(4)

// candidates lists the days a member may follow around a day of the year. The
// own record comes first; similar gauges join when it is short.
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

// forecastSimple is dressed persistence pooled with the climatology of the
// traces: the rung for short records and for every model that cannot run.
func (k *Runner) forecastSimple(q daily.Issue) (daily.Result, error) {
	members, horizon := q.Size()
	res := daily.Result{Day: q.Day, Tier: k.m.Tier, Source: "water/dressed-persistence",
		Sources: []string{"dressed persistence", "climatology"}, Weights: climateShare.Weights(k.m.Years)}
	obs := floor0(q.View.WaterC, q.View.Len())
	t := q.View.Index(q.Day)
	l := last(obs, t)
	age := t - l

	start := math.NaN()
	if l >= 0 && age <= staleDays {
		start = obs[l]
		if age > 0 {
			res.Flags = append(res.Flags, daily.FlagStale)
		}
	} else {
		res.Tier = daily.TierStale
		res.Weights = []float64{0, 1}
		res.Flags = append(res.Flags, daily.FlagStale, daily.FlagLowConfidence)
	}

	if frozen(obs, t) {
		res.Flags = append(res.Flags, daily.FlagIce)
	}
	if k.m.Tier == daily.TierShort || k.m.Tier == daily.TierCold {
		res.Flags = append(res.Flags, daily.FlagLowConfidence)
	}
	if len(q.Air) == 0 {
		res.Flags = append(res.Flags, daily.FlagNoAir)
	}

	cand := k.candidates(q.Day.YearDay(), horizon)
	if len(cand) == 0 && start == start {
		return k.bare(res, q, start, age), nil
	}
	if len(cand) == 0 {
		return daily.Result{},
			fmt.Errorf("forecast water temperature on %s: no observed path of %d days within %d days of the date: %w",
				q.Day, horizon, daily.TraceWindowWide, coldseam.ErrUnavailable)
	}

	pick := k.pick(q, cand, members)
	for i, c := range pick {
		r := k.donors[c.g]
		path := make([]float64, horizon)
		base := 0.0
		if start == start {
			base = start - r.run[max(c.i-age, 0)]
			if base != base {
				base = start - r.run[c.i]
			}
		}

		for h := range path {
			path[h] = clampC(r.run[c.i+h+1] + base*climateShare.Keep(i, h+1+age, k.m.Years))
		}
		res.Members = append(res.Members, path)
		res.Trace = append(res.Trace, r.days.Day(c.i))
	}

	return res, nil
}

// Spread of water temperature of a river of which nothing is known, degC at
// lead h: bareFirst*h^barePower, the mean absolute change on the short public
// records in February-May times 1.25 [measured: hindcast, persistence].
const (
	bareFirst = .5
	barePower = .62
)

// bare is the first week of a gauge without similar gauges: the last value and
// the spread of rivers in general.
func (k *Runner) bare(res daily.Result, q daily.Issue, start float64, age int) daily.Result {
	members, horizon := q.Size()
	rng := q.Rand(saltTrace)
	for range members {
		w := daily.Walk(rng, horizon+age, bareFirst, barePower)[age:]
		for h := range w {
			w[h] = clampC(start + w[h])
		}
		res.Members, res.Trace = append(res.Members, w), append(res.Trace, q.Day)
	}
	res.Source, res.Tier = "water/persistence", daily.TierCold
	res.Sources, res.Weights = []string{"persistence"}, []float64{1}
	if !res.Has(daily.FlagLowConfidence) {
		res.Flags = append(res.Flags, daily.FlagLowConfidence)
	}
	return res
}

// pick chooses the members' traces: the days asked for where the own record
// has them, else draws.
func (k *Runner) pick(q daily.Issue, cand []trace, members int) []trace {
	idx := make([]int32, len(cand))
	for i := range idx {
		idx[i] = int32(i)
	}
	rng := q.Rand(saltTrace)
	out := make([]trace, members)
	for i, j := range daily.Draw(rng, idx, members) {
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

// Salts of the random streams within one issue.
const (
	saltTrace = 1
	saltSim   = 2
	saltAir   = 3
	saltDress = 4
	saltTail  = 5
	saltFit   = 6
)
