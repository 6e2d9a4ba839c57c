// Package flowlimit proposes the flow above which nobody should be on a reach
// in a boat: what the agency, the record and the speed of the water each say,
// smallest first. A full bank is a ceiling, not safe water, and every number
// here waits for the word of somebody who knows the reach.
package flowlimit

import (
	"cmp"
	"math"
	"slices"
	"sort"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/jig"
)

// Input is what is known of the gauge.
type Input struct {
	Days     coldseam.Days // daily means; Lat tells the half of the globe
	Gaugings []coldseam.Gauging
	Rating   *coldseam.Rating // nil = none
	Curve    jig.StageCurve   // stage against flow where there is no rating; zero = none

	ActionStageM *float64
	FloodStageM  *float64 // minor flood
}

// The rules [proposal].
const (
	stageBelowFloodM = 1 * coldseam.MetrePerFoot
	fullYearDays     = 330
	minYears         = 10
	returnYears      = 1.5 // bankfull is commonly near it [from memory]
	shortQuantile    = .95
	limitMS          = 1.2 // 4 ft/s
	medianMS         = .5  // usual mean speed at the median flow
	defaultExponent  = .34 // of speed against flow [from memory]
	minGaugings      = 10
	minFlowSpan      = 3.
	springs          = 5
)

// Propose lists the candidates, smallest first; the first is the proposal. None
// means that nothing is known of the gauge.
func Propose(in Input) []coldseam.FlowCandidate {
	var out []coldseam.FlowCandidate
	add := func(s string, q float64) *coldseam.FlowCandidate {
		if !(q > 0) || math.IsInf(q, 0) {
			return &coldseam.FlowCandidate{} // nothing to propose
		}
		out = append(out, coldseam.FlowCandidate{Source: s, FlowM3S: q})
		return &out[len(out)-1]
	}

	switch {
	case in.ActionStageM != nil:
		q, outside := in.flowAt(*in.ActionStageM)
		add(coldseam.LimitActionStage, q).Outside = outside
	case in.FloodStageM != nil:
		q, outside := in.flowAt(*in.FloodStageM - stageBelowFloodM)
		add(coldseam.LimitFloodStage, q).Outside = outside
	}

	if q, years := in.annualFlood(); years >= minYears {
		add(coldseam.LimitAnnualFlood, q).Years = years
	} else {
		add(coldseam.LimitSpringP95, coldseam.Quantile(in.flows(isSpring), shortQuantile))
	}

	speed := fitSpeed(in.Gaugings)
	if speed.n > 0 && speed.m > 0 {
		c := add(coldseam.LimitMeanSpeed, math.Pow(limitMS/speed.a, 1/speed.m))
		c.Rows, c.LnSD = speed.n, speed.sd
	} else {
		factor := math.Round(math.Pow(limitMS/medianMS, 1/defaultExponent)) // 13
		add(coldseam.LimitMultiple, factor*coldseam.Quantile(in.flows(isUsual), .5))
	}

	depth := fitDepth(in.Gaugings)
	for i := range out {
		c := &out[i]
		c.StageM, c.DepthM, c.VelocityMS = in.stageAt(c.FlowM3S), depth.at(c.FlowM3S), speed.at(c.FlowM3S)
		c.Springs = in.springs(c.FlowM3S)
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].FlowM3S < out[j].FlowM3S })
	return out
}

// annualFlood is the annual greatest daily flow with a return period of 1.5
// years, by Weibull's plotting positions, and the full years behind it.
func (in Input) annualFlood() (q float64, years int) {
	most, measured := map[int]float64{}, map[int]int{}
	for i, v := range in.Days.FlowM3S {
		if !math.IsNaN(v) {
			y := in.Days.Day(i).Year
			most[y], measured[y] = max(most[y], v), measured[y]+1
		}
	}

	var floods []float64
	for y, n := range measured {
		if n >= fullYearDays {
			floods = append(floods, most[y])
		}
	}
	if len(floods) < minYears {
		return math.NaN(), len(floods)
	}

	sort.Float64s(floods)
	rank := (1 - 1/returnYears) * float64(len(floods)+1) // from 1
	i := int(rank)
	return floods[i-1] + (rank-float64(i))*(floods[i]-floods[i-1]), len(floods)
}

// flows are the measured daily flows of the days that fit.
func (in Input) flows(fits func(coldseam.Date) bool) []float64 {
	var out []float64
	for i, v := range in.Days.FlowM3S {
		if !math.IsNaN(v) && fits(north(in.Days.Day(i), in.Days.Lat)) {
			out = append(out, v)
		}
	}
	return out
}

// north moves a day of the southern hemisphere by half a year.
func north(d coldseam.Date, lat float64) coldseam.Date {
	if lat < 0 {
		d.Month = (d.Month+5)%12 + 1
	}
	return d
}

