package jig

import (
	"fmt"
	"math"
	"sort"

	"example.org/coldseam"
)

// Default exponents of width, depth and speed against flow [source: a page
// restating Leopold & Maddock 1953, USGS Prof. Paper 252].
const (
	defaultB = 0.26
	defaultF = 0.40
	defaultM = 0.34
)

// The rules of the fit [proposal].
const (
	maxImbalance = 0.10 // |W Y V / Q - 1| of a usable row
	minRows      = 10
	minFlowSpan  = 3.0
	clipSigma    = 2.5
	clipRounds   = 6
	tiny         = 1e-9 // residuals of rows that fit exactly are rounding, not outliers
	wadingWeight = 0.5  // a wading row is made at another section than a bridge row
	focusLnSD    = 1.0  // width of FitNear's weights in ln Q
	focusFloor   = 0.05
	outsideLow   = 0.7 // times QMin
	outsideHigh  = 1.3 // times QMax
	defaultSComb = 0.45
	defaultQSpan = 2.0  // a default geometry is believed this factor around its rows
	speedElastic = 1.84 // d ln m / d ln us, see surrogate in the tests
	depthElastic = 1.10 // d ln m / d ln H
)

// Geometry is the hydraulic geometry at a gauge: W = A Q^B, Y = C Q^F,
// V = K Q^M in SI units, with the joint scatter of depth and speed.
type Geometry struct {
	A, B  float64 // width, m
	C, F  float64 // mean depth, m
	K, M  float64 // mean speed, m/s
	SDY   float64 // residual sd of ln Y
	SDV   float64 // residual sd of ln V
	RVY   float64 // their correlation: negative, a deeper section is a slower one
	SComb float64 // sd of 1.84 rV + 1.10 rY: what the gauge section adds to ln m

	QMin, QMax float64 // m3/s, of the rows used
	N          int     // rows used
	Rows       int     // rows given
	Blank      int     // rows left out: a value missing, not positive or beyond any river
	Ice        int
	Unbalanced int // |W Y V/Q - 1| > 0.10
	Clipped    int
	Default    bool // too few rows: default exponents
}

// Valid reports whether speeds can be computed.
func (g Geometry) Valid() bool { return g.K > 0 && g.C > 0 && g.QMax > 0 }

// DepthM is the mean depth at the gauge section at q m3/s.
func (g Geometry) DepthM(q float64) float64 { return g.C * math.Pow(q, g.F) }

// MeanMS is the mean speed at the gauge section at q m3/s.
func (g Geometry) MeanMS(q float64) float64 { return g.K * math.Pow(q, g.M) }

// row is one gauging in logarithms.
type row struct{ q, w, y, v, weight float64 }

// Fit fits the geometry to field measurements: blank, iced and unbalanced rows
// (|W Y V/Q - 1| > 0.10) are left out, wading rows count half, a 2.5 sigma clip
// runs at most 6 rounds on all three residuals. With fewer than 10 rows, or
// less than a factor 3 in flow, the default exponents go through the median
// row and Default says so. ErrInvalid when not one row is usable.
//
// Depth and speed scatter is kept jointly; medians are not corrected for the
// logarithm.
func Fit(gs []coldseam.Gauging) (Geometry, error) { return fit(gs, 0) }

// FitNear is Fit with rows weighted by their closeness to flowM3S (one sd of
// ln Q each side), because the speed exponent changes with flow: on one real
// station it falls from .41 to .26 in the upper half.
func FitNear(gs []coldseam.Gauging, flowM3S float64) (Geometry, error) {
	if !(flowM3S > 0) || math.IsInf(flowM3S, 0) {
		return Geometry{}, fmt.Errorf("fit geometry near %v m3/s: want a positive flow: %w", flowM3S,
			coldseam.ErrInvalid)
	}
	return fit(gs, flowM3S)
}

func fit(gs []coldseam.Gauging, near float64) (Geometry, error) {
	g := Geometry{Rows: len(gs)}
	rows := g.usable(gs)
	if len(rows) == 0 {
		return Geometry{}, fmt.Errorf(
			"fit geometry: %d gaugings, %d blank, %d iced, %d with width x depth x speed off the flow by over 10 %%; want at least one usable: %w",
			g.Rows, g.Blank, g.Ice, g.Unbalanced, coldseam.ErrInvalid)
	}

	sort.SliceStable(rows, func(i, j int) bool { return rows[i].q < rows[j].q })
	g.N, g.QMin, g.QMax = len(rows), math.Exp(rows[0].q), math.Exp(rows[len(rows)-1].q)
	if g.N < minRows || g.QMax < minFlowSpan*g.QMin {
		return g.byDefault(rows), nil
	}
	kept := g.clip(rows)
	if kept[len(kept)-1].q-kept[0].q < math.Log(minFlowSpan) {
		return g.byDefault(rows), nil // the rows at one end of the range were the outliers
	}
	g.Clipped = len(rows) - len(kept)
	g.N, g.QMin, g.QMax = len(kept), math.Exp(kept[0].q), math.Exp(kept[len(kept)-1].q)

	if near > 0 {
		for i := range kept {
			d := (kept[i].q - math.Log(near)) / focusLnSD
			kept[i].weight *= max(math.Exp(-.5*d*d), focusFloor)
		}
		g.fitLogs(kept)
	}

	return g, nil
}

