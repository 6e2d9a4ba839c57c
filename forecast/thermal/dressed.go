package thermal

import (
	"math"

	"example.org/coldseam/forecast/ensemble"
)

// climateShare is one member in so many that turns to the climatology, on short
// records [proposal].
const climateShare = ensemble.ClimateShare(4)

// forecastSimple is dressed persistence pooled with the climatology of the
// traces: the rung for short records and for every model that cannot run.
func (k *Predictor) forecastSimple(q ensemble.Request) (ensemble.Result, error) {
	_, horizon := q.Size()
	res := ensemble.Result{Day: q.Day, Tier: k.m.Tier, Source: "water/dressed-persistence",
		Sources: []string{"dressed persistence", "climatology"}, Weights: climateShare.Weights(k.m.Years)}
	obs := floor0(q.View.WaterC, q.View.Len())
	t := q.View.Index(q.Day)
	l := ensemble.Last(obs, t)
	age := t - l

	start := math.NaN()
	if l >= 0 && age <= ensemble.StaleDays {
		start = obs[l]
		if age > 0 {
			res.Flags = append(res.Flags, ensemble.FlagStale)
		}
	} else {
		res.Tier = ensemble.TierStale
		res.Weights = []float64{0, 1}
		res.Flags = append(res.Flags, ensemble.FlagStale, ensemble.FlagLowConfidence)
	}

	if frozen(obs, t) {
		res.Flags = append(res.Flags, ensemble.FlagIce)
	}
	if k.m.Tier == ensemble.TierShort || k.m.Tier == ensemble.TierCold {
		res.Flags = append(res.Flags, ensemble.FlagLowConfidence)
	}
	if len(q.Air) == 0 {
		res.Flags = append(res.Flags, ensemble.FlagNoAir)
	}

	traces := ensemble.Traces(q, saltTrace, k.donors, k.m.Tier)
	if traces == nil && !math.IsNaN(start) {
		res.Source = "water/persistence"
		return ensemble.Persistence(res, q, saltTrace, age, bareFirst, barePower,
			func(w float64) float64 { return clampC(start + w) }), nil
	}
	if traces == nil {
		return ensemble.Result{}, ensemble.NoTraces("water temperature", q)
	}

	for i, c := range traces {
		r := k.donors[c.Donor]
		path := make([]float64, horizon)
		base := 0.0
		if !math.IsNaN(start) {
			base = start - r.Run[max(c.Day-age, 0)]
			if math.IsNaN(base) {
				base = start - r.Run[c.Day]
			}
		}

		for h := range path {
			path[h] = clampC(r.Run[c.Day+h+1] + base*climateShare.Keep(i, h+1+age, k.m.Years))
		}
		res.Members = append(res.Members, path)
		res.Trace = append(res.Trace, r.Days.Day(c.Day))
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

// Salts of the random streams within one issue.
const (
	saltTrace = 1
	saltSim   = 2
	saltAir   = 3
	saltDress = 4
	saltTail  = 5
	saltFit   = 6
)
