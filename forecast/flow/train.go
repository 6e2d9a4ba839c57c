package flow

import (
	"math"

	"example.org/coldseam/forecast/ensemble"
)

// training makes the rows of every issue whose path t-1..t+leads is observed
// and not estimated. airAhead gives the rows the observed air of their path.
func (v *view) training(airAhead bool) []row {
	out := make([]row, 0, v.n)
	for t := 1; t+leads < v.n; t++ {
		if !ensemble.Complete(v.record.fit, t-1, t+leads) {
			continue
		}
		var ahead []float64
		if airAhead && v.air != nil {
			ahead = v.air[t+1 : t+leads+1]
		}

		var r row
		if !v.fill(&r, t, ahead) {
			continue
		}
		r.fold = v.Cal.Year[t] % folds
		for h := 1; h <= leads; h++ {
			r.goal[h] = v.record.fit[t+h] - v.clim[t+h] - r.z
		}
		out = append(out, r)
	}

	return out
}

// maxLag bounds the travel time from an upstream gauge, days.
const maxLag = 7

// snowShare tells a snow river with an air record: so many of
// its days are below freezing [proposal].
const snowShare = .15

// fitClimate learns the climatologies; up are the upstream records.
func fitClimate(r *record, up []*record) climate {
	c := climate{LogQ: ensemble.FitHarmonic(r.Cal, padTo(r.fit, len(r.Cal.Doy)))}
	for k, u := range up {
		if k < maxUp {
			c.Up = append(c.Up, ensemble.FitHarmonic(u.Cal, padTo(u.fit, len(u.Cal.Doy))))
			lag, _ := Travel(r.Days, u.Days, maxLag)
			c.Lag = append(c.Lag, lag)
		}
	}

	frost, n := 0.0, 0.0
	pdd := make([]float64, len(r.Cal.Doy))
	air := padTo(r.Days.AirC, len(pdd))
	for i, a := range air {
		pdd[i] = a
		if !math.IsNaN(a) {
			pdd[i] = max(a, 0)
			n++
			if a < 0 {
				frost++
			}
		}
	}

	if n > 2*ensemble.YearDays && frost > snowShare*n {
		c.Snow = true
		c.Air, c.PDD = ensemble.FitHarmonic(r.Cal, air), ensemble.FitHarmonic(r.Cal, pdd)
	}

	return c
}
