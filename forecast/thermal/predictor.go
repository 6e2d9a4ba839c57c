package thermal

import (
	"fmt"
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// Predictor makes forecasts of one model over one history. It keeps what many
// issues share and is not safe for concurrent use.
type Predictor struct {
	m      *Model
	donors []*ensemble.Donor // own record first, then similar gauges
	hist   *state
	eng    *engine
	src    [][leads + 1]float64
	tr     []int32
	days   coldseam.Days // of the view behind eng

	tailDay  coldseam.Date
	tailCand []int32
	air      []float64
	path     []float64
}

// NewPredictor prepares the history a model draws traces from, masked by the model's
// training rule, so that many issues share the work. pool are the records of
// similar gauges in the order of the fit.
func (m *Model) NewPredictor(history coldseam.Days, pool ...coldseam.Days) *Predictor {
	k := &Predictor{m: m}
	own := newRecord(history, m.Training)
	k.donors = append(k.donors, &own.Donor)
	for _, p := range pool {
		k.donors = append(k.donors, &newRecord(p, m.Training).Donor)
	}
	if m.Core != nil {
		k.hist = newState(own, m.Core)
		k.hist.simulate()
		k.src = make([][leads + 1]float64, len(m.Core.Heat)+3)
	}
	return k
}

// Past is the free run of the model's heat balance on every day of a record,
// from air, flow and season without its thermometer; nil where the record was
// too short for a heat balance or had no air.
func (m *Model) Past(days coldseam.Days) []float64 {
	if m.Core == nil || len(m.Core.Heat) == 0 {
		return nil
	}
	s := newState(newRecord(days, ensemble.Training{}), m.Core)
	s.simulate()
	return s.sim[0][:min(s.n, days.Len())]
}

// see points the runner at the view of an issue, reusing the last one when the
// memory is the same.
func (k *Predictor) see(d coldseam.Days) {
	if k.eng != nil && ensemble.Same(d.WaterC, k.days.WaterC) && ensemble.Same(d.AirC, k.days.AirC) && ensemble.Same(d.FlowM3S, k.days.FlowM3S) &&
		d.First == k.days.First {
		return
	}
	v := newState(newRecord(d, ensemble.Training{}), k.m.Core)
	v.simulate()
	k.eng, k.days = newEngine(k.m.Core, k.hist, v), d
}

// Forecast makes the forecast of one issue: see Model.Forecast.
func (k *Predictor) Forecast(q ensemble.Request) (ensemble.Result, error) {
	res, err := k.unrounded(q)
	roundTo(res.Members, k.m.StepC)
	return res, err
}

func (k *Predictor) unrounded(q ensemble.Request) (ensemble.Result, error) {
	mode := withoutAir
	if len(q.Air) > 0 && len(q.Air[0]) > 0 && k.m.ByAir[withAir] != nil {
		mode = withAir
	}
	if k.m.ByAir[mode] == nil {
		return k.forecastSimple(q)
	}
	k.see(q.View)
	t := q.View.Index(q.Day)
	if t < 1 || t >= k.eng.view.n+ensemble.Pad-ensemble.CrossingHorizon {
		return ensemble.Result{}, fmt.Errorf("forecast water temperature on %s: record is %s to %s: %w",
			q.Day, q.View.First, q.View.Day(q.View.Len()-1), coldseam.ErrInvalid)
	}

	l := ensemble.Last(k.eng.view.Obs, min(t, k.eng.view.n-1))
	if l < 1 || t-l > ensemble.StaleDays {
		return k.forecastSimple(q)
	}
	held := k.held(l)
	if held {
		if p := ensemble.Last(k.eng.view.Obs, l-1); p >= 1 && t-p <= ensemble.StaleDays {
			l = p
		} else {
			held = false
		}
	}

	res, err := k.stacked(q, mode, l, t-l)
	if held {
		res.Flags = append(res.Flags, ensemble.FlagHeld)
	}
	return res, err
}

// held reports whether the value at l is so far from the free run that it waits
// for the next day to confirm it.
func (k *Predictor) held(l int) bool {
	c := k.m.Core
	if len(c.Heat) == 0 || c.ErrLo >= c.ErrHi {
		return false
	}
	out := func(i int) bool {
		e := coldseam.At(k.eng.view.err[0], i)
		return e < c.ErrLo || e > c.ErrHi
	}
	return out(l) && !out(l-1)
}

// stacked issues from index l, age days before the issue day, and hands back
// the leads after the issue day.
func (k *Predictor) stacked(q ensemble.Request, mode, l, age int) (ensemble.Result, error) {
	members, horizon := q.Size()
	md, rc := k.m.ByAir[mode], k.m.recipe(mode)
	res := ensemble.Result{Day: q.Day, Tier: k.m.Tier, Source: "water/stacked", Sources: k.m.Core.names()}
	k.flags(&res, q, mode, age)
	v := k.eng.view
	given := k.given(q, l, age)
	k.tr = k.eng.drawTraces(k.tr, q.Rand(saltSim), v.Cal.Doy[l], simTraces)
	var r row
	k.eng.fillRow(&r, k.src, l, given, k.tr, md.Stack.Features)

	md.Stack.centre(&r.mu, &r.x, r.doy, r.t)
	res.Weights = md.Stack.weights(r.doy, r.t)
	cand := md.Library.nearest(r.doy, &r.mu, r.t, r.dt, max(rc.k, members))
	if len(cand) == 0 {
		return k.forecastSimple(q)
	}
	pick := ensemble.Draw(q.Rand(saltDress), cand, members)
	n := max(horizon+age, leads)
	paths, traces := make([][]float64, members), make([]int, members)

	buf := make([]float64, members*n)
	for i, c := range pick {
		paths[i], traces[i] = buf[i*n:(i+1)*n:(i+1)*n], k.tailTrace(md.Library, c, q, i)
	}
	var air [][]float64
	if mode == withAir && !q.AirPerfect {
		air = k.airPaths(q, l, given[:age], traces, leads)
		k.airMembers(paths, air, l, pick, md)
	} else {
		for i, c := range pick {
			md.Library.member(paths[i], &r.mu, c, &md.Spread)
		}
	}

	for i, p := range paths {
		if n > leads {
			g := given
			if air != nil {
				g = air[i]
			}
			k.tail(p, l, traces[i], g)
		}
		res.Members = append(res.Members, p[age:age+horizon])
		res.Trace = append(res.Trace, k.hist.Days.Day(traces[i]))
	}

	return res, nil
}

// flags says what a reader must know of the state of the river.
func (k *Predictor) flags(res *ensemble.Result, q ensemble.Request, mode, age int) {
	if age > 0 {
		res.Flags = append(res.Flags, ensemble.FlagStale)
	}
	if frozen(k.eng.view.Obs, q.View.Index(q.Day)) {
		res.Flags = append(res.Flags, ensemble.FlagIce)
	}
	if mode == withoutAir {
		res.Flags = append(res.Flags, ensemble.FlagNoAir)
	}
	if k.m.Tier == ensemble.TierShort {
		res.Flags = append(res.Flags, ensemble.FlagLowConfidence)
	}
}

// given is the air of the days after l that is known at the issue: observed up
// to the issue day, the forecast after it.
func (k *Predictor) given(q ensemble.Request, l, age int) []float64 {
	if age == 0 && len(q.Air) == 0 {
		return nil
	}
	var out []float64
	for i := 1; i <= age; i++ {
		out = append(out, k.eng.view.air[l+i])
	}
	if len(q.Air) > 0 {
		out = append(out, meanAir(q.Air)...)
	}
	return out
}

// meanAir is the mean of the members by lead.
func meanAir(air [][]float64) []float64 {
	if len(air) == 1 {
		return air[0]
	}
	out := make([]float64, len(air[0]))
	for h := range out {
		s, n := 0.0, 0.0
		for _, m := range air {
			if h < len(m) && !math.IsNaN(m[h]) {
				s, n = s+m[h], n+1
			}
		}
		out[h] = s / n
	}
	return out
}

// tailTrace is the own day a member follows beyond the stacked leads: the day
// of its errors, or for errors of another gauge a day of the same season.
func (k *Predictor) tailTrace(l *Library, c int32, q ensemble.Request, member int) int {
	if l.Donor[c] == 0 {
		if i := k.hist.Days.Index(l.date(int(c))); i >= 1 && i+allLeads+ensemble.StaleDays < len(k.hist.air) && i < k.hist.n {
			return i
		}
	}
	if k.tailCand == nil || k.tailDay != q.Day {
		k.tailDay = q.Day
		k.tailCand = k.hist.Pool.Near(q.Day.YearDay())
		if len(k.tailCand) > 0 {
			k.tailCand = ensemble.Draw(q.Rand(saltTail), k.tailCand, 256)
		}
	}
	if len(k.tailCand) == 0 {
		return max(k.hist.n-1-allLeads, 1)
	}
	return int(k.tailCand[member%len(k.tailCand)])
}

// tail continues a member beyond the stacked leads along its trace: the ice
// heat balance with the trace's weather, started from the member's own last
// stacked day, and the trace's residual path; the fading anomaly where there is
// no heat balance.
func (k *Predictor) tail(path []float64, l, tr int, given []float64) {
	e, c := k.eng, k.m.Core
	v, hs := e.view, k.hist
	n := len(path)
	if len(c.Heat) == 0 {
		a0 := path[leads-1] - v.wat[l+leads]
		r0, keep := coldseam.At(hs.anom, tr+leads), 1.
		for h := leads + 1; h <= n; h++ {
			b := c.Damp[h-leads]
			x := coldseam.At(hs.anom, tr+h) - b*r0
			if !finite(x) {
				x = 0
			}
			path[h-1] = clampC(v.wat[l+h] + b*a0*keep + x)
		}
		return
	}

	if cap(k.air) <= n {
		k.air, k.path = make([]float64, n+1), make([]float64, n+1)
	}
	air, sim := k.air[:n+1], k.path[:n+1]
	e.airPath(air, l, given)
	for i := range sim {
		sim[i] = 0
	}
	co := c.Heat[0].coef(v.lnq != nil)
	e.simulatePath(&co, 0, l, air, tr, len(given), sim)

	d0 := path[leads-1] - sim[leads]
	e0 := coldseam.At(hs.err[0], tr+leads)
	held := 0.0
	for h := leads + 1; h <= n; h++ {
		b := c.Assim[0][h-leads][0]
		x := coldseam.At(hs.err[0], tr+h) - b*e0
		if !finite(x) {
			held *= .9 // the residual is not observed: let the last one fade
			x = held
		}
		held = x
		path[h-1] = clampC(sim[h] + b*d0 + x)
	}
}