func isSpring(d coldseam.Date) bool {
	return d.Month >= time.March && d.Month <= time.May || d.Month == time.June && d.Day <= 15
}

func isUsual(d coldseam.Date) bool {
	return isSpring(d) || d.Month == time.October || d.Month == time.November
}

func (in Input) springs(limit float64) []coldseam.SpringStops {
	var out []coldseam.SpringStops
	for i, v := range in.Days.FlowM3S {
		d := in.Days.Day(i)
		if math.IsNaN(v) || !isSpring(north(d, in.Days.Lat)) {
			continue
		}
		if len(out) == 0 || out[len(out)-1].Year != d.Year {
			out = append(out, coldseam.SpringStops{Year: d.Year})
		}
		s := &out[len(out)-1]
		s.Measured++
		if v >= limit {
			s.Stopped++
		}
	}
	return out[max(len(out)-springs, 0):]
}

// flowAt is the flow at a stage, NaN without a rating or curve.
func (in Input) flowAt(stageM float64) (q float64, outside bool) {
	if in.Rating != nil && in.Rating.Check() == nil {
		return in.Rating.At(stageM)
	}
	c := in.Curve
	n := len(c.StageM)
	if n < 2 || n != len(c.FlowM3S) {
		return math.NaN(), true
	}
	i := min(max(sort.SearchFloat64s(c.StageM, stageM), 1), n-1)
	a, b := math.Log(c.FlowM3S[i-1]), math.Log(c.FlowM3S[i])
	w := (stageM - c.StageM[i-1]) / (c.StageM[i] - c.StageM[i-1])
	return math.Exp(a + w*(b-a)), stageM < c.StageM[0] || stageM > c.StageM[n-1]
}

// stageAt is the stage at a flow, nil without a rating or curve or beyond it.
func (in Input) stageAt(q float64) *float64 {
	c := in.Curve
	if in.Rating != nil && in.Rating.Check() == nil {
		c = jig.CurveFromRating(*in.Rating)
	}
	if len(c.FlowM3S) < 2 || len(c.FlowM3S) != len(c.StageM) {
		return nil
	}
	if stage, inside := c.At(q); inside {
		return &stage
	}
	return nil
}

// power is y = a Q^m through n measurements, with the scatter of ln y.
type power struct {
	a, m, sd float64
	n        int
}

// at is 0 without a measurement.
func (p power) at(q float64) float64 { return p.a * math.Pow(q, p.m) }

func fitSpeed(gs []coldseam.Gauging) power {
	return fit(gs, defaultExponent, func(g coldseam.Gauging) float64 {
		if g.MeanVelMS == nil && g.AreaM2 != nil {
			return g.DischargeM3S / *g.AreaM2
		}
		return value(g.MeanVelMS)
	})
}

func fitDepth(gs []coldseam.Gauging) power {
	return fit(gs, 1-defaultExponent-.26, func(g coldseam.Gauging) float64 { return value(g.AreaM2) / value(g.WidthM) })
}

func value(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}

// fit is least squares of ln y on ln Q over the gaugings in open water. Too few,
// or too close to one another in flow, give the usual exponent through the one
// of median flow.
func fit(gs []coldseam.Gauging, exponent float64, y func(coldseam.Gauging) float64) power {
	type row struct{ q, y float64 }
	var rows []row
	for _, g := range gs {
		v := y(g)
		if !g.Ice && g.DischargeM3S > 0 && v > 0 && !math.IsInf(g.DischargeM3S+v, 0) {
			rows = append(rows, row{math.Log(g.DischargeM3S), math.Log(v)})
		}
	}

	if len(rows) == 0 {
		return power{}
	}
	slices.SortFunc(rows, func(a, b row) int { return cmp.Compare(a.q, b.q) })
	p := power{m: exponent, n: len(rows)}
	mid := rows[len(rows)/2]

	if len(rows) >= minGaugings && rows[len(rows)-1].q-rows[0].q >= math.Log(minFlowSpan) {
		var sum row
		for _, r := range rows {
			sum.q, sum.y = sum.q+r.q, sum.y+r.y
		}
		mid = row{sum.q / float64(p.n), sum.y / float64(p.n)}
		var qq, qy float64
		for _, r := range rows {
			qq, qy = qq+(r.q-mid.q)*(r.q-mid.q), qy+(r.q-mid.q)*(r.y-mid.y)
		}
		p.m = qy / qq
	}

	p.a = math.Exp(mid.y - p.m*mid.q)
	for _, r := range rows {
		d := r.y - math.Log(p.a) - p.m*r.q
		p.sd += d * d / float64(p.n)
	}
	p.sd = math.Sqrt(p.sd)
	return p
}
