package flow

import (
	"math"
	"slices"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// The dressing is widened about its centre: out-of-fold errors miss what a
// short record has not seen, most on the first days. The course over the leads is
// set by the coverage of the public records, which a factor of 1.1 throughout left
// at .78 on day 1 and .82 from day 7 [proposal].
const (
	spreadLong  = 1.06
	spreadShort = 1.15
	spreadFirst = .05 // more on day 1, less with 1/lead
)

func (m *Model) spread(lead int) float64 {
	f := spreadFirst / float64(lead)
	if m.Years < airYears {
		return spreadShort + f
	}
	return spreadLong + f
}

// Predictor makes forecasts of one model over one history. It keeps what many
// issues share and is not safe for concurrent use.
type Predictor struct {
	m      *Model
	donors []*ensemble.Donor // own record first, then similar gauges
	hist   *view
	rows   [2][]row // training rows behind the analogs
	an     [2]*analogs
	view   *view
	days   coldseam.Days
}

// NewPredictor prepares the history a model draws on, masked by the model's training
// rule, so that many issues share the work. up are the records of upstream
// gauges in the order of the fit.
func (m *Model) NewPredictor(history coldseam.Days, up []coldseam.Days, pool ...coldseam.Days) *Predictor {
	k := &Predictor{m: m}
	own := newRecord(history, m.Training)
	k.donors = append(k.donors, &own.Donor)
	for _, p := range pool {
		k.donors = append(k.donors, &newRecord(p, m.Training).Donor)
	}
	if m.ByAir[withoutAir] == nil {
		return k
	}
	var ur []*record
	for _, u := range up {
		ur = append(ur, newRecord(u, m.Training))
	}
	k.hist = newView(own, m.Climate, ur)

	for mode, md := range m.ByAir {
		if md != nil {
			k.rows[mode] = k.hist.training(mode == withAir)
			k.an[mode] = newAnalogs(k.rows[mode])
		}
	}

	return k
}

// see points the runner at the view of an issue, reusing the last one when the
// memory is the same.
func (k *Predictor) see(q ensemble.Request) {
	d := q.View
	if k.view != nil && ensemble.Same(d.FlowM3S, k.days.FlowM3S) && ensemble.Same(d.AirC, k.days.AirC) && d.First == k.days.First {
		return
	}
	var up []*record
	for _, u := range q.Upstream {
		up = append(up, newRecord(u, ensemble.Training{}))
	}
	k.view, k.days = newView(newRecord(d, ensemble.Training{}), k.m.Climate, up), d
}

// Forecast makes the forecast of one issue: see Model.Forecast.
func (k *Predictor) Forecast(q ensemble.Request) (ensemble.Result, error) {
	s := begin(q)
	t := q.View.Index(q.Day) - s.age
	if k.m.ByAir[withoutAir] == nil || math.IsNaN(s.y) || t < 1 || len(q.Upstream) < len(k.m.Climate.Up) {
		return k.forecastSimple(q)
	}
	k.see(q)
	mode := withoutAir
	var ahead []float64
	if len(q.Air) > 0 && k.m.ByAir[withAir] != nil {
		mode, ahead = withAir, k.ahead(q, t, s.age)
	}
	var r row
	if !k.view.fill(&r, t, ahead) {
		return k.forecastSimple(q)
	}
	return k.stacked(q, s, mode, t, &r)
}

// ahead is the air after the start day: observed up to the issue, the mean of
// the forecast's members after it.
func (k *Predictor) ahead(q ensemble.Request, t, age int) []float64 {
	var out []float64
	for i := 1; i <= age; i++ {
		out = append(out, k.view.air[t+i])
	}
	for h := range q.Air[0] {
		s, n := 0.0, 0.0
		for _, m := range q.Air {
			if h < len(m) && !math.IsNaN(m[h]) {
				s, n = s+m[h], n+1
			}
		}
		out = append(out, s/n)
	}
	return out
}

func (k *Predictor) stacked(q ensemble.Request, s start, mode, t int, r *row) (ensemble.Result, error) {
	members, horizon := q.Size()
	md := k.m.ByAir[mode]
	res := ensemble.Result{Day: q.Day, Tier: k.m.Tier, Source: "flow/stacked", Sources: md.Sources, Flags: s.flags}
	n := k.centre(mode, r)
	res.Weights = k.weights(md, r, n)
	cand := md.Library.nearest(r, dressK)
	if len(cand) == 0 {
		return k.forecastSimple(q)
	}

	idx := make([]int32, len(cand))
	for i := range cand {
		idx[i] = cand[i].K
	}
	pick := ensemble.Draw(q.Rand(saltTrace), idx, members)
	if len(q.Traces) > 0 {
		pick = md.Library.couple(pick, q)
	}

	total := horizon + s.age
	buf := make([]float64, members*total)
	for i, e := range pick {
		path := buf[i*total : (i+1)*total : (i+1)*total]
		date := md.Library.date(e)
		k.member(path, md, r, t, e, k.hist.Days.Index(date))
		if len(q.Traces) > 0 {
			date = q.Traces[i%len(q.Traces)]
		}
		res.Members = append(res.Members, path[s.age:])
		res.Trace = append(res.Trace, date)
	}

	blendAgency(res.Members, q)
	k.floor(res.Members, s)
	return res, nil
}

// centre fills the sources and the stacked centre of an issue and returns the
// number of sources.
func (k *Predictor) centre(mode int, r *row) int {
	md := k.m.ByAir[mode]
	src := k.m.sources(mode)
	var buf [maxCols + arCols]float64
	for m, s := range src {
		if s.cols == nil {
			c := k.an[mode].nearest(r, -1, analogK)
			for h := 1; h <= leads; h++ {
				r.src[h][m] = k.an[mode].mean(c, h)
			}
			continue
		}
		for h := 1; h <= leads; h++ {
			r.src[h][m] = md.Fitted.Local[m].value(s.cols(buf[:0], r, h), h, r.doy)
		}
	}
	md.Fitted.centre(r, len(src))
	return len(src)
}

// weights are the stack's weights at lead 5.
func (k *Predictor) weights(md *AirFit, r *row, n int) []float64 {
	out := make([]float64, n)
	for m := range out {
		x := make([]float64, n)
		x[m] = 1
		out[m] = 1/float64(n) + md.Fitted.Stack.value(x, 5, r.doy)
	}
	return out
}

// member fills one path in m3/s: the centre with the errors of entry e, and
// beyond the last lead the anomaly of the entry's own day i with the difference
// to it fading.
func (k *Predictor) member(path []float64, md *AirFit, r *row, t int, e int32, i int) {
	v, h0 := k.view, k.hist
	z := r.z
	for h := 1; h <= min(leads, len(path)); h++ {
		z = r.z + r.mu[h] + k.m.spread(h)*float64(md.Library.Res[int(e)*leads+h-1])
		z = min(max(z, md.Fitted.Zlo), md.Fitted.Zhi)
		path[h-1] = math.Exp(v.clim[t+h] + z)
	}

	off := z - coldseam.At(h0.hold, i+leads)
	for h := leads + 1; h <= len(path); h++ {
		off *= k.m.Phi
		zt := coldseam.At(h0.hold, i+h)
		if !math.IsNaN(zt) && !math.IsNaN(off) {
			z = min(max(zt+off, md.Fitted.Zlo), md.Fitted.Zhi)
		} else {
			z *= k.m.Phi
		}
		path[h-1] = math.Exp(v.clim[t+h] + z)
	}
}

// couple reorders the drawn errors so that member i gets an error of the rank
// that the river had on the day the other quantity's member i follows: joint
// behaviour from history, with both margins kept. A day without an error of its
// own takes a random rank.
func (l *Library) couple(pick []int32, q ensemble.Request) []int32 {
	rng := q.Rand(saltCouple)
	type ranked struct {
		v float64
		i int
	}
	level := func(k int32) float64 {
		s := 0.0
		for h := range 5 {
			s += float64(l.Res[int(k)*leads+h])
		}
		return s
	}

	byDay := l.index()
	a, b := make([]ranked, len(pick)), make([]ranked, len(pick))
	for i, k := range pick {
		a[i] = ranked{level(k), i}
		j := pick[rng.IntN(len(pick))]
		if e, ok := byDay[ensemble.DayNumber(q.Traces[i%len(q.Traces)])]; ok {
			j = e
		}
		b[i] = ranked{level(j), i}
	}

	by := func(x, y ranked) int {
		switch {
		case x.v < y.v:
			return -1
		case x.v > y.v:
			return 1
		}
		return x.i - y.i
	}
	slices.SortFunc(a, by)
	slices.SortFunc(b, by)

	out := make([]int32, len(pick))
	for i := range a {
		out[b[i].i] = pick[a[i].i]
	}
	return out
}

// index maps days to entries.
func (l *Library) index() map[int32]int32 {
	m := make(map[int32]int32, len(l.Day))
	for k, d := range l.Day {
		m[d] = int32(k)
	}
	return m
}

const (
	agencyShare = .5 // of the agency's forecast in the centre while its errors are unknown [proposal]
	agencyMax   = .9
)

// blendAgency moves the members of each lead towards the agency's forecast in
// ln Q: by its share, learnt from archived errors against the members' own
// spread when there are ensemble.MinAirErrors of them.
func blendAgency(members [][]float64, q ensemble.Request) {
	if len(q.Agency) == 0 {
		return
	}
	x := make([]float64, len(members))

	for h := range members[0] {
		s, n := 0.0, 0.0
		for _, a := range q.Agency {
			if h < len(a) && a[h] > 0 {
				s, n = s+math.Log(a[h]), n+1
			}
		}

		if n == 0 {
			continue
		}
		for i := range members {
			x[i] = math.Log(members[i][h])
		}
		med := coldseam.Quantile(x, .5)
		w, bias := agencyWeight(q.AgencyErrors, h, x, med)
		shift := math.Exp(w * (s/n - bias - med))
		for i := range members {
			members[i][h] *= shift
		}
	}
}

// agencyWeight is the share of the agency's forecast at one lead and its bias,
// shrunk by n/(n+20) [proposal].
func agencyWeight(errs []ensemble.AirError, h int, x []float64, med float64) (w, bias float64) {
	var n, s, q float64
	for _, e := range errs {
		if h < len(e.Err) && !math.IsNaN(e.Err[h]) {
			n, s, q = n+1, s+e.Err[h], q+e.Err[h]*e.Err[h]
		}
	}

	if n > 0 {
		bias = s / n * n / (n + 20)
	}
	if n < ensemble.MinAirErrors {
		return agencyShare, bias
	}
	own := 0.0
	for _, v := range x {
		own += (v - med) * (v - med) / float64(len(x))
	}
	his := max(q/n-(s/n)*(s/n), 1e-9)
	return min(own/(own+his), agencyMax), bias
}
