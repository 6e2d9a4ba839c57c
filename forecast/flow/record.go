package flow

import (
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/daily"
)

const (
	pad       = daily.CrossingHorizon + 2
	bridgeGap = 5
)

// record is a Days frame prepared for the models: y = ln Q with non-positive,
// estimated and ice-affected days missing in fit and only non-positive ones
// missing in obs.
type record struct {
	days coldseam.Days
	cal  *daily.Calendar
	n    int
	obs  []float64 // ln(m3/s), every positive day
	fit  []float64 // ln(m3/s), without estimated days
	run  []float64 // obs, gaps up to bridgeGap days bridged
	pool *daily.Pool
	tail *daily.Pool
}

func newRecord(d coldseam.Days, tr daily.Training) *record {
	d = tr.Mask(d)
	r := &record{days: d, n: d.Len()}
	r.cal = daily.NewCalendar(d.First, r.n+pad)
	r.obs, r.fit = logs(d, r.n)
	r.run = daily.Bridge(r.obs, bridgeGap)
	r.pool = daily.NewPool(r.cal, r.n, func(i int) bool {
		return daily.Complete(r.obs, i-1, i+daily.DefaultHorizon)
	})
	r.tail = daily.NewPool(r.cal, r.n, func(i int) bool {
		return daily.Complete(r.obs, i-1, i+1) && daily.Complete(r.run, i, i+daily.CrossingHorizon)
	})
	return r
}

// logs returns ln Q of the positive days, and the same without soft days.
func logs(d coldseam.Days, n int) (obs, fit []float64) {
	obs, fit = make([]float64, n), make([]float64, n)
	for i := range n {
		obs[i], fit[i] = math.NaN(), math.NaN()
		if q := coldseam.At(d.FlowM3S, i); q > 0 {
			obs[i] = math.Log(q)
			if i >= len(d.FlowSoft) || !d.FlowSoft[i] {
				fit[i] = obs[i]
			}
		}
	}
	return obs, fit
}

// last is the newest observed index at or before i, -1 for none.
func last(x []float64, i int) int {
	for i = min(i, len(x)-1); i >= 0; i-- {
		if x[i] == x[i] {
			return i
		}
	}
	return -1
}

// padTo copies x to length n, NaN beyond its end.
func padTo(x []float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = coldseam.At(x, i)
	}
	return out
}
