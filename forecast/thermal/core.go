package thermal

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

const (
	leads     = ensemble.DefaultHorizon
	allLeads  = ensemble.CrossingHorizon
	simTraces = 60 // trace simulations behind a centre [proposal]
)

// Core are the fitted parts that know nothing of stacking: climatologies, heat
// balances with their residual weights, the Markov model and the damped
// anomaly.
type Core struct {
	Water ensemble.Harmonic `json:"water"`
	Air   ensemble.Harmonic `json:"air"`
	Phi   float64           `json:"phi"` // lag-1 correlation of the air anomaly
	LogQ  ensemble.Harmonic `json:"log_q"`
	PhiQ  float64           `json:"phi_q"`

	HasAir bool                       `json:"has_air"`
	Heat   []Heat                     `json:"heat"`   // in the order of the recipe
	Assim  [][allLeads + 1][2]float64 `json:"assim"`  // [heat][lead] weights on e and on its change
	ErrLo  float64                    `json:"err_lo"` // 0.1 and 99.9 % of the first one's residual
	ErrHi  float64                    `json:"err_hi"`
	Markov [4]float64                 `json:"markov"`
	Damp   [allLeads + 1]float64      `json:"damp"` // weight of today's anomaly by lead
}

// heatKinds lists the heat balances of a recipe: parameters and bucket.
type heatKind struct {
	kind   int
	bucket bool
}

// state is a record seen through a core: filled air and flow, free runs and
// their residuals. Values at index i depend on days up to i only, but for
// future air, which the caller overlays.
type state struct {
	*record
	core   *Core
	air    []float64 // degC, n+ensemble.Pad days, gaps filled and the climatology beyond
	airA   []float64 // its anomaly
	airC   []float64 // its climatology
	airGap []float64 // observed air, short gaps bridged: where it is finite, rows may use it
	lnq    []float64 // ln(Q/QRef), nil without discharge
	lnqC   []float64
	lnqA   []float64
	cos    []float64
	sin    []float64
	wat    []float64 // water climatology
	anom   []float64 // observed water minus climatology
	sim    [][]float64
	buck   [][]float64
	err    [][]float64 // observed minus simulated
}

// fill replaces the gaps of x by its climatology plus the fading last anomaly.
func fill(x, clim []float64, n int, phi float64) []float64 {
	out := make([]float64, len(clim))
	a := 0.0
	for i := range out {
		if i < n {
			if v := coldseam.At(x, i); !math.IsNaN(v) {
				a = v - clim[i]
				out[i] = v
				continue
			}
		}
		a *= phi
		out[i] = clim[i] + a
	}
	return out
}

// lag1 is the correlation of successive anomalies.
func lag1(x []float64) float64 {
	if len(x) < 3 {
		return 0
	}
	return min(max(ensemble.Correlation(x[:len(x)-1], x[1:]), 0), .98)
}

func anomaly(x, clim []float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = coldseam.At(x, i) - clim[i]
	}
	return out
}

// positiveLogs is ln Q of the days that may be used.
func positiveLogs(d coldseam.Days, n int) []float64 {
	if d.FlowM3S == nil {
		return nil
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = math.NaN()
		if q := coldseam.At(d.FlowM3S, i); q > 0 {
			out[i] = math.Log(q)
		}
	}
	return out
}

// fitCore learns the parts from a training record.
func fitCore(r *record, kinds []heatKind, rng *rand.Rand) *Core {
	c := &Core{Water: ensemble.FitHarmonic(r.Cal, r.Obs)}
	c.HasAir = ensemble.Span(r.Days.AirC) > .5
	if c.HasAir {
		c.Air = ensemble.FitHarmonic(r.Cal, padTo(r.Days.AirC, len(r.Cal.Doy)))
		c.Phi = lag1(anomaly(r.Days.AirC, c.Air.Over(r.Cal), r.n))
	}

	if q := positiveLogs(r.Days, r.n); q != nil {
		c.LogQ = ensemble.FitHarmonic(r.Cal, padTo(q, len(r.Cal.Doy)))
		c.PhiQ = lag1(anomaly(q, c.LogQ.Over(r.Cal), r.n))
	}

	s := newState(r, c)
	c.fitHeats(s, kinds, rng)
	s.simulate()
	c.fitAssim(s)
	c.ErrLo, c.ErrHi = s.errRange()
	c.fitMarkov(s)
	c.fitDamp(s)
	return c
}

func padTo(x []float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = coldseam.At(x, i)
	}
	return out
}

// flowComplete is the share of the water days with discharge above which it
// drives the heat balance [proposal].
const flowComplete = .9

func (c *Core) fitHeats(s *state, kinds []heatKind, rng *rand.Rand) {
	if !c.HasAir {
		return
	}
	g := target{f: s.forcing(), t0: max(s.wat[0], 0)}
	driven, both, water := 0, 0.0, 0.0

	for i := range s.n {
		if a := coldseam.At(s.Days.AirC, i); !math.IsNaN(a) {
			driven++
		} else {
			driven = max(0, driven-8) // a few missing days do not end a run
		}

		if math.IsNaN(s.Obs[i]) {
			continue
		}
		water++
		if q := coldseam.At(s.Days.FlowM3S, i); q > 0 {
			both++
		}
		if driven >= spinUpDays {
			g.days = append(g.days, int32(i))
			g.obs = append(g.obs, s.Obs[i])
		}
	}

	for _, k := range kinds {
		kind := k.kind
		if kind == 8 && both < flowComplete*water {
			kind = 5
		}
		t := g
		if kind != 8 {
			t.f.lnq = nil
		}
		c.Heat = append(c.Heat, fitHeat(kind, 0, t, k.bucket, rng))
	}
}

