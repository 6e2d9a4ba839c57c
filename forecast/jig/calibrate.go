package jig

import (
	"math"
	"time"

	"example.org/coldseam"
)

// Log is one line of experience at a spot: a size held bottom or did not. The
// line angle at the surface, where someone looked, is worth more than the
// outcome: it gives the current back.
type Log struct {
	At       time.Time
	Oz       float64
	Rig      Rig
	Held     bool
	FlowM3S  float64  // from the stored record at that time
	AngleDeg *float64 // from vertical; nil = not seen
}

// Calibration is what the logs of a spot say about its factor g, ln m =
// ln m_model + g.
type Calibration struct {
	Mean, SD float64
	Logs     int  // used
	Unused   int  // size or flow missing, or nothing holds there by the model
	Done     bool // at least 4 logs with both outcomes [proposal]
}

// The grid of g and the rules of the posterior.
const (
	factorN    = 301
	factorMax  = 1.5
	minLike    = 1e-9
	doneAtLogs = 4
)

// posterior starts from N(0, priorSD) and multiplies in the probit likelihood
// of each log; model is ln m at the log's flow.
func posterior(priorSD float64, logs []Log, model func(Log) (lnM float64, ok bool)) Calibration {
	var c Calibration
	var ln [factorN]float64
	g := func(i int) float64 { return factorMax * (2*float64(i)/(factorN-1) - 1) }
	for i := range ln {
		z := g(i) / priorSD
		ln[i] = -.5 * z * z
	}
	var held, lost bool

	for _, l := range logs {
		lnM, ok := model(l)
		if !ok || !(l.Oz > 0) {
			c.Unused++
			continue
		}

		c.Logs++
		held, lost = held || l.Held, lost || !l.Held
		lnS := math.Log(l.Oz * coldseam.KgPerOunce)
		for i := range ln {
			p := phi((lnS - lnM - g(i)) / eventLnSD)
			if !l.Held {
				p = 1 - p
			}
			ln[i] += math.Log(max(p, minLike))
		}
	}

	c.Done = c.Logs >= doneAtLogs && held && lost
	if c.Logs == 0 {
		c.SD = priorSD // the grid would cut its tails
		return c
	}
	c.Mean, c.SD = moments(ln[:], g)
	return c
}

// moments are mean and sd of g under the unnormalised log weights.
func moments(ln []float64, g func(int) float64) (mean, sd float64) {
	top := ln[0]
	for _, l := range ln {
		top = max(top, l)
	}
	var n, a, b float64
	for i, l := range ln {
		w := math.Exp(l - top)
		n += w
		a += w * g(i)
		b += w * g(i) * g(i)
	}
	mean = a / n
	return mean, math.Sqrt(max(b/n-mean*mean, 0))
}

// SpeedFromAngle is the surface speed in m/s at which the rig with a head of
// kg shows angleDeg at the surface, in 0-3 m/s. ok is false when no speed in
// that range does. Of several the lowest is taken.
func SpeedFromAngle(r Rig, st Station, kg, angleDeg float64) (ms float64, ok bool) {
	if !(angleDeg > 0 && angleDeg < 90) || !(kg > 0) || !st.finite() || !r.usable() {
		return 0, false
	}
	over := func(us float64) bool {
		st.SurfaceMS = us
		sh := Solve(r, st, kg)
		return !sh.OK || math.Abs(sh.AngleDeg) >= angleDeg
	}
	lo, hi := 0.0, 0.0
	for hi < MaxSurfaceMS && !ok {
		lo, hi = hi, min(hi+.1, MaxSurfaceMS)
		ok = over(hi)
	}

	if !ok {
		return 0, false
	}
	for range 40 {
		mid := (lo + hi) / 2
		if over(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}

	st.SurfaceMS = lo
	if sh := Solve(r, st, kg); !sh.OK || math.Abs(math.Abs(sh.AngleDeg)-angleDeg) > 1 {
		return 0, false // the line lies down before it shows that angle
	}
	return lo, true
}
