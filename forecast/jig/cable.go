package jig

import (
	"math"

	"example.org/coldseam"
)

// steps of the Runge-Kutta march from the jig to the surface. 16 steps are
// within 0.004 degrees of 192 on a hard case [reference calculation].
const steps = 16

const (
	minSlipMS = 1e-9 // speed along the line below which its drag is nothing, and its law overflows

	bottomM = 0.05 // height of the jig's eye over the bed
	minCos  = .02  // below this the line lies flat
)

// column is a station seen by one rig: relative speeds at the nodes and half
// nodes of the march, and everything that does not change with the mass.
type column struct {
	rig   Rig
	w     Water
	depth float64
	h     float64 // step
	u     [2*steps + 1]float64
	vmin  float64 // slowest sink speed that reaches the bottom in time and within the lead
	d     float64 // line diameter
	kn    float64 // .5 rho d
	kt    float64 // .5 rho pi d
	wl    float64 // submerged weight of the line, N/m; negative = floats
	tmax  float64 // rad
}

func (c *column) init(r Rig, st Station) {
	c.rig, c.w, c.depth = r, st.Water, st.DepthM
	c.h = (st.DepthM - bottomM) / steps
	frame := r.Pres.Frame * st.SurfaceMS
	for i := range c.u {
		z := bottomM + float64(i)*c.h/2
		c.u[i] = (st.SurfaceMS*st.shape(z)*(1-r.Pres.Lam) - frame) * gust
	}
	c.vmin = max(st.DepthM/maxSinkS, st.DepthM*math.Abs(st.MeanMS()-frame)/r.Pres.LeadM)
	c.d = r.Line.DiameterM
	c.kn = .5 * c.w.RhoKGM3 * c.d
	c.kt = c.kn * math.Pi
	c.wl = (r.Line.RhoKGM3 - c.w.RhoKGM3) * coldseam.GravityMPS2 * math.Pi * c.d * c.d / 4
	c.tmax = r.Pres.ThetaMaxDeg * math.Pi / 180
}

// state is the tension and position of a point of the line.
type state struct{ tx, tz, x, s float64 }

// slope is d(state)/dz in a relative speed u. ok is false when the line lies
// flat or has lost its vertical tension (it planes up).
func (c *column) slope(y state, u float64) (k state, ok bool) {
	if y.tz <= 0 {
		return k, false
	}
	t := math.Sqrt(y.tx*y.tx + y.tz*y.tz)
	cos, sin := y.tz/t, y.tx/t
	if cos < minCos {
		return k, false
	}

	un, ut := u*cos, u*sin
	an, at := math.Abs(un), math.Abs(ut)
	fn := c.kn * cylinderCd(an*c.d/c.w.NuM2S) * un * an
	var ft float64
	if at > minSlipMS {
		ft = c.kt * lineCf(at, c.d, c.w.NuM2S) * ut * at
	}

	return state{
		tx: (fn*cos + ft*sin) / cos,
		tz: -(fn*sin - ft*cos - c.wl) / cos,
		x:  y.tx / y.tz,
		s:  1 / cos,
	}, true
}

func (y state) plus(k state, h float64) state {
	return state{y.tx + h*k.tx, y.tz + h*k.tz, y.x + h*k.x, y.s + h*k.s}
}

// step advances y over step i.
func (c *column) step(y state, i int) (state, bool) {
	k1, ok1 := c.slope(y, c.u[2*i])
	k2, ok2 := c.slope(y.plus(k1, c.h/2), c.u[2*i+1])
	k3, ok3 := c.slope(y.plus(k2, c.h/2), c.u[2*i+1])
	k4, ok4 := c.slope(y.plus(k3, c.h), c.u[2*i+2])
	h := c.h / 6
	return state{
		y.tx + h*(k1.tx+2*k2.tx+2*k3.tx+k4.tx),
		y.tz + h*(k1.tz+2*k2.tz+2*k3.tz+k4.tz),
		y.x + h*(k1.x+2*k2.x+2*k3.x+k4.x),
		y.s + h*(k1.s+2*k2.s+2*k3.s+k4.s),
	}, ok1 && ok2 && ok3 && ok4
}

func (y state) angle() float64 { return math.Atan2(y.tx, y.tz) }

// foot is the state of the line at the jig for a head of m kg.
func (c *column) foot(m float64) (y state, net, drag float64, ok bool) {
	net = c.rig.netWeightN(m, c.w)
	if net <= 0 {
		return y, net, 0, false
	}
	drag = c.rig.heldDragN(m, c.u[0], c.w)
	return state{tx: drag, tz: (1 - pressBottom) * net}, net, drag, true
}

