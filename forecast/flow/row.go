package flow

import (
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

const (
	leads     = ensemble.DefaultHorizon
	baseCols  = 7  // 1, z, d1, d3, max(d1,0), z(t)-z(t-7), mean z of 60 days - z
	arCols    = 11 // 1, z, d1, d3, max(d1,0), cos, sin and their products with z and d1
	upCols    = 2  // per upstream gauge: z_up - z, last change of z_up
	maxUp     = 3  // gauges used
	airCols   = 2  // mean positive degrees ahead minus normal, last 3 days' anomaly
	maxCols   = baseCols + upCols*maxUp + airCols
	maxSrc    = 5
	memoryAge = 60 // days of the mean level
)

// row is one issue in anomalies of ln Q from its climatology.
type row struct {
	i    int32
	doy  int
	fold int
	y    float64 // ln Q at the issue
	z    float64 // its anomaly
	d1   float64
	d3   float64
	base [baseCols]float64
	ar   [arCols]float64
	up   [maxUp]float64             // last change of each upstream gauge
	upZ  [leads + 1][maxUp]float64  // its anomaly, lagged by the travel time, minus z
	air3 float64                    // mean air anomaly of the last 3 days
	pdd  [leads + 1]float64         // mean positive degrees of t+1..t+h minus normal
	goal [leads + 1]float64         // z(t+h) - z(t)
	src  [leads + 1][maxSrc]float64 // sources: change of z from t
	mu   [leads + 1]float64         // stacked change of z
	res  [leads + 1]float64         // observed minus mu
}

// view is a record seen through the climatologies: what the columns are read
// from. Every value at index i depends on days up to i only.
type view struct {
	*record
	clim []float64 // of ln Q
	hold []float64 // anomaly, carried over gaps of up to ensemble.BridgeGap days
	age  []int     // of hold, days
	mean []float64 // mean anomaly of the last memoryAge days
	up   []*view
	lag  []int // travel time of each, days
	air  []float64
	airA []float64
	pddC []float64 // normal positive degrees by calendar index
}

// climate are the climatologies of a model.
type climate struct {
	LogQ ensemble.Harmonic   `json:"log_q"`
	Up   []ensemble.Harmonic `json:"up,omitempty"`
	Lag  []int               `json:"lag,omitempty"` // travel time from each upstream gauge, days
	Air  ensemble.Harmonic   `json:"air"`
	PDD  ensemble.Harmonic   `json:"pdd"` // of positive degrees
	Snow bool                `json:"snow"`
}

func newView(r *record, c climate, up []*record) *view {
	v := viewOf(r, c.LogQ)
	for k, u := range up {
		if k < len(c.Up) {
			v.up, v.lag = append(v.up, viewOf(u, c.Up[k])), append(v.lag, c.Lag[k])
		}
	}

	if r.Days.AirC != nil && c.Snow {
		v.air = make([]float64, len(r.Cal.Doy))
		v.airA = make([]float64, r.n)
		v.pddC = make([]float64, len(r.Cal.Doy))

		for i := range v.air {
			v.air[i] = coldseam.At(r.Days.AirC, i)
			v.pddC[i] = c.PDD.At(r.Cal, i)
			if i < r.n {
				if v.airA[i] = v.air[i] - c.Air.At(r.Cal, i); math.IsNaN(v.airA[i]) {
					v.airA[i] = 0
				}
			}
		}
	}

	return v
}

func viewOf(r *record, clim ensemble.Harmonic) *view {
	v := &view{
		record: r,
		clim:   clim.Over(r.Cal),
		hold:   make([]float64, r.n),
		age:    make([]int, r.n),
		mean:   make([]float64, r.n),
	}
	last, age := math.NaN(), 0
	sum, n := 0.0, 0

	for i := range r.n {
		if z := r.Obs[i] - v.clim[i]; !math.IsNaN(z) {
			last, age = z, 0
			sum, n = sum+z, n+1
		} else if age++; age > ensemble.BridgeGap {
			last = math.NaN()
		}

		v.hold[i], v.age[i] = last, age
		if j := i - memoryAge; j >= 0 {
			if z := r.Obs[j] - v.clim[j]; !math.IsNaN(z) {
				sum, n = sum-z, n-1
			}
		}

		v.mean[i] = last
		if n > 0 {
			v.mean[i] = sum / float64(n)
		}
	}

	return v
}

// fill sets the columns of the issue at index t; false when nothing usable is
// there. ahead is the air of the next days, nil = none.
func (v *view) fill(r *row, t int, ahead []float64) bool {
	z := coldseam.At(v.hold, t)
	if math.IsNaN(z) {
		return false
	}
	r.i, r.doy, r.z = int32(t), v.Cal.Doy[t], z
	r.y = z + v.clim[t]
	r.d1, r.d3 = v.change(t, 1), v.change(t, 3)
	r.base = [baseCols]float64{1, z, r.d1, r.d3, max(r.d1, 0), v.change(t, 7), v.mean[t] - z}
	c, s := v.Cal.Cos[t], v.Cal.Sin[t]
	r.ar = [arCols]float64{1, z, r.d1, r.d3, max(r.d1, 0), c, s, z * c, z * s, r.d1 * c, r.d1 * s}

	for k, u := range v.up {
		j := u.Days.Index(v.Days.Day(t))
		zu := coldseam.At(u.hold, j)
		r.up[k] = 0
		if !math.IsNaN(zu) {
			r.up[k] = u.change(j, 1)
		}

		for h := 1; h <= leads; h++ {
			// what passed the gauge upstream at t+h-lag arrives at t+h
			x := coldseam.At(u.hold, j+min(h-v.lag[k], 0))
			if r.upZ[h][k] = x - z; math.IsNaN(x) {
				r.upZ[h][k] = 0
			}
		}
	}

	r.air3 = 0
	if v.air != nil {
		r.air3 = (v.airA[t] + v.airA[max(t-1, 0)] + v.airA[max(t-2, 0)]) / 3
		sum := 0.0
		for h := 1; h <= leads; h++ {
			if h <= len(ahead) && !math.IsNaN(ahead[h-1]) {
				sum += max(ahead[h-1], 0) - v.pddC[t+h]
			}
			r.pdd[h] = sum / float64(h)
		}
	}

	return true
}

// change is z(t) - z(t-k), 0 where the earlier day is unknown.
func (v *view) change(t, k int) float64 {
	d := coldseam.At(v.hold, t) - coldseam.At(v.hold, t-k)
	if math.IsNaN(d) {
		return 0
	}
	return d
}
