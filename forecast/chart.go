package forecast

import (
	"math"
	"time"

	"example.org/coldseam"
)

// chartStep is the spacing of the fans; chartDays how far they reach; chartBack
// how much measured water stands before them.
const (
	chartStep = 3 * time.Hour
	chartDays = 7
	chartBack = 48 * time.Hour
	chartGap  = 3 * time.Hour // a measured stroke breaks over a longer silence
)

// chart collects what the fan charts draw: the water as at the reach, like the
// brief's window; the measured stroke by the middle of the relation to the gauge.
func (w *work) chart() coldseam.ChartData {
	f := w.f
	c := coldseam.ChartData{FlowObs: f.points(f.Discharge), TempObs: f.points(f.Water)}
	mid := w.reach.Middle()
	for i := range c.TempObs {
		c.TempObs[i].V = drawn(mid.At(0, c.TempObs[i].V))
	}
	if m := f.Reach.MaxFlowM3S; m != nil {
		c.FlowLimitM3S = *m
	}
	end := coldseam.DateOf(f.Now.In(f.Loc)).Add(chartDays).In(f.Loc)
	var flows, temps []float64

	for t := f.Now.Truncate(time.Hour); t.Before(end); t = t.Add(chartStep) {
		c.Valid = append(c.Valid, t)
		if w.flowH != nil {
			flows = flows[:0]
			for i := range w.flowH.Members() {
				flows = append(flows, w.flowH.Flow(i, t))
			}
			c.FlowFan = append(c.FlowFan, five(flows))
		}

		if w.haveT {
			temps = temps[:0]
			for i := range w.tempR.Members {
				temps = append(temps, w.waterAt(i, t))
			}
			c.TempFan = append(c.TempFan, five(temps))
		}
	}

	for _, win := range w.out.Decision.Windows {
		c.Windows = append(c.Windows, [2]time.Time{win.Start, win.End})
	}
	if d := w.out.Decision; len(d.Windows) > 0 && d.WindowI >= 0 {
		c.Windows = bestHours(d.Windows[d.WindowI])
	}
	return c
}

func (f *Inputs) points(obs []coldseam.Observation) []coldseam.Point {
	from := f.Now.Add(-chartBack)
	var out []coldseam.Point
	var last time.Time
	for _, o := range obs {
		if o.At.Before(from) || !o.Flag.Usable() {
			continue
		}
		if !last.IsZero() && o.At.Sub(last) < 30*time.Minute {
			continue // two points an hour are enough for a line of 300 px
		}
		out = append(out, coldseam.Point{At: o.At, V: drawn(o.Value), Gap: !last.IsZero() && o.At.Sub(last) > chartGap})
		last = o.At
	}
	return out
}

// five are the quantiles of a fan.
func five(x []float64) (out [5]float64) {
	for i, p := range []float64{.1, .25, .5, .75, .9} {
		out[i] = drawn(coldseam.Quantile(x, p))
	}
	return out
}

// drawn rounds to four digits: more cannot be seen in a chart, and every brief
// that is stored carries some 600 such numbers.
func drawn(x float64) float64 {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return x
	}
	unit := math.Pow(10, 4-math.Ceil(math.Log10(math.Abs(x))))
	return math.Round(x*unit) / unit
}

func three(x []float64) [3]float64 {
	return [3]float64{coldseam.Quantile(x, .1), coldseam.Quantile(x, .5), coldseam.Quantile(x, .9)}
}