// steepest is the tangent of the largest angle from vertical anywhere on the
// line. ok is false when the rig floats or the line lies flat.
func (c *column) steepest(m float64) (tan float64, ok bool) {
	y, _, _, ok := c.foot(m)
	if !ok {
		return 0, false
	}
	tan = math.Abs(y.tx / y.tz)
	for i := range steps {
		if y, ok = c.step(y, i); !ok || y.tz <= 0 {
			return 0, false
		}
		tan = max(tan, math.Abs(y.tx/y.tz))
	}
	return tan, tan < maxTan
}

// maxTan is the tangent of the angle whose cosine is minCos.
const maxTan = 1 / minCos

// sinkMS is the terminal speed of the falling rig in still water. 0: floats.
func (c *column) sinkMS(m float64) float64 {
	net := c.rig.netWeightN(m, c.w)
	if net <= 0 {
		return 0
	}
	v := .5
	for range 200 {
		n := math.Sqrt(2 * net / (c.w.RhoKGM3 * c.fallArea(m, v)))
		n = (n + v) / 2
		if math.Abs(n-v) < 1e-7 {
			return n
		}
		v = n
	}
	return v
}

// fallArea is Cd A of the falling rig at speed v, with half of the line's
// length dragged along.
func (c *column) fallArea(m, v float64) float64 {
	d := c.rig.headDiameterM(m)
	return sphereCd(v*d/c.w.NuM2S)*math.Pi*d*d/4 + c.rig.Body.FallCd*c.rig.Body.FallM2 +
		lineCf(v, c.d, c.w.NuM2S)*math.Pi*c.d*c.depth/2
}

// sinkMargin is above zero where the rig gets to the bottom in time and within
// its lead: the weight over the drag at the slowest speed that does, less 1.
// Drag rises with speed, so this needs no terminal speed.
func (c *column) sinkMargin(m float64) float64 {
	net := c.rig.netWeightN(m, c.w)
	if net <= 0 {
		return -1
	}
	return 2*net/(c.w.RhoKGM3*c.fallArea(m, c.vmin)*c.vmin*c.vmin) - 1
}

// Shape is a rig of one mass hanging in one station.
type Shape struct {
	OK         bool    // false: it floats or the line lies flat; the rest is then zero but NetN
	Holds      bool    // angle, sink time and lead within the presentation's limits
	AngleDeg   float64 // line from vertical at the surface; negative = the jig trails upstream
	WorstDeg   float64 // largest angle anywhere
	LineOutM   float64 // wet line
	SetbackM   float64 // horizontal distance from jig to where the line meets the water
	TensionN   float64 // at the surface
	BowPct     float64 // largest distance from the chord, % of the chord
	SlackM     float64 // line out less chord
	SinkMS     float64
	SinkS      float64
	NetN       float64 // weight in water
	HeldDragN  float64
	PressN     float64 // on the bottom
	FlatReason string  // floats, flat
}

// Solve returns the shape of the rig with a head of kg in the station, both as
// given (see Station.Clamp).
func Solve(r Rig, st Station, kg float64) Shape {
	var c column
	c.init(r, st)
	return c.solve(kg)
}

func (c *column) solve(m float64) Shape {
	y, net, drag, ok := c.foot(m)
	sh := Shape{NetN: net, HeldDragN: drag, PressN: pressBottom * net}
	if !ok {
		sh.FlatReason = "floats"
		return sh
	}

	var xs, zs [steps + 1]float64
	zs[0] = bottomM
	worst := math.Abs(y.angle())
	for i := range steps {
		if y, ok = c.step(y, i); !ok || y.tz <= 0 || y.tz < minCos*math.Hypot(y.tx, y.tz) {
			sh.FlatReason = "flat"
			return sh
		}
		xs[i+1], zs[i+1] = y.x, zs[i]+c.h
		worst = max(worst, math.Abs(y.angle()))
	}

	const deg = 180 / math.Pi
	chord := math.Hypot(y.x, c.depth-bottomM)
	far := 0.0
	for i := range xs {
		far = max(far, math.Abs(xs[i]*(c.depth-bottomM)-(zs[i]-bottomM)*y.x)/chord)
	}

	sh.OK = true
	sh.AngleDeg, sh.WorstDeg = y.angle()*deg, worst*deg
	sh.LineOutM, sh.SetbackM, sh.TensionN = y.s, y.x, math.Hypot(y.tx, y.tz)
	sh.BowPct, sh.SlackM = 100*far/chord, y.s-chord
	sh.SinkMS = c.sinkMS(m)
	sh.SinkS = c.depth / sh.SinkMS
	sh.Holds = worst <= c.tmax && c.sinkMargin(m) >= 0
	return sh
}
