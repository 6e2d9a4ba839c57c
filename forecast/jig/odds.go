package jig

import (
	"math"
	"sort"
)

// gridN is the number of flows at which the minimum mass is tabulated.
const gridN = 24

// eventLnSD is the noise of one logged "held", so that a printed probability
// can be scored against the log [proposal].
const eventLnSD = 0.20

// Model error before any log [proposal]: .38 is the Monte Carlo sd of ln m;
// .25 of it remains without its velocity (.15) and depth (.08) spread.
const (
	priorLnSD      = 0.38
	ownLnSD        = 0.25
	timedSpeedLnSD = 0.15
	soundedLnSD    = 0.08
	outsideLnSD    = 0.60
)

// modelLnSD is the prior sd of g for a spot whose surface speed and depth are
// known to ln-sd speedSD and depthSD, where the gauge section scatters by
// sComb. A timed and sounded spot has max(.38, sqrt(.25^2 + sComb^2)); what is
// less well known widens it. Several timings at the spot itself replace, as they
// grow in number, the scatter of the gauge's section, which is that of decades
// [proposal].
func modelLnSD(sComb, speedSD, depthSD float64) float64 {
	least := priorLnSD
	if speedSD < timedSpeedLnSD {
		speed, depth := speedElastic*speedSD, depthElastic*max(depthSD, soundedLnSD)
		least = math.Sqrt(ownLnSD*ownLnSD + speed*speed + depth*depth)
		sComb *= speedSD / timedSpeedLnSD
	}
	v := sComb*sComb + ownLnSD*ownLnSD
	if speedSD > timedSpeedLnSD {
		v += speedElastic * speedElastic * speedSD * speedSD
	}
	if depthSD > soundedLnSD {
		v += depthElastic * depthElastic * depthSD * depthSD
	}
	return max(least, math.Sqrt(v))
}

// curve is ln of the minimum mass against ln of the flow; +Inf where 80 g does
// not hold. One curve stands for one boat speed.
type curve struct {
	lnQ0, step float64
	lnM        [gridN]float64
}

func (c *curve) at(lnQ float64) float64 {
	f := (lnQ - c.lnQ0) / c.step
	if !(f > 0) {
		return c.lnM[0]
	}
	if f >= gridN-1 {
		return c.lnM[gridN-1]
	}
	i := int(f)
	a, b := c.lnM[i], c.lnM[i+1]
	if math.IsInf(b, 1) { // no interpolation towards "none"
		return b
	}
	return a + (f-float64(i))*(b-a)
}

// tabulate fills the curve from qLo to qHi.
func tabulate(s *site, r Rig, qLo, qHi float64) curve {
	c := curve{lnQ0: math.Log(qLo), step: math.Log(qHi/qLo) / (gridN - 1)}
	var before, near float64 // ln m at the two flows before: they foretell the next

	for i := range c.lnM {
		st, _ := s.at(math.Exp(c.lnQ0 + float64(i)*c.step)).Clamp()
		var col column
		col.init(r, st)
		var kg float64
		var ok bool
		switch {
		case before != 0 && near != 0:
			kg, ok = col.lightestNear(math.Exp(2*near-before), 1e-3)
		case near != 0:
			kg, ok = col.lightestNear(math.Exp(near+c.step), .02)
		default:
			kg, ok = col.lightestNear(col.guess(), .05)
		}

		before, near = near, 0
		c.lnM[i] = math.Inf(1)
		if ok {
			near = math.Log(kg)
			c.lnM[i] = near
		}
	}

	return c
}

// boatN nodes of equal weight stand for the spread of boat over surface speed
// in a drift, N(.75, .12) held to .4-1.0 [proposal].
const (
	boatN    = 9
	boatSD   = 0.12
	boatLow  = 0.4
	boatHigh = 1.0
)

func boatSpeeds() [boatN]float64 {
	var out [boatN]float64
	for i := range out {
		p := (float64(i) + .5) / boatN
		out[i] = min(max(driftFrame+boatSD*math.Sqrt2*math.Erfinv(2*p-1), boatLow), boatHigh)
	}
	return out
}

// curves tabulates one curve, or for a drift one per boat speed.
func curves(s *site, r Rig, qLo, qHi float64) []curve {
	if r.Pres.Frame == 0 {
		return []curve{tabulate(s, r, qLo, qHi)}
	}
	out := make([]curve, 0, boatN)
	for _, f := range boatSpeeds() {
		r.Pres.Frame = f
		out = append(out, tabulate(s, r, qLo, qHi))
	}
	return out
}

// Odds is the distribution of the minimum mass at a spot over the forecast.
type Odds struct {
	curves []curve
	lnQ    []float64 // members, ascending
	mean   float64   // of g
	sd     float64   // of g and the event noise together
}

// Holds is P(a head of kg holds bottom). It rises with kg.
func (o Odds) Holds(kg float64) float64 {
	lnS := math.Log(kg)
	var p float64
	for i := range o.curves {
		for _, q := range o.lnQ {
			m := o.curves[i].at(q)
			if math.IsInf(m, 1) {
				continue
			}
			p += phi((lnS - m - o.mean) / o.sd)
		}
	}
	return p / float64(len(o.curves)*len(o.lnQ))
}

// phi is the standard normal distribution function.
func phi(z float64) float64 { return .5 * math.Erfc(-z/math.Sqrt2) }

// newOdds prepares the odds for flows (m3/s, positive). sd is the whole spread
// of ln m that does not come from flow. The curves span the flows and, in the
// same 24 nodes, lo to hi: ln m bends so little in ln Q that a straight line
// between nodes a factor 1.2 apart is within a thousandth.
func newOdds(s *site, r Rig, flows []float64, lo, hi, mean, sd float64) Odds {
	o := Odds{lnQ: make([]float64, len(flows)), mean: mean, sd: sd}
	for i, q := range flows {
		o.lnQ[i] = math.Log(q)
	}
	sort.Float64s(o.lnQ)
	lo = min(lo, math.Exp(o.lnQ[0])/1.05)
	hi = max(hi, math.Exp(o.lnQ[len(o.lnQ)-1])*1.05)
	o.curves = curves(s, r, lo, hi)
	return o
}
