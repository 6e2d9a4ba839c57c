package thermal

import "example.org/coldseam/forecast/daily"

// Growth of an air forecast's error while it is not archived: the share of the
// climatological innovation, linear from day 1 to day 10 [source: design
// section 3, assumed].
const (
	airGrowthDay1  = .35
	airGrowthDay10 = .9
	airSeason      = 45 // days of the year around the issue whose archived errors count
	airShrink      = 20 // issues at which half of a bias is believed [source: design section 3, proposal]
)

func airGrowth(h int) float64 {
	return min(airGrowthDay1+(airGrowthDay10-airGrowthDay1)*float64(h-1)/9, airGrowthDay10)
}

// airPaths makes the air of each member: the forecast less its bias, dressed
// with archived error paths of the season (or grown innovations of the member's
// trace while there are few), and beyond its end the trace's weather. One row
// of the forecast is a single forecast, several are members. known are the
// observed days between the start of the run at index l and the issue.
func (k *Runner) airPaths(q daily.Issue, l int, known []float64, traces []int, n int) [][]float64 {
	e, c := k.eng, k.m.Core
	v, hs := e.view, k.hist
	age := len(known)
	bias := airBias(q.AirErrors, n)
	season := seasonErrors(q.AirErrors, q.Day.YearDay())
	rng := q.Rand(saltAir)
	out := make([][]float64, len(traces))
	for i, tr := range traces {
		p := make([]float64, n)
		copy(p, known)
		row := q.Air[i%len(q.Air)]
		var err []float64
		if len(q.Air) == 1 && len(season) >= daily.MinAirErrors/4 && len(q.AirErrors) >= daily.MinAirErrors {
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
			if f > len(row) || row[f-1] != row[f-1] {
				p[h-1] = v.airC[l+h] + a + inn
				continue
			}
			x := row[f-1] - bias[f-1]
			switch {
			case len(q.Air) > 1: // members carry their own spread
			case f-1 < len(err) && err[f-1] == err[f-1]:
				x -= err[f-1] - bias[f-1]
			default:
				x += airGrowth(f) * inn
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

// airBias is the mean error by lead, shrunk to 0 by n/(n+20).
func airBias(errs []daily.AirError, n int) []float64 {
	out, cnt := make([]float64, n), make([]float64, n)
	for _, e := range errs {
		for h, x := range e.Err {
			if h < n && x == x {
				out[h], cnt[h] = out[h]+x, cnt[h]+1
			}
		}
	}
	for h := range out {
		out[h] /= cnt[h] + airShrink
	}
	return out
}

func seasonErrors(errs []daily.AirError, doy int) []daily.AirError {
	var out []daily.AirError
	for _, e := range errs {
		if daily.DoyGap(e.Issued.YearDay(), doy) <= airSeason {
			out = append(out, e)
		}
	}
	return out
}

// airMembers replaces the stacked part of each path by its own centre, made
// with the member's own air, plus the same dressing.
func (k *Runner) airMembers(paths [][]float64, air [][]float64, l int, pick []int32, md *Mode, features int) {
	var r row
	for i := range paths {
		k.eng.fillRow(&r, k.src, l, air[i], k.tr, features)
		md.Stack.centre(&r.mu, &r.x, r.doy, r.t)
		md.Library.member(paths[i], &r.mu, pick[i], &md.Spread)
	}
}
