package thermal

import (
	"math"
	"math/rand/v2"

	"example.org/coldseam/forecast/ensemble"
)

// sourceName names the sources in the order of their columns: the heat
// balances first, then these.
const (
	srcMarkov = "markov"
	srcDP     = "dressed persistence"
	srcAR     = "damped anomaly"
)

// engine computes the centre forecasts of all sources at issue days of view,
// with traces from hist. Both are seen through the same core.
type engine struct {
	core *Core
	hist *state
	view *state
	inc  *[367][leads + 1]float64 // mean change of water over h days around a day of the year
}

func newEngine(c *Core, hist, view *state) *engine {
	e := &engine{core: c, hist: hist, view: view, inc: new([367][leads + 1]float64)}
	e.increments()
	return e
}

// increments averages T(t'+h)-T(t') over all traces within the window of each
// day of the year.
func (e *engine) increments() {
	var sum [367][leads + 1]float64
	r := e.hist.record
	for d := 1; d <= 366; d++ {
		for _, i := range r.Pool.ByDay(d) {
			for h := 1; h <= leads; h++ {
				sum[d][h] += r.Obs[int(i)+h] - r.Obs[i]
			}
			sum[d][0]++
		}
	}

	for d := 1; d <= 366; d++ {
		w := ensemble.TraceWindow
		if e.count(&sum, d, w) < ensemble.TraceMin {
			w = ensemble.TraceWindowWide
		}
		n := e.count(&sum, d, w)
		if n == 0 {
			continue
		}

		for g := -w; g <= w; g++ {
			k := (d+g-1+732)%366 + 1
			for h := 1; h <= leads; h++ {
				e.inc[d][h] += sum[k][h] / n
			}
		}
	}
}

func (e *engine) count(sum *[367][leads + 1]float64, d, w int) float64 {
	n := 0.0
	for g := -w; g <= w; g++ {
		n += sum[(d+g-1+732)%366+1][0]
	}
	return n
}

// width is the number of sources.
func (e *engine) width() int { return len(e.core.Heat) + 3 }

func (c *Core) names() []string {
	var out []string
	for _, h := range c.Heat {
		n := "heat balance " + string(rune('0'+h.Kind))
		if h.G > 0 {
			n += " with ice"
		}
		out = append(out, n)
	}
	return append(out, srcMarkov, srcDP, srcAR)
}

// airPath fills dst[h], h = 0..leads, with the air that the issue at t expects:
// given where there is a forecast, fading anomaly beyond.
func (e *engine) airPath(dst []float64, t int, given []float64) {
	v := e.view
	a := v.airA[t]
	dst[0] = v.air[t]
	for h := 1; h < len(dst); h++ {
		a *= e.core.Phi
		if h <= len(given) && !math.IsNaN(given[h-1]) {
			dst[h] = given[h-1]
			a = given[h-1] - v.airC[t+h]
			continue
		}
		dst[h] = v.airC[t+h] + a
	}
}

// centres fills s[m][h] (h = 1..leads) with the centre of every source for the
// issue at index t of view; given is the air of t+1.. or nil. traces are days
// of hist for the mean of simulations.
func (e *engine) centres(s [][leads + 1]float64, t int, given []float64, traces []int32) {
	var air [leads + 1]float64
	e.airPath(air[:], t, given)
	for m := range e.core.Heat {
		e.heatCentre(&s[m], m, t, given, air[:], traces)
	}
	k := len(e.core.Heat)
	v, c := e.view, e.core
	r1, r2, prev := v.anom[t], v.anom[t-1], v.airA[t]
	if math.IsNaN(r2) {
		r2 = r1
	}

	r0 := r1
	for h := 1; h <= leads; h++ {
		ra := air[h] - v.airC[t+h]
		x := c.Markov[0]*r1 + c.Markov[1]*r2 + c.Markov[2]*ra + c.Markov[3]*prev
		s[k][h] = max(0, v.wat[t+h]+x)
		r2, r1, prev = r1, x, ra
		s[k+1][h] = max(0, v.Obs[t]+e.inc[v.Cal.Doy[t]][h])
		s[k+2][h] = max(0, v.wat[t+h]+c.Damp[h]*r0)
	}
}

// heatCentre is the mean of the trace simulations plus the assimilated
// residual. With the air given to the last lead and no discharge all traces
// agree and one run does.
func (e *engine) heatCentre(out *[leads + 1]float64, m, t int, given, air []float64, traces []int32) {
	v := e.view
	h := &e.core.Heat[m]
	c := h.coef(v.lnq != nil)
	for i := range out {
		out[i] = 0
	}

	n := len(traces)
	if n == 0 || len(given) >= leads && !c.useQ {
		n = 1
		e.simulatePath(&c, m, t, air, -1, len(given), out[:])
	} else {
		for _, tr := range traces {
			e.simulatePath(&c, m, t, air, int(tr), len(given), out[:])
		}
	}

	err := v.err[m][t]
	de := 0.0
	if t > 0 {
		if de = err - v.err[m][t-1]; math.IsNaN(de) {
			de = 0
		}
	}

	for k := 1; k <= leads; k++ {
		b := e.core.Assim[m][k]
		out[k] = max(0, out[k]/float64(n)+b[0]*err+b[1]*de)
	}
}

// simulatePath simulates one path from the state at t and adds it to out: the expected
// air plus, beyond the first nGiven days, the innovation path of trace tr;
// likewise discharge. tr < 0 adds nothing.
func (e *engine) simulatePath(c *coef, m, t int, air []float64, tr, nGiven int, out []float64) {
	v, hs := e.view, e.hist
	x, j := v.sim[m][t], v.buck[m][t]
	w := c.W
	pa, decay := air[0], 0.0
	var pq, aq0, tq0, fq float64
	if c.useQ {
		pq, aq0, fq = v.lnq[t], v.lnqA[t], 1
		if tr >= 0 {
			tq0 = hs.lnqA[tr]
		}
	}

	if tr >= 0 && nGiven < len(out)-1 {
		decay = hs.airA[tr+nGiven]
	}

	for h := 1; h < len(out); h++ {
		a := air[h]
		if tr >= 0 && h > nGiven {
			decay *= e.core.Phi
			a += hs.airA[tr+h] - decay
		}

		lq := 0.0
		if c.useQ {
			fq *= e.core.PhiQ
			q := v.lnqC[t+h] + fq*aq0
			if tr >= 0 {
				q += hs.lnqA[tr+h] - fq*tq0
			}
			lq = w*q + (1-w)*pq
			pq = q
		}

		x, j = c.step(x, j, w*a+(1-w)*pa, lq, v.cos[t+h], v.sin[t+h])
		pa = a
		out[h] += x
	}
}

// drawTraces picks the traces of the simulations of one issue.
func (e *engine) drawTraces(dst []int32, rng *rand.Rand, doy, n int) []int32 {
	dst = e.hist.Pool.Within(dst[:0], doy, ensemble.TraceWindow)
	if len(dst) < ensemble.TraceMin {
		dst = e.hist.Pool.Within(dst[:0], doy, ensemble.TraceWindowWide)
	}
	if len(dst) <= n {
		return dst
	}
	for i := range n {
		j := i + rng.IntN(len(dst)-i)
		dst[i], dst[j] = dst[j], dst[i]
	}
	return dst[:n]
}
