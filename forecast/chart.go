package forecast

import (
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/daily"
)

// chartStep is the spacing of the fans; chartDays how far they reach; chartBack
// how much measured water stands before them.
const (
	chartStep = 3 * time.Hour
	chartDays = 7
	chartBack = 48 * time.Hour
	chartGap  = 3 * time.Hour // a measured stroke breaks over a longer silence
)

// chart collects what the fan charts draw.
func (f *Features) chart(fp flowPath, haveFlow bool, temp daily.Result, d diel, limit float64, limitName string) coldseam.ChartData {
	c := coldseam.ChartData{
		FlowObs: f.points(f.Discharge), TempObs: f.points(f.Water),
		FlowLimitM3S: limit, FlowLimitName: limitName,
	}
	start := f.Now.Truncate(time.Hour)
	end := coldseam.DateOf(f.Now.In(f.Loc)).Add(chartDays).In(f.Loc)
	flows := make([]float64, len(fp.lnQ))
	temps := make([]float64, len(temp.Members))
	for t := start; t.Before(end); t = t.Add(chartStep) {
		c.Valid = append(c.Valid, t)
		if haveFlow {
			for i := range flows {
				flows[i] = fp.flow(i, t)
			}
			c.FlowFan = append(c.FlowFan, five(flows))
		}
		if len(temps) > 0 {
			f.tempsAt(temp, d, t, temps)
			c.TempFan = append(c.TempFan, five(temps))
		}
	}
	return c
}

// tempsAt fills dst with the members' water temperature at t: the daily mean of
// t's civil day plus the shape of the day, not below freezing.
func (f *Features) tempsAt(temp daily.Result, d diel, t time.Time, dst []float64) {
	k := f.lead(coldseam.DateOf(t.In(f.Loc)))
	k = min(max(k, 0), len(temp.Members[0])-1)
	off := d.at(t, f.Loc)
	for i := range dst {
		dst[i] = max(temp.Members[i][k]+off, 0)
	}
}

func (f *Features) points(obs []coldseam.Observation) []coldseam.Point {
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
		out = append(out, coldseam.Point{At: o.At, V: o.Value, Gap: !last.IsZero() && o.At.Sub(last) > chartGap})
		last = o.At
	}
	return out
}

func five(x []float64) [5]float64 {
	return [5]float64{coldseam.Quantile(x, .1), coldseam.Quantile(x, .25), coldseam.Quantile(x, .5),
		coldseam.Quantile(x, .75), coldseam.Quantile(x, .9)}
}

func three(x []float64) [3]float64 {
	return [3]float64{coldseam.Quantile(x, .1), coldseam.Quantile(x, .5), coldseam.Quantile(x, .9)}
}
