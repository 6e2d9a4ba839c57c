package forecast

import (
	"math"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/daily"
	"example.org/coldseam/forecast/jig"
)

// flowPath reads member flows at any hour: the newest measured value times the
// member's own change of the daily means, interpolated in logarithms between
// the noons of the days. It keeps members together at the last reading, which
// daily means alone would not.
type flowPath struct {
	now   time.Time // of the newest value
	qNow  float64
	noon0 time.Time // noon of the last complete day
	base  float64   // ln of its mean
	lnQ   [][]float64
}

// newFlowPath needs positive members; ok is false without a newest value.
func newFlowPath(f *Features, r daily.Result) (flowPath, bool) {
	last, ok := coldseam.Series{Obs: f.Discharge}.Last()
	if !ok || last.Value <= 0 || len(r.Members) == 0 {
		return flowPath{}, false
	}
	p := flowPath{now: last.At, qNow: last.Value, noon0: f.lastDay().In(f.Loc).Add(12 * time.Hour)}
	i := f.Days.Index(f.lastDay())
	mean := coldseam.At(f.Days.FlowM3S, i)
	if !(mean > 0) {
		mean = last.Value
	}
	p.base = math.Log(mean)
	for _, m := range r.Members {
		l := make([]float64, len(m))
		for k, q := range m {
			l[k] = math.Log(math.Max(q, 1e-3))
		}
		p.lnQ = append(p.lnQ, l)
	}
	return p, true
}

// at is ln Q of member i's daily means at t, flat beyond the ends.
func (p flowPath) at(i int, t time.Time) float64 {
	x := t.Sub(p.noon0).Hours() / 24
	m := p.lnQ[i]
	k := int(math.Floor(x))
	switch {
	case x <= 0:
		return p.base
	case k >= len(m):
		return m[len(m)-1]
	case k == 0:
		return p.base + x*(m[0]-p.base)
	}
	return m[k-1] + (x-float64(k))*(m[k]-m[k-1])
}

// flow is member i's discharge in m3/s at t.
func (p flowPath) flow(i int, t time.Time) float64 {
	return p.qNow * math.Exp(p.at(i, t)-p.at(i, p.now))
}

// peak is member i's highest flow from a to b, hour by hour.
func (p flowPath) peak(i int, a, b time.Time) float64 {
	m := 0.0
	for t := a; !t.After(b); t = t.Add(time.Hour) {
		m = math.Max(m, p.flow(i, t))
	}
	return math.Max(m, p.flow(i, b))
}

// rise is member i's greatest rise within 6 h between now and b, as a fraction.
func (p flowPath) rise(i int, from, b time.Time) float64 {
	m := 0.0
	for t := from; t.Before(b); t = t.Add(time.Hour) {
		m = math.Max(m, p.flow(i, t.Add(6*time.Hour))/p.flow(i, t)-1)
	}
	return m
}

// stageCurve is the stage against flow at the gauge: the rating where there is
// one, else the pairs of the last 60 days sorted into 12 classes of flow. It
// is unusable (no rows) when neither gives two rising rows.
func stageCurve(f *Features) jig.StageCurve {
	if f.Rating != nil && f.Rating.Check() == nil {
		return jig.CurveFromRating(*f.Rating)
	}
	q, h := pairs(f.Discharge, f.Stage)
	if len(q) < 24 {
		return jig.StageCurve{}
	}
	const classes = 12
	lo, hi := coldseam.Quantile(q, 0), coldseam.Quantile(q, 1)
	if !(lo > 0) || hi/lo < 1.05 {
		return jig.StageCurve{}
	}
	var c jig.StageCurve
	for k := range classes {
		a := lo * math.Pow(hi/lo, float64(k)/classes)
		b := lo * math.Pow(hi/lo, float64(k+1)/classes)
		var sq, sh, n float64
		for i := range q {
			if q[i] >= a && (q[i] < b || k == classes-1) {
				sq, sh, n = sq+q[i], sh+h[i], n+1
			}
		}
		if n < 2 {
			continue
		}
		x, y := sq/n, sh/n
		if m := len(c.FlowM3S); m > 0 && (x <= c.FlowM3S[m-1] || y <= c.StageM[m-1]) {
			continue
		}
		c.FlowM3S, c.StageM = append(c.FlowM3S, x), append(c.StageM, y)
	}
	return c
}

// pairs matches usable discharge and stage of equal times.
func pairs(discharge, stage []coldseam.Observation) (q, h []float64) {
	at := make(map[time.Time]float64, len(stage))
	for _, o := range stage {
		if o.Flag.Usable() {
			at[o.At] = o.Value
		}
	}
	for _, o := range discharge {
		if v, ok := at[o.At]; ok && o.Flag.Usable() && o.Value > 0 {
			q, h = append(q, o.Value), append(h, v)
		}
	}
	return q, h
}

// diel is the shape of the day in water temperature: the mean departure from
// the day's own mean by local hour, from the last 14 whole days. It is the
// gauge's own; where it has no hours it is flat.
type diel struct {
	off   [24]float64
	known bool
}

func newDiel(obs []coldseam.Observation, now time.Time, loc *time.Location) diel {
	type day struct {
		sum [24]float64
		n   [24]float64
	}
	days := map[coldseam.Date]*day{}
	from := coldseam.DateOf(now.In(loc)).Add(-14)
	for _, o := range obs {
		if !o.Flag.Usable() {
			continue
		}
		t := o.At.In(loc)
		d := coldseam.DateOf(t)
		if d.Before(from) {
			continue
		}
		x := days[d]
		if x == nil {
			x = &day{}
			days[d] = x
		}
		x.sum[t.Hour()] += o.Value
		x.n[t.Hour()]++
	}
	var out diel
	var n [24]float64
	for d, x := range days {
		if d == coldseam.DateOf(now.In(loc)) {
			continue
		}
		mean, have := 0.0, 0.0
		for h := range 24 {
			if x.n[h] > 0 {
				mean, have = mean+x.sum[h]/x.n[h], have+1
			}
		}
		if have < 20 {
			continue
		}
		mean /= have
		for h := range 24 {
			if x.n[h] > 0 {
				out.off[h] += x.sum[h]/x.n[h] - mean
				n[h]++
			}
		}
	}
	for h := range 24 {
		if n[h] > 0 {
			out.off[h] /= n[h]
			out.known = true
		}
	}
	return out
}

// at is the departure at t.
func (d diel) at(t time.Time, loc *time.Location) float64 {
	l := t.In(loc)
	h, frac := l.Hour(), float64(l.Minute())/60
	return d.off[h] + frac*(d.off[(h+1)%24]-d.off[h])
}

// mean is the mean departure from a to b.
func (d diel) mean(a, b time.Time, loc *time.Location) float64 {
	sum, n := 0.0, 0.0
	for t := a; !t.After(b); t = t.Add(30 * time.Minute) {
		sum, n = sum+d.at(t, loc), n+1
	}
	return sum / n
}
