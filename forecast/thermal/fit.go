package thermal

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Parameter order of a fit: the active ones of a1..a8, then w, then the logs
// of g, JMax and s.
var (
	// Bounds [source: the authors' parameter file; signs of a2 and a3 tightened].
	boxLo = [9]float64{-5, 0, 0, -1, 0, 0, 0, -1, 0}
	boxHi = [9]float64{15, 1.5, 5, 1, 20, 10, 1, 5, 1}
	// centre of the near starts [proposal]
	nearStart = [9]float64{1.5, .35, .45, .1, 1, 1, .6, .2, .7}
	active    = map[int][]int{3: {0, 1, 2, 8}, 5: {0, 1, 2, 5, 6, 8}, 8: {0, 1, 2, 3, 4, 5, 6, 7, 8}}
)

const (
	spinUpDays   = 30 // before the first residual counts [proposal]
	fitStarts    = 8
	nearStarts   = 4
	startRuns    = 24 // runs of each start; the best is polished further
	polishRuns   = 60
	bucketRuns   = 50
	logLo, logHi = -5, 5.5
)

// bucketStarts are (g, JMax, s). With the first two alone some rivers stuck beside
// a better bucket [proposal].
var bucketStarts = [][3]float64{{.1, 15, 10}, {.3, 60, 20}, {.05, 120, 60}, {1, 40, 15}}

// bucketPrior are the logs of (g, JMax, s) to which the bucket is drawn: the
// middle of what long frozen records give. A pull of 2 degC per unit of log
// moves a 20-year fit by nothing and keeps a two-year fit from a bucket made of
// two springs [proposal; checked on the short public records].
var bucketPrior = [3]float64{-2.5, 4, 3.2}

const priorPull = 2.

// target is what a heat balance is fitted to.
type target struct {
	f    forcing
	t0   float64
	days []int32   // indices of the fit
	obs  []float64 // observed water on those days
}

// pack and unpack map a Heat to the vector of its free parameters.
func pack(h Heat, bucket bool) []float64 {
	all := [9]float64{h.A[0], h.A[1], h.A[2], h.A[3], h.A[4], h.A[5], h.A[6], h.A[7], h.W}
	var x []float64
	for _, k := range active[h.Kind] {
		x = append(x, all[k])
	}
	if bucket {
		x = append(x, clampLog(h.G), clampLog(h.JMax), clampLog(h.S))
	}
	return x
}

func clampLog(v float64) float64 { return min(max(math.Log(max(v, 1e-9)), logLo), logHi) }

func unpack(kind int, lnq float64, x []float64, bucket bool) Heat {
	h := Heat{Kind: kind, LnQ: lnq}
	for i, k := range active[kind] {
		switch k {
		case 8:
			h.W = x[i]
		case 6:
			h.A[6] = x[i] - math.Floor(x[i]) // the phase wraps
		default:
			h.A[k] = x[i]
		}
	}
	if bucket {
		n := len(active[kind])
		h.G, h.JMax, h.S = math.Exp(x[n]), math.Exp(x[n+1]), math.Exp(x[n+2])
	}
	return h
}

// box returns the bounds of the free parameters; the phase may run a year
// beyond either end, unpack wraps it.
func box(kind int, bucket bool) (lo, hi []float64) {
	for _, k := range active[kind] {
		l, h := boxLo[k], boxHi[k]
		if k == 6 {
			l, h = l-1, h+1
		}
		lo, hi = append(lo, l), append(hi, h)
	}
	if bucket {
		for range 3 {
			lo, hi = append(lo, logLo), append(hi, logHi)
		}
	}
	return lo, hi
}

// problemOf is the least-squares problem of the free run.
func (g target) problem(kind int, lnq float64, bucket bool) problem {
	lo, hi := box(kind, bucket)
	sim := make([]float64, len(g.f.air))
	n := len(g.days)
	np := len(active[kind])
	rows := n
	if bucket {
		rows += len(bucketPrior)
	}

	return problem{lo: lo, hi: hi, n: rows,
		eval: func(x, r []float64) {
			unpack(kind, lnq, x, bucket).run(sim, nil, g.f, g.t0)
			for i, d := range g.days {
				r[i] = sim[d] - g.obs[i]
			}
			for k := n; k < rows; k++ {
				r[k] = priorPull * (x[np+k-n] - bucketPrior[k-n])
			}
		},
		slopes: func(x, jac []float64) {
			unpack(kind, lnq, x, bucket).slopes(&g, bucket, sim, jac, rows)
			for c := range x {
				for k := n; k < rows; k++ {
					jac[c*rows+k] = 0
					if c == np+k-n {
						jac[c*rows+k] = priorPull
					}
				}
			}
		}}
}

// fitHeat fits kind parameters from seeded starts and then, with bucket, the
// ice bucket on top.
func fitHeat(kind int, lnq float64, g target, bucket bool, rng *rand.Rand) Heat {
	p := g.problem(kind, lnq, false)
	var ends []fitState
	runs := 0
	for s := range fitStarts {
		e := levenberg(p, startPoint(kind, s, rng), startRuns, 1e-3)
		runs += e.runs
		ends = append(ends, e)
	}

	slices.SortStableFunc(ends, func(a, b fitState) int {
		switch {
		case a.cost < b.cost:
			return -1
		case a.cost > b.cost:
			return 1
		}
		return 0
	})

	best := levenberg(p, ends[0].x, polishRuns, 1e-5)
	h := unpack(kind, lnq, best.x, false)
	h.Runs = runs + best.runs
	if ends[0].cost > 0 { // a record without variation is met exactly
		h.Spread = ends[2].cost/ends[0].cost - 1
	}
	h.RMSE = math.Sqrt(best.cost / float64(max(p.n, 1)))
	if bucket {
		return fitBucket(h, best.cost, g)
	}
	return h
}

// fitBucket adds the bucket to a fitted h; where it does not lower the cost the
// bucket stays empty.
func fitBucket(h Heat, cost float64, g target) Heat {
	p := g.problem(h.Kind, h.LnQ, true)
	out := h
	for _, b := range bucketStarts {
		s := h
		s.G, s.JMax, s.S = b[0], b[1], b[2]
		e := levenberg(p, pack(s, true), bucketRuns, 1e-4)
		out.Runs += e.runs
		if e.cost < cost {
			runs := out.Runs
			cost = e.cost
			out = unpack(h.Kind, h.LnQ, e.x, true)
			out.Runs, out.Spread = runs, h.Spread
			out.RMSE = math.Sqrt(cost / float64(max(p.n, 1)))
		}
	}
	return out
}

// startPoint is start s: the first ones near a common river, the rest anywhere
// in the box.
func startPoint(kind, s int, rng *rand.Rand) []float64 {
	var x []float64
	for _, k := range active[kind] {
		if s < nearStarts {
			x = append(x, min(max(nearStart[k]*(.7+.6*rng.Float64()), boxLo[k]), boxHi[k]))
		} else {
			x = append(x, boxLo[k]+rng.Float64()*(boxHi[k]-boxLo[k]))
		}
	}
	return x
}
