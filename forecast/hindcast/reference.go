package hindcast

import (
	"math"
	"math/rand/v2"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// The methods, in the order of the report.
const (
	Coldseam    = "coldseam"
	Persistence = "persistence"
	Dressed     = "dressed"
	ClimateDay  = "climatology"
	AnomalyAR   = "anomaly_ar"
)

// Methods lists them.
var Methods = []string{Coldseam, Persistence, Dressed, ClimateDay, AnomalyAR}

// reference makes the forecasts to beat from the training days of one fold.
// Values are degC or ln m3/s.
type reference struct {
	x     []float64 // training days, NaN elsewhere
	run   []float64 // with short gaps bridged, for tails
	obs   []float64 // all days: read at the issue only
	cal   *ensemble.Calendar
	clim  []float64
	damp  [ensemble.CrossingHorizon + 1]float64
	near  *ensemble.Pool
	far   *ensemble.Pool
	floor float64 // 0 degC, or -Inf for logs
}

func newReference(obs, train []float64, cal *ensemble.Calendar, floor float64) *reference {
	r := &reference{x: train, run: ensemble.Bridge(train, 5), obs: obs, cal: cal, floor: floor}
	n := len(train)
	r.clim = ensemble.FitHarmonic(cal, padded(train, len(cal.Doy))).Over(cal)
	r.near = ensemble.NewPool(cal, n, func(i int) bool { return ensemble.Complete(train, i-1, i+ensemble.DefaultHorizon) })
	r.far = ensemble.NewPool(cal, n, func(i int) bool { return ensemble.Complete(r.run, i-1, i+ensemble.CrossingHorizon) })
	r.damp[0] = 1

	for h := 1; h < len(r.damp); h++ {
		xx, xy := 0.0, 0.0
		for t := 0; t+h < n; t++ {
			if a, b := train[t]-r.clim[t], train[t+h]-r.clim[t+h]; !math.IsNaN(a) && !math.IsNaN(b) {
				xx, xy = xx+a*a, xy+a*b
			}
		}
		if xx > 0 {
			r.damp[h] = min(max(xy/xx, 0), 1)
		}
	}

	return r
}

func padded(x []float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = coldseam.At(x, i)
	}
	return out
}

// paths makes the members of one method for the issue at index t.
func (r *reference) paths(method string, t, horizon, members int, rng *rand.Rand) [][]float64 {
	if method == Persistence {
		p := make([]float64, horizon)
		for h := range p {
			p[h] = r.obs[t]
		}
		return [][]float64{p}
	}

	pool, x := r.near, r.x
	if horizon > ensemble.DefaultHorizon {
		pool, x = r.far, r.run
	}
	cand := pool.Near(r.cal.Doy[t])
	out := make([][]float64, 0, members)

	for _, c := range ensemble.Draw(rng, cand, members) {
		i := int(c)
		p := make([]float64, horizon)
		for h := 1; h <= horizon; h++ {
			switch method {
			case Dressed:
				p[h-1] = r.obs[t] + x[i+h] - x[i]
			case ClimateDay:
				p[h-1] = x[i+h]
			case AnomalyAR:
				b := r.damp[h]
				p[h-1] = r.clim[t+h] + b*(r.obs[t]-r.clim[t]) + (x[i+h] - r.clim[i+h]) - b*(x[i]-r.clim[i])
			}
			p[h-1] = math.Max(p[h-1], r.floor)
		}

		out = append(out, p)
	}

	return out
}
