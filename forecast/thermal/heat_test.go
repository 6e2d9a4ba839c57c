package thermal

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam/forecast/ensemble"
)

// Published 8-parameter sets a1..a8 [source: a third-party validation file
// quoting Toffolon & Piccolroaz 2015]. They belong to a
// Runge-Kutta step: here they only fix the arithmetic of one step.
var published = map[string][8]float64{
	"Mentue":      {.889, .649, .765, .129, 2.318, 1.536, .603, .241},
	"Rhone":       {.346, .219, .178, .718, 7.773, 2.217, .529, 1.280},
	"Dischmabach": {4.794, .629, 1.410, .270, 0, 4.912, .582, .637},
}

// The steps are a [reference calculation]: an independent implementation.
func TestStepOfThePublishedSets(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		river string
		w     float64
		want  []float64
	}{
		{"Mentue", 1, []float64{1.030821, 2.692194, 4.799449, 6.502553, 8.353618}},
		{"Rhone", 1, []float64{3.658939, 5.007608, 5.639331, 5.901866, 6.352147}},
		{"Dischmabach", 1, []float64{1.239930, 1.742964, 1.295454, 1.175011, 2.955913}},
		{"Mentue", .5, []float64{.365653, 1.638951, 3.721036, 5.686056, 7.412407}},
		{"Rhone", .5, []float64{3.400356, 4.660050, 5.459670, 5.819263, 6.121686}},
		{"Dischmabach", .5, []float64{.780765, 1.496700, 1.624343, 1.288657, 2.079100}},
	} {
		h := Heat{Kind: 8, A: published[c.river], W: c.w}
		cos, sin := season([]int{80, 81, 82, 83, 84, 85})
		f := forcing{air: []float64{-4, -1, 2.5, 6, 9, 12}, cos: cos, sin: sin}
		for _, q := range []float64{.6, .6, .9, 1.8, 2.4, 1.6} {
			f.lnq = append(f.lnq, math.Log(q))
		}

		x := h.coef(true)
		temp := 1.
		for i, want := range c.want {
			ta := c.w*f.air[i+1] + (1-c.w)*f.air[i]
			lq := c.w*f.lnq[i+1] + (1-c.w)*f.lnq[i]
			temp, _ = x.step(temp, 0, ta, lq, f.cos[i+1], f.sin[i+1])
			require.InDelta(t, want, temp, 1e-6, "%s w %g day %d", c.river, c.w, i)
		}
	}
}

// The exact step equals many small Euler steps of the differential equation,
// for any parameters: a check that does not rest on the reference values.
func TestStepSolvesTheEquation(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		var h Heat
		h.Kind, h.W = 8, 1
		for k := range h.A {
			h.A[k] = boxLo[k] + (boxHi[k]-boxLo[k])*rapid.Float64Range(.2, .4).Draw(t, "a")
		}
		ta, lnq := rapid.Float64Range(0, 20).Draw(t, "ta"), rapid.Float64Range(-1, 1).Draw(t, "lnq")
		doy := rapid.IntRange(1, 365).Draw(t, "doy")
		t0 := rapid.Float64Range(0, 20).Draw(t, "t0")
		cos, sin := season([]int{doy})

		c := h.coef(true)
		got, _ := c.step(t0, 0, ta, lnq, cos[0], sin[0])
		q := math.Exp(lnq)
		ty := float64(doy) / 365
		x := t0
		const n = 20000
		for range n {
			a := h.A
			x += (a[0] + a[1]*ta - a[2]*x + q*(a[4]+a[5]*math.Cos(2*math.Pi*(ty-a[6]))-a[7]*x)) / math.Pow(q, a[3]) / n
		}

		require.InDelta(t, min(max(x, 0), 60), got, .01)
	})
}

func TestBucketHoldsTheWaterDown(t *testing.T) {
	t.Parallel()
	n := 40
	air := make([]float64, n)
	for i := range air {
		if air[i] = -10; i >= 20 {
			air[i] = 5
		}
	}

	cos, sin := season(make([]int, n))
	f := forcing{air: air, cos: cos, sin: sin}
	h := Heat{Kind: 3, A: [8]float64{0: .5, 1: .4, 2: .45}, W: 1}
	free, held, j := make([]float64, n), make([]float64, n), make([]float64, n)
	h.run(free, nil, f, 0)
	h.G, h.JMax, h.S = .2, 30, 10
	h.run(held, j, f, 0)
	require.InDelta(t, 30, j[19], 1e-9) // 20 days of 10 degrees of frost fill it
	require.Less(t, held[22], free[22]/2)
	require.InDelta(t, free[n-1], held[n-1], .05) // 100 degree-days later it is empty
	for i := range held {
		require.LessOrEqual(t, held[i], free[i]+1e-12)
	}
}

