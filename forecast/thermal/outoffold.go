package thermal

import (
	"fmt"
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// Folds is the number of folds of years: fold = year mod Folds, or one year
// each on records of fewer [proposal].
const Folds = 5

// foldsOf splits the years with data into folds; dropped years are none. On
// fewer than Folds years the folds go by the order of the years and not by their
// remainder: of 2011, 2012, 2013 without 2012 the remainder makes one fold, and
// one fold teaches nothing.
func foldsOf(r *record) [][]int {
	years := r.Cal.Years(r.Obs, 1)
	full := len(r.Cal.Years(r.Obs, 120))
	k := min(Folds, max(full, 1))
	out := make([][]int, k)
	for i, y := range years {
		f := y % k
		if k < Folds {
			f = i % k // the years left when a test year is taken out may share a remainder
		}
		out[f] = append(out[f], y)
	}

	var some [][]int
	for _, f := range out {
		if len(f) > 0 {
			some = append(some, f)
		}
	}

	return some
}

// Cache keeps fitted parts by river, training rule and recipe within one job,
// so that nested folds which leave out the same years share their fits. The nil
// Cache keeps nothing. It is not safe for concurrent use.
type Cache struct {
	cores map[cacheKey]*Core
	rows  map[cacheKey][2][]row
}

// NewCache returns an empty cache.
func NewCache() *Cache {
	return &Cache{cores: map[cacheKey]*Core{}, rows: map[cacheKey][2][]row{}}
}

// cacheKey identifies a record by its memory: a cache lives as long as the job
// that holds the record.
type cacheKey struct {
	water    *float64
	n        int
	training string
	recipe   string
}

func keyOf(d coldseam.Days, tr ensemble.Training, what ...any) cacheKey {
	k := cacheKey{n: len(d.WaterC), training: fmt.Sprint(tr), recipe: fmt.Sprint(what...)}
	if k.n > 0 {
		k.water = &d.WaterC[0]
	}
	return k
}

func (c *Cache) core(d coldseam.Days, r *record, tr ensemble.Training, kinds []heatKind, seed uint64) *Core {
	key := keyOf(d, tr, kinds, seed)
	if c != nil && c.cores[key] != nil {
		return c.cores[key]
	}
	x := fitCore(r, kinds, ensemble.Stream(seed, ensemble.Epoch, saltFit))
	if c != nil {
		c.cores[key] = x
	}
	return x
}

// outOfFold makes the rows of one river in both air modes: for each fold of its
// training years the sources are fitted without it and forecast its days.
func (c *Cache) outOfFold(days coldseam.Days, kinds []heatKind, opt Options) [2][]row {
	tr, seed := opt.Training, opt.Seed
	key := keyOf(days, tr, kinds, seed, opt.NoAir)
	if c != nil {
		if x, ok := c.rows[key]; ok {
			return x
		}
	}
	var out [2][]row
	full := newRecord(days, tr)
	folds := foldsOf(full)

	for _, f := range folds {
		sub := tr.Without(f...)
		hist := newRecord(days, sub)
		if len(folds) < 2 || ensemble.Span(hist.Obs) < minFold {
			continue
		}
		core := c.core(days, hist, sub, kinds, seed)
		hs, vs := newState(hist, core), newState(full, core)
		hs.simulate()
		vs.simulate()

		e := newEngine(core, hs, vs)
		in := map[int]bool{}
		for _, y := range f {
			in[y] = true
		}
		out[withoutAir] = append(out[withoutAir], e.rows(in, false, seed)...)
		if core.HasAir && !opt.NoAir {
			out[withAir] = append(out[withAir], e.rows(in, true, seed)...)
		}
	}

	if c != nil {
		c.rows[key] = out
	}
	return out
}

// minFold is the shortest training record of a fold, years.
const minFold = .5

// The air modes.
const (
	withoutAir = iota
	withAir
)

// rows forecasts every day of the years in whose path t-1..t+leads is observed.
func (e *engine) rows(years map[int]bool, air bool, seed uint64) []row {
	var out []row
	v := e.view
	s := make([][leads + 1]float64, e.width())
	var tr []int32
	feat := 4
	if air {
		feat = 6
	}

	for t := 1; t+leads < v.n; t++ {
		if !years[v.Cal.Year[t]] || !ensemble.Complete(v.Obs, t-1, t+leads) {
			continue
		}
		var given []float64
		if air {
			if !ensemble.Complete(v.airGap, t+1, t+leads) {
				continue
			}
			given = v.air[t+1 : t+leads+1]
		}

		rng := ensemble.Stream(seed, v.Days.Day(t), saltSim)
		tr = e.drawTraces(tr, rng, v.Cal.Doy[t], simTraces)
		if len(tr) == 0 {
			continue
		}
		var r row
		e.fillRow(&r, s, t, given, tr, feat)
		for h := 1; h <= leads; h++ {
			r.y[h] = v.Obs[t+h] - v.Obs[t]
		}
		out = append(out, r)
	}

	return out
}

// fillRow computes the columns of the issue at index t of the view.
func (e *engine) fillRow(r *row, s [][leads + 1]float64, t int, given []float64, tr []int32, feat int) {
	v := e.view
	e.centres(s, t, given, tr)
	r.i, r.doy, r.t = int32(t), v.Cal.Doy[t], v.Obs[t]
	if r.dt = v.Obs[t] - v.Obs[t-1]; math.IsNaN(r.dt) {
		r.dt = 0
	}
	err := 0.0
	if len(v.err) > 0 {
		if err = v.err[0][t]; math.IsNaN(err) {
			err = 0
		}
	}
	a3, a7 := mean(v.airA[max(t-2, 0):t+1]), mean(v.airA[max(t-6, 0):t+1])
	var air [leads + 1]float64
	e.airPath(air[:], t, given)
	columns(&r.x, s, feat, r.t, r.dt, err, a3, a7, air[:])
}

func mean(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

// finish sets the stacked centre of each row and its residuals.
func (s *Stack) finish(rows []row) {
	for k := range rows {
		r := &rows[k]
		s.centre(&r.mu, &r.x, r.doy, r.t)
		for h := 1; h <= leads; h++ {
			r.r[h] = r.t + r.y[h] - r.mu[h]
		}
		r.warp = [4]float64{warp(r.mu[1]), warp(r.mu[5]), warp(r.mu[10]), warp(r.t)}
	}
}

// clip2 keeps the change of a day within +-2 degC, so that one wild day does
// not rule the distance.
func clip2(v float64) float64 { return math.Min(math.Max(v, -2), 2) }