// newState prepares the record for a core, without simulations.
func newState(r *record, c *Core) *state {
	s := &state{record: r, core: c}
	s.cos, s.sin = season(r.Cal.Doy)
	s.wat = c.Water.Over(r.Cal)
	s.anom = anomaly(r.Obs, s.wat, r.n)
	s.airC = c.Air.Over(r.Cal)
	s.air = fill(r.Days.AirC, s.airC, r.n, c.Phi)
	s.airGap = ensemble.Bridge(r.Days.AirC, ensemble.BridgeGap)
	s.airA = make([]float64, len(s.air))
	for i := range s.airA {
		s.airA[i] = s.air[i] - s.airC[i]
	}

	if q := positiveLogs(r.Days, r.n); q != nil && c.LogQ != (ensemble.Harmonic{}) {
		ref := c.LogQ.C[0]
		s.lnqC = c.LogQ.Over(r.Cal)
		s.lnq = fill(q, s.lnqC, r.n, c.PhiQ)
		s.lnqA = make([]float64, len(s.lnq))
		for i := range s.lnq {
			s.lnqA[i] = s.lnq[i] - s.lnqC[i]
			s.lnq[i] -= ref
			s.lnqC[i] -= ref
		}
	}

	return s
}

func (s *state) forcing() forcing {
	f := forcing{air: s.air[:s.n], cos: s.cos, sin: s.sin}
	if s.lnq != nil {
		f.lnq = s.lnq[:s.n]
	}
	return f
}

// simulate makes the free runs of every heat balance and their residuals.
func (s *state) simulate() {
	for _, h := range s.core.Heat {
		sim, j, e := make([]float64, s.n), make([]float64, s.n), make([]float64, s.n)
		h.run(sim, j, s.forcing(), max(s.wat[0], 0))
		for i := range e {
			e[i] = s.Obs[i] - sim[i]
		}
		s.sim, s.buck, s.err = append(s.sim, sim), append(s.buck, j), append(s.err, e)
	}
}

// fitAssim fits e(t+h) = b1 e(t) + b2 (e(t)-e(t-1)) per lead, without
// intercept, 2 % ridge on the second term, b1 in 0..1 [proposal].
func (c *Core) fitAssim(s *state) {
	for m := range c.Heat {
		var b [allLeads + 1][2]float64
		e := s.err[m]

		for h := 1; h <= allLeads; h++ {
			var xx, xd, dd, xy, dy float64
			for t := 1; t+h < s.n; t++ {
				x, p, y := e[t], e[t-1], e[t+h]
				if d := x - p; !math.IsNaN(d) && !math.IsNaN(y) {
					xx, xd, dd, xy, dy = xx+x*x, xd+x*d, dd+d*d, xy+x*y, dy+d*y
				}
			}

			dd *= 1.02
			if det := xx*dd - xd*xd; det > 0 {
				b[h][0] = (xy*dd - dy*xd) / det
				b[h][1] = (xx*dy - xd*xy) / det
			}

			if b[h][0] < 0 || b[h][0] > 1 {
				b[h][0] = min(max(b[h][0], 0), 1)
				b[h][1] = 0
				if dd > 0 {
					b[h][1] = (dy - b[h][0]*xd) / dd
				}
			}
		}

		c.Assim = append(c.Assim, b)
	}
}

// fitMarkov fits R(t) = c4 R(t-1) + c5 R(t-2) + k0 Ra(t) + k1 Ra(t-1)
// (Caissie et al. 1998, Can. J. Civ. Eng. 25:250 [from memory], the k1 term ours).
func (c *Core) fitMarkov(s *state) {
	n := ensemble.NewNormal(4)
	var row [4]float64
	for t := 2; t < s.n; t++ {
		row = [4]float64{s.anom[t-1], s.anom[t-2], s.airA[t], s.airA[t-1]}
		if y := s.anom[t]; !math.IsNaN(y) && !math.IsNaN(row[0]) && !math.IsNaN(row[1]) {
			n.Add(row[:], y, 1)
		}
	}
	eps := 1e-9 * (n.W + 1)
	if x, ok := n.Solve([]float64{eps, eps, eps, eps}); ok {
		copy(c.Markov[:], x)
	}
}

// fitDamp fits R(t+h) = b(h) R(t), b in 0..1.
func (c *Core) fitDamp(s *state) {
	c.Damp[0] = 1
	for h := 1; h <= allLeads; h++ {
		xx, xy := 0.0, 0.0
		for t := 0; t+h < s.n; t++ {
			if x, y := s.anom[t], s.anom[t+h]; !math.IsNaN(x) && !math.IsNaN(y) {
				xx, xy = xx+x*x, xy+x*y
			}
		}
		if xx > 0 {
			c.Damp[h] = min(max(xy/xx, 0), 1)
		}
	}
}

// errRange is the 0.1-99.9 % range of the residuals of the first heat balance.
func (s *state) errRange() (lo, hi float64) {
	if len(s.err) == 0 {
		return 0, 0
	}
	var x []float64
	for _, e := range s.err[0] {
		if !math.IsNaN(e) {
			x = append(x, e)
		}
	}
	if len(x) == 0 {
		return 0, 0
	}
	slices.Sort(x)
	return stat.Quantile(.001, stat.Empirical, x, nil), stat.Quantile(.999, stat.Empirical, x, nil)
}