// A river made by the model itself gives its parameters back, from seeded
// starts, and the fit is the same every time.
func TestFitFindsItsOwnParameters(t *testing.T) {
	t.Parallel()
	d := river(6*365, 4)
	want := Heat{Kind: 5, A: [8]float64{1.2, .4, .5, 0, 0, .9, .55, 0}, W: .8}
	r := newRecord(d, ensemble.Training{})
	s := newState(r, &Core{HasAir: true, Air: ensemble.FitHarmonic(r.Cal, padTo(d.AirC, len(r.Cal.Doy)))})
	sim := make([]float64, r.n)
	want.run(sim, nil, s.forcing(), 0)

	g := target{f: s.forcing()}
	for i := spinUpDays; i < r.n; i++ {
		g.days, g.obs = append(g.days, int32(i)), append(g.obs, sim[i])
	}
	got := fitHeat(5, 0, g, false, ensemble.Stream(1, ensemble.Epoch, 1))
	require.Less(t, got.RMSE, .01)
	for k := range got.A {
		require.InDelta(t, want.A[k], got.A[k], .02, "a%d", k+1)
	}
	require.InDelta(t, want.W, got.W, .02)
	require.Equal(t, got, fitHeat(5, 0, g, false, ensemble.Stream(1, ensemble.Epoch, 1)))
}

func TestLevenbergStaysInTheBox(t *testing.T) {
	t.Parallel()
	// (x-3)^2 + (y+1)^2 within 0..2: the least lies on the corner (2, 0).
	p := problem{lo: []float64{0, 0}, hi: []float64{2, 2}, n: 2, eval: func(x, r []float64) {
		require.True(t, x[0] >= -1e-3 && x[0] <= 2 && x[1] >= -1e-3 && x[1] <= 2)
		r[0], r[1] = x[0]-3, x[1]+1
	}}
	s := levenberg(p, []float64{.5, 1.5}, 100, 1e-9)
	require.InDeltaSlice(t, []float64{2, 0}, s.x, 1e-6)
	require.LessOrEqual(t, s.runs, 100)
}

func TestFastExpIsExp(t *testing.T) {
	t.Parallel()
	for x := -699.9; x < 699.9; x += .0137 {
		require.InEpsilon(t, math.Exp(x), fastExp(x), 1e-13, x)
	}
	for _, x := range []float64{0, 1e-300, -1e-9, 700, -800, 800} {
		require.InDelta(t, math.Exp(x), fastExp(x), 1e-14*math.Exp(x), x)
	}
	require.True(t, math.IsNaN(fastExp(math.NaN())))
}

// Two at once are the same numbers to the last bit, beyond the range too.
func TestFastExp2IsFastExp(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x, y := rapid.Float64Range(-760, 760).Draw(t, "x"), rapid.Float64Range(-760, 760).Draw(t, "y")
		a, b := fastExp2(x, y)
		require.Equal(t, [2]uint64{math.Float64bits(fastExp(x)), math.Float64bits(fastExp(y))},
			[2]uint64{math.Float64bits(a), math.Float64bits(b)})
	})
	for _, odd := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		a, b := fastExp2(odd, 1)
		require.Equal(t, fastExp(1), b)
		require.Equal(t, math.Float64bits(fastExp(odd)), math.Float64bits(a))
	}
}

// The derivatives that run beside the model are those of the model: forward
// differences agree on a year of weather, with and without discharge and ice.
func TestSlopesAreTheDerivatives(t *testing.T) {
	t.Parallel()
	d := river(400, 8)
	cos, sin := season(ensemble.NewCalendar(d.First, 400).Doy)
	lnq := make([]float64, 400)
	for i := range lnq {
		lnq[i] = .6 * math.Sin(float64(i)/25)
	}

	for _, c := range []struct {
		name   string
		h      Heat
		bucket bool
	}{
		{"3", Heat{Kind: 3, A: [8]float64{.8, .4, .5}, W: .7}, false},
		{"5 with ice", Heat{Kind: 5, A: [8]float64{1, .4, .45, 0, 0, .8, .55}, W: .6, G: .15, JMax: 40, S: 15}, true},
		{"8", Heat{Kind: 8, A: published["Mentue"], W: .7}, false},
		{"8 with ice", Heat{Kind: 8, A: published["Dischmabach"], W: .5, G: .1, JMax: 30, S: 20}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g := target{f: forcing{air: d.AirC, cos: cos, sin: sin}, t0: 2}
			if c.h.Kind == 8 {
				g.f.lnq = lnq
			}
			for i := 5; i < 400; i += 3 {
				g.days, g.obs = append(g.days, int32(i)), append(g.obs, 0)
			}

			p := g.problem(c.h.Kind, 0, c.bucket)
			x := pack(c.h, c.bucket)
			jac, r := make([]float64, len(x)*p.n), make([]float64, p.n)
			p.slopes(x, jac)
			p.eval(x, r)
			lo, hi := make([]float64, p.n), make([]float64, p.n)
			bad := 0

			for k := range x {
				y := slices.Clone(x)
				const h = 1e-6
				y[k] = x[k] + h
				p.eval(y, hi)
				y[k] = x[k] - h
				p.eval(y, lo)

				for i := range r {
					want := (hi[i] - lo[i]) / (2 * h)
					if math.Abs(want-jac[k*p.n+i]) > 1e-4*(1+math.Abs(want)) {
						bad++ // a switch of the bucket or the floor within the step
					}
				}
			}

			require.LessOrEqual(t, bad, len(x)*p.n/200)
		})
	}
}
