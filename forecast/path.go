package forecast

import (
	"math"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/jig"
)

// stageCurve is the stage against flow at the gauge: the rating where there is
// one, else the pairs of the last 60 days sorted into 12 classes of flow. It
// is unusable (no rows) when neither gives two rising rows.
func stageCurve(f *Inputs) jig.StageCurve {
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
