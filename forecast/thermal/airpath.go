package thermal

import (
	"math"
	"math/rand/v2"

	"example.org/coldseam/forecast/ensemble"
)

// Growth of an air forecast's error while it is not archived: the share of the
// climatological innovation, linear from day 1 to day 10 [source: design
// section 3, assumed]. Where spring days stray by 4.5 degC from the season it
// comes to 0.9, 1.8, 2.5, 3.2 and 4 degC on days 1, 3, 5, 7 and 10.
const (
	airGrowthDay1  = .35
	airGrowthDay10 = .9
	airSeason      = 45 // days of the year around the issue whose archived errors count
	// issues at which half of a bias, or of a spread, is believed [proposal]
	airShrink = 20
)

func airGrowth(h int) float64 {
	return min(airGrowthDay1+(airGrowthDay10-airGrowthDay1)*float64(h-1)/9, airGrowthDay10)
}

// airPaths makes the air of each member: the forecast less its bias, dressed
// with archived error paths of the season (or grown innovations while there are
// few, in the size that the few show), and beyond its end the trace's weather.
// The innovations are those of days drawn for the season alone: the member's own
// trace was chosen because its water did what the forecast says, so its weather
// would agree with the forecast and make it look surer than it is. One row
// of the forecast is a single forecast, several are members. known are the
// observed days between the start of the run at index l and the issue.
func (k *Predictor) airPaths(q ensemble.Request, l int, known []float64, traces []int, n int) [][]float64 {
	e, c := k.eng, k.m.Core
	v, hs := e.view, k.hist
	age := len(known)
	bias := airBias(q.AirErrors, n)
	season := seasonErrors(q.AirErrors, q.Day.YearDay())
	rng := q.Rand(saltAir)
	grown := k.grownErrors(q, len(traces), rng)
	out := make([][]float64, len(traces))

	for i, tr := range traces {
		p := make([]float64, n)
		copy(p, known)
		row := q.Air[i%len(q.Air)]
		var err []float64
		if len(q.Air) == 1 && len(season) >= ensemble.MinAirErrors/4 && len(q.AirErrors) >= ensemble.MinAirErrors {
			err = season[rng.IntN(len(season))].Err
		}
		a, decay := v.airA[l], hs.airA[tr]
		if age > 0 {
			a = known[age-1] - v.airC[l+age]
		}

		for h := age + 1; h <= n; h++ {
			f := h - age // lead of the forecast
			a *= c.Phi
			decay *= c.Phi
			inn := hs.airA[tr+h] - decay
			if f > len(row) || math.IsNaN(row[f-1]) {
				p[h-1] = v.airC[l+h] + a + inn
				continue
			}

			x := row[f-1] - bias[f-1]
			switch {
			case len(q.Air) > 1: // members carry their own spread
			case f-1 < len(err) && !math.IsNaN(err[f-1]):
				x -= err[f-1] - bias[f-1]
			default:
				x += grown[i][f]
			}
			p[h-1] = x

			// beyond the forecast's end the path goes on from here
			a = x - v.airC[l+h]
			decay = hs.airA[tr+h]
		}

		out[i] = p
	}

	return out
}

// grownErrors are n error paths by lead (1..leads) for a forecast whose errors are
// not known: innovations of days of the season, each once with either sign so
// that they move no mean, grown by lead and scaled to the size of the archived
// errors as far as there are any.
func (k *Predictor) grownErrors(q ensemble.Request, n int, rng *rand.Rand) [][leads + 1]float64 {
	hs, phi := k.hist, k.m.Core.Phi
	out := make([][leads + 1]float64, n)
	cand := hs.Pool.Within(nil, q.Day.YearDay(), airSeason)
	if len(cand) == 0 {
		return out
	}
	sign := 1.
	var pick int
	var sq, cnt [leads + 1]float64

	for i := range out {
		if i%2 == 0 {
			pick = int(cand[rng.IntN(len(cand))])
		}
		decay := hs.airA[pick]
		for f := 1; f <= leads; f++ {
			decay *= phi
			e := sign * airGrowth(f) * (hs.airA[pick+f] - decay)
			out[i][f] = e
			sq[f], cnt[f] = sq[f]+e*e, cnt[f]+1
		}
		sign = -sign
	}

	s := errorScale(q.AirErrors, func(f int) float64 { return sq[f] / cnt[f] })
	for i := range out {
		for f := range out[i] {
			out[i][f] *= s
		}
	}

	return out
}

// errorScale is the factor on the assumed spread (variance by lead) that archived
// errors ask for: their mean square about the shrunk bias over the assumed one,
// each issue counting once, drawn to 1 by airShrink issues' worth.
func errorScale(errs []ensemble.AirError, variance func(lead int) float64) float64 {
	bias := airBias(errs, leads)
	sum, n := 0., 0.
	for _, e := range errs {
		s, c := 0., 0.
		for h, x := range e.Err {
			if v := 0.; h < leads && !math.IsNaN(x) {
				if v = variance(h + 1); v > 0 {
					s, c = s+(x-bias[h])*(x-bias[h])/v, c+1
				}
			}
		}
		if c > 0 {
			sum, n = sum+s/c, n+1
		}
	}
	return math.Sqrt((sum + airShrink) / (n + airShrink))
}

// airBias is the mean error by lead, shrunk to 0 by n/(n+20).
func airBias(errs []ensemble.AirError, n int) []float64 {
	out, cnt := make([]float64, n), make([]float64, n)
	for _, e := range errs {
		for h, x := range e.Err {
			if h < n && !math.IsNaN(x) {
				out[h], cnt[h] = out[h]+x, cnt[h]+1
			}
		}
	}
	for h := range out {
		out[h] /= cnt[h] + airShrink
	}
	return out
}

func seasonErrors(errs []ensemble.AirError, doy int) []ensemble.AirError {
	var out []ensemble.AirError
	for _, e := range errs {
		if ensemble.DoyGap(e.Issued.YearDay(), doy) <= airSeason {
			out = append(out, e)
		}
	}
	return out
}

// airMembers replaces the stacked part of each path by its own centre, made
// with the member's own air, plus the same dressing.
func (k *Predictor) airMembers(paths [][]float64, air [][]float64, l int, pick []int32, md *AirFit) {
	var r row
	for i := range paths {
		k.eng.fillRow(&r, k.src, l, air[i], k.tr, md.Stack.Features)
		md.Stack.centre(&r.mu, &r.x, r.doy, r.t)
		md.Library.member(paths[i], &r.mu, pick[i], &md.Spread)
	}
}
