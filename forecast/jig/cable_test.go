package jig

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

const deg = 180 / math.Pi

func TestOneSolve(t *testing.T) { // [reference calculation]
	t.Parallel()
	kg := .25 * coldseam.KgPerOunce
	sh := Solve(rig(t, "slim", "braid-0.14", "quartering"), at(12, 1.9, 3), kg)
	require.True(t, sh.Holds)
	require.InDelta(t, 56.925, sh.AngleDeg, .002)
	require.InDelta(t, 4.4014, sh.LineOutM, 1e-4)
	require.InDelta(t, 2.1735, sh.SetbackM, 1e-4)
	require.InDelta(t, .05409, sh.TensionN, 1e-5)
	dr := Solve(rig(t, "slim", "braid-0.14", "drift"), at(12, 1.9, 3), kg)
	require.InDelta(t, 5.334, dr.AngleDeg, .002)
}

// march integrates from a given foot in n steps of the production scheme by
// chaining columns of 16 steps.
func march(t *testing.T, r Rig, st Station, y state, n int) float64 {
	t.Helper()
	require.Zero(t, n%steps)
	h := (st.DepthM - bottomM) / float64(n)
	var c column
	c.init(r, st)
	c.h = h
	speed := func(z float64) float64 { return st.SurfaceMS * st.shape(z) * (1 - r.Pres.Lam) * gust }
	for i := range n {
		z := bottomM + float64(i)*h
		c.u[0], c.u[1], c.u[2] = speed(z), speed(z+h/2), speed(z+h)
		var ok bool
		y, ok = c.step(y, 0)
		require.True(t, ok)
	}
	return y.angle() * deg
}

func TestSixteenStepsSuffice(t *testing.T) { // [reference calculation]
	t.Parallel()
	r := rig(t, "slim", "nylon-0.28", "quartering")
	st := at(15, 2, 3)
	st.Water = Water{RhoKGM3: 1000, NuM2S: 1.6e-6}
	y := state{tx: .003, tz: .75 * r.netWeightN(.375*coldseam.KgPerOunce, st.Water)}
	require.InDelta(t, 73.3521, march(t, r, st, y, 16), .002)
	require.InDelta(t, 73.3555, march(t, r, st, y, 192), .002)
}

// A weightless cable in a uniform stream with constant normal drag and none
// along the line has an exact solution: T is constant, H = (T/Fn)[G(th)-G(th0)]
// with G = ln(sec+tan), S = (T/Fn)(tan th - tan th0). A vanishing viscosity puts
// the drag laws on their constant ends.
func TestCableAgainstTheExactSolution(t *testing.T) {
	t.Parallel()
	r := rig(t, "slim", "braid-0.14", "anchored")
	w := Water{RhoKGM3: 970, NuM2S: 1e-30}
	g := func(a float64) float64 { return math.Log(1/math.Cos(a) + math.Tan(a)) }

	for _, x := range []struct{ deg, tol float64 }{{45, 2e-5}, {60, 5e-5}, {75, 5e-4}} {
		a0, a1, us := 10/deg, x.deg/deg, .5
		fn := .5 * w.RhoKGM3 * cylinderCd(maxRe) * .14e-3 * (us * gust) * (us * gust)
		const tension = .05
		h := tension / fn * (g(a1) - g(a0))
		var c column
		c.init(r, Station{DepthM: h + bottomM, SurfaceMS: us, Profile: 1e-12, Water: w})
		y := state{tx: tension * math.Sin(a0), tz: tension * math.Cos(a0)}
		for i := range steps {
			var ok bool
			y, ok = c.step(y, i)
			require.True(t, ok)
		}

		require.InDelta(t, x.deg, y.angle()*deg, x.tol)
		require.InEpsilon(t, tension, math.Hypot(y.tx, y.tz), 1e-5)
		require.InEpsilon(t, tension/fn*(math.Tan(a1)-math.Tan(a0)), y.s, 1e-5)
	}
}

// The same line by the intrinsic equations along its length, T' = Ft + w cos,
// T th' = Fn - w sin, in small steps: an independent formulation.
func TestCableAgainstTheIntrinsicForm(t *testing.T) {
	t.Parallel()
	r, st := rig(t, "bulky", "nylon-0.28", "anchored"), at(14, 1.4, 6)
	kg := .75 * coldseam.KgPerOunce
	sh := Solve(r, st, kg)
	require.True(t, sh.OK)
	var c column
	c.init(r, st)
	y, _, _, ok := c.foot(kg)
	require.True(t, ok)

	ten, th := math.Hypot(y.tx, y.tz), y.angle()
	z, x, s := bottomM, 0.0, 0.0
	const ds = 2e-5
	for z < st.DepthM {
		u := st.SurfaceMS * st.shape(z) * gust
		un, ut := u*math.Cos(th), u*math.Sin(th)
		fn := c.kn * cylinderCd(un*c.d/st.Water.NuM2S) * un * un
		ft := c.kt * lineCf(math.Abs(ut), c.d, st.Water.NuM2S) * ut * math.Abs(ut)
		ten += ds * (ft + c.wl*math.Cos(th))
		th += ds * (fn - c.wl*math.Sin(th)) / ten
		z += ds * math.Cos(th)
		x += ds * math.Sin(th)
		s += ds
	}

	require.InDelta(t, sh.AngleDeg, th*deg, .01)
	require.InDelta(t, sh.SetbackM, x, .002)
	require.InDelta(t, sh.LineOutM, s, .002)
	require.InEpsilon(t, sh.TensionN, ten, 1e-3)
}

func TestShapeSaysWhyItFails(t *testing.T) {
	t.Parallel()
	sh := Solve(rig(t, "bulky", "braid-0.14", "quartering"), at(12, 1.9, 3), 1e-5)
	require.False(t, sh.OK)
	require.Equal(t, "floats", sh.FlatReason)
	sh = Solve(rig(t, "slim", "nylon-0.40", "anchored"), at(30, 4, 3), .003)
	require.False(t, sh.OK)
	require.Equal(t, "flat", sh.FlatReason)
}

// Nylon's bow: the same jig hangs on 2.3-2.6 times the slack of thin braid
// [reference calculation].
func TestNylonBowsMore(t *testing.T) {
	t.Parallel()
	for _, x := range [][2]float64{{12, 1.5}, {12, 1.9}, {15, 1.5}} {
		st, kg := at(x[0], x[1], 3), .375*coldseam.KgPerOunce
		b := Solve(rig(t, "slim", "braid-0.14", "quartering"), st, kg)
		n := Solve(rig(t, "slim", "nylon-0.28", "quartering"), st, kg)
		require.True(t, b.OK && n.OK)
		t.Log(n.SlackM/b.SlackM, n.BowPct/b.BowPct)
		require.Greater(t, n.SlackM/b.SlackM, 2.0)
		require.Greater(t, n.BowPct, b.BowPct)
	}
}