// usable turns gaugings into log rows and counts what it leaves out.
func (g *Geometry) usable(gs []coldseam.Gauging) []row {
	var rows []row

	for _, x := range gs {
		if x.Ice {
			g.Ice++
			continue
		}

		w, a := positive(x.WidthM), positive(x.AreaM2)
		v := positive(x.MeanVelMS)
		if v == 0 && a > 0 {
			v = x.DischargeM3S / a
		}
		if !(x.DischargeM3S > minFlow && x.DischargeM3S < maxFlow) || w == 0 || a == 0 || v == 0 ||
			!(a/w > minYM && a/w < maxYM && v < maxVMS) {
			g.Blank++
			continue
		}

		if math.Abs(a*v/x.DischargeM3S-1) > maxImbalance {
			g.Unbalanced++
			continue
		}
		weight := 1.0
		if x.Method == "wading" {
			weight = wadingWeight
		}
		rows = append(rows, row{math.Log(x.DischargeM3S), math.Log(w), math.Log(a / w), math.Log(v), weight})
	}

	return rows
}

// No river is beyond these; a row that is holds a unit or typing error.
const (
	minFlow, maxFlow = 1e-4, 1e6 // m3/s
	minYM, maxYM     = 5e-3, 200
	maxVMS           = 20
)

// positive is *p when that is finite and above zero, else 0.
func positive(p *float64) float64 {
	if p == nil || !(*p > 0) || math.IsInf(*p, 0) {
		return 0
	}
	return *p
}

// byDefault puts the default exponents through the median row.
func (g Geometry) byDefault(rows []row) Geometry {
	mid := rows[len(rows)/2]
	g.Default = true
	g.B, g.F, g.M = defaultB, defaultF, defaultM
	g.A = math.Exp(mid.w - g.B*mid.q)
	g.C = math.Exp(mid.y - g.F*mid.q)
	g.K = math.Exp(mid.v - g.M*mid.q)
	g.SDY, g.SDV, g.RVY, g.SComb = 0, 0, 0, defaultSComb
	g.QMin, g.QMax = g.QMin/defaultQSpan, g.QMax*defaultQSpan
	return g
}

// clip fits, drops rows beyond 2.5 sigma in any residual, and fits again.
func (g *Geometry) clip(rows []row) []row {
	for round := 0; ; round++ {
		g.fitLogs(rows)
		if round == clipRounds {
			return rows
		}
		sw, sy, sv := g.scatter(rows)
		var kept []row
		for _, r := range rows {
			w, y, v := g.residuals(r)
			if math.Abs(w) <= clipSigma*sw+tiny && math.Abs(y) <= clipSigma*sy+tiny && math.Abs(v) <= clipSigma*sv+
				tiny {
				kept = append(kept, r)
			}
		}

		if len(kept) == len(rows) || len(kept) < minRows {
			return rows
		}
		rows = kept
	}
}

// fitLogs is weighted least squares of ln W, ln Y, ln V on ln Q, with the
// scatter.
func (g *Geometry) fitLogs(rows []row) {
	var n, q, w, y, v float64
	for _, r := range rows {
		n += r.weight
		q += r.weight * r.q
		w += r.weight * r.w
		y += r.weight * r.y
		v += r.weight * r.v
	}

	q, w, y, v = q/n, w/n, y/n, v/n
	var qq, qw, qy, qv float64
	for _, r := range rows {
		d := r.weight * (r.q - q)
		qq += d * (r.q - q)
		qw += d * (r.w - w)
		qy += d * (r.y - y)
		qv += d * (r.v - v)
	}

	g.B, g.F, g.M = qw/qq, qy/qq, qv/qq
	g.A, g.C, g.K = math.Exp(w-g.B*q), math.Exp(y-g.F*q), math.Exp(v-g.M*q)
	_, g.SDY, g.SDV = g.scatter(rows)
	var yv, comb float64
	n = 0
	for _, r := range rows {
		_, ry, rv := g.residuals(r)
		yv += r.weight * ry * rv
		c := speedElastic*rv + depthElastic*ry
		comb += r.weight * c * c
		n += r.weight
	}

	g.RVY = 0
	if g.SDY > 0 && g.SDV > 0 {
		g.RVY = yv / n / (g.SDY * g.SDV)
	}
	g.SComb = math.Sqrt(comb / n)
}

func (g *Geometry) residuals(r row) (w, y, v float64) {
	return r.w - math.Log(g.A) - g.B*r.q, r.y - math.Log(g.C) - g.F*r.q, r.v - math.Log(g.K) - g.M*r.q
}

// scatter is the weighted residual sd of ln W, ln Y, ln V.
func (g *Geometry) scatter(rows []row) (sw, sy, sv float64) {
	var n float64
	for _, r := range rows {
		w, y, v := g.residuals(r)
		n += r.weight
		sw += r.weight * w * w
		sy += r.weight * y * y
		sv += r.weight * v * v
	}
	return math.Sqrt(sw / n), math.Sqrt(sy / n), math.Sqrt(sv / n)
}
