package jig

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

const (
	braid = "braid-0.14"
	nylon = "nylon-0.28"
)

// sizeIn names the smallest trade size that holds; "--" is none up to 1 oz.
func sizeIn(r Rig, st Station) string {
	kg, ok := Lightest(r, st)
	if !ok {
		return "--"
	}
	oz, ok := SizeFor(kg)
	if !ok {
		return "--"
	}
	return coldseam.OzName(oz)
}

// Every printed cell of the reference tables [reference calculation].
func TestReferenceSizes(t *testing.T) {
	t.Parallel()
	speeds := []float64{.5, 1, 1.5, 2, 2.5, 3, 4, 5}

	rows := []struct {
		body, line, pres string
		ft               float64
		want             string
	}{
		{"slim", braid, "quartering", 6, "1/16 1/16 1/16 1/8 3/16 1/4 1/2 5/8"},
		{"slim", braid, "quartering", 10, "1/16 1/16 1/8 3/16 3/8 1/2 3/4 1"},
		{"slim", braid, "quartering", 15, "1/16 1/8 3/16 3/8 1/2 5/8 1 --"},
		{"slim", braid, "quartering", 20, "1/16 1/8 1/4 1/2 5/8 1 -- --"},
		{"slim", braid, "quartering", 25, "1/16 3/16 3/8 1/2 3/4 1 -- --"},
		{"bulky", braid, "quartering", 15, "1/16 1/8 1/4 3/8 1/2 3/4 -- --"},
		{"slim", nylon, "quartering", 15, "1/16 1/8 3/8 1/2 3/4 1 -- --"},
		{"slim", braid, "anchored", 15, "1/16 3/16 3/8 5/8 1 -- -- --"},
		{"slim", braid, "drift", 15, "1/16 1/16 1/16 1/16 1/16 1/8 1/8 3/16"},
		{"slim", braid, "vertical", 15, "1/8 3/8 5/8 -- -- -- -- --"},
	}

	for _, r := range rows {
		t.Run(r.body+" "+r.line+" "+r.pres, func(t *testing.T) {
			t.Parallel()
			rg := rig(t, r.body, r.line, r.pres)
			var got []string
			for _, fps := range speeds {
				got = append(got, sizeIn(rg, at(r.ft, fps, 3)))
			}
			require.Equal(t, r.want, strings.Join(got, " "))
		})
	}
}

func TestReferenceSensitivity(t *testing.T) { // [reference calculation], printed to three digits
	t.Parallel()
	base := func() (Rig, Station) { return rig(t, "slim", braid, "quartering"), at(12, 1.9, 3) }

	rows := []struct {
		name string
		set  func(*Rig, *Station)
		oz   float64
	}{
		{"speed -20 %", func(_ *Rig, st *Station) { st.SurfaceMS *= .8 }, .134},
		{"speed +20 %", func(_ *Rig, st *Station) { st.SurfaceMS *= 1.2 }, .284},
		{"lam .2", func(r *Rig, _ *Station) { r.Pres.Lam = .2 }, .297},
		{"lam .5", func(r *Rig, _ *Station) { r.Pres.Lam = .5 }, .125},
		{"theta 55", func(r *Rig, _ *Station) { r.Pres.ThetaMaxDeg = 55 }, .263},
		{"theta 72", func(r *Rig, _ *Station) { r.Pres.ThetaMaxDeg = 72 }, .169},
		{"10 ft", func(_ *Rig, st *Station) { st.DepthM = 10 * coldseam.MetrePerFoot }, .166},
		{"14 ft", func(_ *Rig, st *Station) { st.DepthM = 14 * coldseam.MetrePerFoot }, .241},
		{"p 1/10", func(_ *Rig, st *Station) { st.Profile = .1 }, .228},
		{"p 1/4", func(_ *Rig, st *Station) { st.Profile = .25 }, .179},
		{"line .11", func(r *Rig, _ *Station) { r.Line.DiameterM = .11e-3 }, .173},
		{"line .18", func(r *Rig, _ *Station) { r.Line.DiameterM = .18e-3 }, .243},
		{"log law 2 cm", func(_ *Rig, st *Station) { st.RoughM = .02 }, .215},
		{"log law 30 cm", func(_ *Rig, st *Station) { st.RoughM = .30 }, .192},
		{"tungsten", func(r *Rig, _ *Station) { r.Metal, _ = ParseMetal("tungsten") }, .197},
	}

	for _, r := range rows {
		rg, st := base()
		r.set(&rg, &st)
		kg, ok := Lightest(rg, st)
		require.True(t, ok, r.name)
		require.InDelta(t, r.oz, coldseam.Oz(kg), .0011+.005*r.oz, r.name)
	}
}

func TestReferenceDriftBySpeed(t *testing.T) { // 15 ft, 3 ft/s [reference calculation]
	t.Parallel()
	for _, x := range [][2]float64{{.4, .80}, {.5, .53}, {.6, .31}, {.7, .14}, {.75, .06}, {.8, .02}, {.9, .08},
		{1, .19}} {
		r := rig(t, "slim", braid, "drift")
		r.Pres.Frame = x[0]
		kg, ok := Lightest(r, at(15, 3, 3))
		require.True(t, ok)
		require.InDelta(t, x[1], coldseam.Oz(kg), .0051, "boat at %v of the surface", x[0])
	}
}

func TestReferenceSinkSpeeds(t *testing.T) { // ft/s, 15 ft of braid [reference calculation]
	t.Parallel()
	sizes := []float64{1. / 16, 1. / 8, 3. / 16, 1. / 4, 3. / 8, 1. / 2, 3. / 4, 1}
	for body, want := range map[string][]float64{
		"slim":  {1.43, 1.85, 2.19, 2.46, 2.91, 3.27, 3.84, 4.28},
		"bulky": {.67, .97, 1.19, 1.37, 1.67, 1.93, 2.34, 2.67},
	} {
		var c column
		c.init(rig(t, body, braid, "quartering"), at(15, 1, 3))
		for i, oz := range sizes {
			require.InDelta(t, want[i], coldseam.Feet(c.sinkMS(oz*coldseam.KgPerOunce)), .006, "%s %v", body, oz)
		}
	}
}

// powerSite is the spot of the reference critical flows: depth 1.6 x .2018
// Q^.4794, mean speed .9 x .2179 Q^.4057.
func powerSite() *site {
	ref := 1.6 * .2018 * math.Pow(40, .4794)
	return &site{
		spot:     coldseam.Spot{DepthRefM: &ref, FlowRef: ptr(40)},
		geo:      benchGeometry,
		water:    WaterAt(3),
		form:     depthByFlow,
		speedQ:   40,
		speedMS:  .9 * .2179 * math.Pow(40, .4057) * (1 + 1./6),
		exponent: .4057,
	}
}

func TestReferenceCriticalFlows(t *testing.T) { // m3/s [reference calculation]
	t.Parallel()
	rows := []struct {
		body, line, pres string
		want             []float64
	}{
		{"slim", braid, "quartering", []float64{12.91, 20.86, 28.34, 35.49, 49.03, 61.71, 73.84, 85.54, 107.92}},
		{"bulky", braid, "quartering", []float64{6.52, 13.55, 20.31, 26.87, 39.51, 51.65, 63.40, 74.82, 96.87}},
		{"slim", nylon, "quartering", []float64{8.86, 14.04, 18.85, 23.42, 32.01, 40.01, 47.64, 54.98, 68.96}},
		{"slim", braid, "anchored", []float64{7.52, 12.13, 16.47, 20.60, 28.41, 35.67, 42.61, 49.28, 62.03}},
	}

	for _, r := range rows {
		got, single := criticalFlows(powerSite(), rig(t, r.body, r.line, r.pres),
			tabulate(powerSite(), rig(t, r.body, r.line, r.pres), 3, 160), 3, 160, 1)
		require.True(t, single)
		require.Len(t, got, len(r.want))
		for i := range got {
			require.InEpsilon(t, r.want[i], got[i].M3S, .002, "%s %s %s %v oz", r.body, r.line, r.pres, got[i].Oz)
			require.False(t, got[i].Beyond)
		}
	}
}

func TestCriticalFlowsSayWhereTheyEnd(t *testing.T) {
	t.Parallel()
	got, _ := criticalFlows(powerSite(), rig(t, "slim", braid, "quartering"),
		tabulate(powerSite(), rig(t, "slim", braid, "quartering"), 15, 50), 15, 50, 1)
	require.Zero(t, got[0].M3S, "1/16 holds nowhere in the range")
	require.False(t, got[0].Beyond)
	require.InEpsilon(t, 35.49, got[3].M3S, .002)
	require.True(t, got[8].Beyond)
	require.InDelta(t, 50, got[8].M3S, 1e-6)
}

// The forecast read at the critical flows, no model error [reference
// calculation]; the members are exact quantiles of the lognormal.
func TestReferenceOddsAtOneSpot(t *testing.T) {
	t.Parallel()
	quantiles := func(median, sd float64) []float64 {
		out := make([]float64, 400)
		for i := range out {
			out[i] = median * math.Exp(sd*math.Sqrt2*math.Erfinv(2*(float64(i)+.5)/400-1))
		}
		return out
	}
	rows := []struct{ median, sd, oz, p float64 }{
		{40, .10, 1. / 4, .12}, {40, .10, 3. / 8, .98}, {40, .25, 3. / 16, .08}, {40, .25, 1. / 4, .32},
		{40, .25, 3. / 8, .79}, {40, .25, 1. / 2, .96}, {90, .25, 1, .77},
	}
	for _, r := range rows {
		o := newOdds(powerSite(), rig(t, "slim", braid, "quartering"), quantiles(r.median, r.sd), 3, 160, 0, 1e-6)
		require.InDelta(t, r.p, o.Holds(r.oz*coldseam.KgPerOunce), .011, "%+v", r)
	}
}

// m* .203 with elasticity 1.07, flow and model spread as given; the limits .70
// and .90 [reference calculation].
func TestReferenceChoice(t *testing.T) {
	t.Parallel()
	type row struct {
		flow, model float64
		p           [3]float64 // 3/16, 1/4, 3/8
		tie, pack   float64
	}
	rows := []row{
		{.10, .10, [3]float64{.29, .92, 1}, .25, .25},
		{.10, .38, [3]float64{.42, .70, .94}, .25, .375},
		{.25, .10, [3]float64{.39, .77, .98}, .25, .375},
		{.25, .38, [3]float64{.43, .67, .91}, .375, .375},
	}
	sizes := [3]float64{3. / 16, 1. / 4, 3. / 8}

	for _, r := range rows {
		o := Odds{mean: 0, sd: r.model}
		c := curve{lnQ0: -3, step: 6. / (gridN - 1)}
		for i := range c.lnM {
			c.lnM[i] = math.Log(.203*coldseam.KgPerOunce) + 1.07*(c.lnQ0+float64(i)*c.step)
		}
		o.curves = []curve{c}
		for i := range 400 {
			o.lnQ = append(o.lnQ, r.flow*math.Sqrt2*math.Erfinv(2*(float64(i)+.5)/400-1))
		}

		for i, oz := range sizes {
			require.InDelta(t, r.p[i], o.Holds(oz*coldseam.KgPerOunce), .006, "%+v", r)
		}
		a := adviser{o: o}
		box := coldseam.TradeSizesOz[:]
		// The edge row .7011 is read at .69.
		require.Equal(t, r.tie, box[a.first(box, .69)], "%+v", r)
		require.Equal(t, r.pack, box[a.first(box, .90)], "%+v", r)
	}
}

func TestSurrogateIsTheSecondRoute(t *testing.T) {
	t.Parallel()
	within := func(ft, fps, tol float64) {
		r, st := rig(t, "slim", braid, "quartering"), at(ft, fps, 3)
		kg, ok := Lightest(r, st)
		require.True(t, ok)
		sur, ok := surrogate(r, st)
		require.True(t, ok)
		require.InEpsilon(t, kg, sur, tol, "%v ft %v ft/s", ft, fps)
	}

	for _, fps := range []float64{1.5, 2, 2.5, 3} {
		for _, ft := range []float64{10, 12, 15, 20} {
			within(ft, fps, .055)
		}
		within(25, fps, .075)
		within(6, fps, .125)
	}

	anchored, st := rig(t, "slim", braid, "anchored"), at(12, 1.9, 3)
	kg, _ := Lightest(anchored, st)
	sur, ok := surrogate(anchored, st)
	require.True(t, ok)
	require.InEpsilon(t, kg, sur, .03)
	_, ok = surrogate(rig(t, "slim", braid, "quartering"), at(12, .7, 3))
	require.False(t, ok, "useless below 1 ft/s")
	_, ok = surrogate(rig(t, "slim", braid, "drift"), at(12, 2, 3))
	require.False(t, ok)
}

// bisect is the plain route: 40 rounds in ln m on the hold predicate.
func bisect(c *column) (float64, bool) {
	if !c.holds(maxHeadKG) {
		return 0, false
	}
	lo, hi := math.Log(minHeadKG), math.Log(maxHeadKG)
	if c.holds(minHeadKG) {
		return minHeadKG, true
	}
	for range 40 {
		if mid := (lo + hi) / 2; c.holds(math.Exp(mid)) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return math.Exp(hi), true
}

func drawRig(t *rapid.T) Rig {
	r, err := ParseRig(rapid.SampledFrom(BodyNames()).Draw(t, "body"),
		rapid.SampledFrom([]string{braid, "braid-0.11", "braid-0.18", nylon, "nylon-0.35"}).Draw(t, "line"),
		rapid.SampledFrom([]string{"lead", "tungsten"}).Draw(t, "metal"), rapid.SampledFrom(PresentationNames()).Draw(t,
			"presentation"))
	require.NoError(t, err)
	return r
}

func drawStation(t *rapid.T) Station {
	return Station{
		DepthM:    rapid.Float64Range(MinDepthM, MaxDepthM).Draw(t, "depth"),
		SurfaceMS: rapid.Float64Range(0, 2).Draw(t, "speed"),
		Profile:   rapid.Float64Range(.1, .25).Draw(t, "p"),
		Water:     WaterAt(rapid.Float64Range(0, 20).Draw(t, "c")),
	}
}

func TestSearchFindsWhatBisectionFinds(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		r, st := drawRig(t), drawStation(t)
		if r.Pres.Name == "drift" {
			r.Pres.Frame = rapid.Float64Range(boatLow, boatHigh).Draw(t, "boat")
		}
		var c column
		c.init(r, st)
		want, wantOK := bisect(&c)

		got, ok := c.lightest()
		require.Equal(t, wantOK, ok)
		require.InDelta(t, want, got, 1e-6)
		if ok {
			require.True(t, c.holds(got))
		}
		near, ok := c.lightestNear(rapid.Float64Range(0, .1).Draw(t, "guess"),
			rapid.SampledFrom([]float64{.001, .02, .05}).Draw(t, "spread"))
		require.Equal(t, wantOK, ok)
		require.InDelta(t, want, near, 1e-6)
	})
}

func TestMinimumRisesWithDepthSpeedAndLine(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		r, st := drawRig(t), drawStation(t)
		base, ok := Lightest(r, st)
		if !ok {
			base = math.Inf(1)
		}
		more := func(name string, r Rig, st Station, tolerance float64) {
			kg, ok := Lightest(r, st)
			if !ok {
				kg = math.Inf(1)
			}
			require.GreaterOrEqual(t, kg*(1+tolerance), base, name)
		}

		f := rapid.Float64Range(1, 1.5).Draw(t, "factor")
		faster, deeper, thicker := st, st, r
		faster.SurfaceMS *= f
		deeper.DepthM = min(deeper.DepthM*f, MaxDepthM)
		thicker.Line.DiameterM *= f
		more("faster", r, faster, 1e-6)

		// With the same speed on top, deeper water is slower at the jig's height
		// above the bed: where next to no line stands in the current (a gram in
		// three feet) the minimum falls by a part in a thousand.
		more("deeper", r, deeper, .005)
		more("thicker line", thicker, st, 1e-6)
	})
}

func TestDriftQuarteringAnchoredSlimBulky(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		r, st := drawRig(t), drawStation(t)
		kg := func(body, pres string) float64 {
			x := r
			x.Body, _ = ParseBody(body)
			x.Pres, _ = ParsePresentation(pres)
			m, ok := Lightest(x, st)
			if !ok {
				return math.Inf(1)
			}
			return m * (1 + 1e-6)
		}
		require.LessOrEqual(t, kg("slim", "drift"), kg("slim", "quartering")*(1+1e-6))
		require.LessOrEqual(t, kg("slim", "quartering"), kg("slim", "anchored")*(1+1e-6))
		if r.Pres.Name != "drift" { // in a drift the body is dragged against the line and helps to hold it
			require.LessOrEqual(t, kg("slim", r.Pres.Name), kg("bulky", r.Pres.Name)*(1+1e-6))
		}
	})
}

func TestSolveDoesNotAllocate(t *testing.T) {
	r, st := rig(t, "slim", braid, "quartering"), at(12, 1.9, 3)
	require.Zero(t, testing.AllocsPerRun(20, func() { Solve(r, st, .007) }))
	require.Zero(t, testing.AllocsPerRun(20, func() { Lightest(r, st) }))
}

func TestLightestRefusesNonsense(t *testing.T) {
	t.Parallel()
	r := rig(t, "slim", braid, "quartering")
	for _, st := range []Station{{}, at(math.NaN(), 2, 3), at(12, math.NaN(), 3), at(math.Inf(1), 2, 3), at(-3, 2, 3),
		at(0, 2, 3)} {
		_, ok := Lightest(r, st)
		require.False(t, ok, "%+v", st)
	}
}

// The prior spread of .38 by linear propagation of what is uncertain of a
// sounded and timed spot: speed .15, depth .08, line drag .10 (all ln-sd), lam
// .07, angle limit 3 deg, surges .03 of 1.10; the pressing share c adds .076
// by the printed sensitivities [reference calculation, assumed spreads].
func TestPriorSpreadAddsUp(t *testing.T) {
	t.Parallel()
	slope := func(set func(*Rig, *Station, float64), d float64) float64 {
		at2 := func(x float64) float64 {
			r, st := rig(t, "slim", braid, "quartering"), at(12, 1.9, 3)
			set(&r, &st, x)
			kg, ok := Lightest(r, st)
			require.True(t, ok)
			return math.Log(kg)
		}
		return (at2(d) - at2(-d)) / (2 * d)
	}
	speed := slope(func(_ *Rig, st *Station, x float64) { st.SurfaceMS *= math.Exp(x) }, .1)
	require.InDelta(t, speedElastic, speed, .12)

	depth := slope(func(_ *Rig, st *Station, x float64) { st.DepthM *= math.Exp(x) }, .1)
	require.InDelta(t, depthElastic, depth, .08)
	line := slope(func(r *Rig, _ *Station, x float64) { r.Line.DiameterM *= math.Exp(x) }, .1)
	lam := slope(func(r *Rig, _ *Station, x float64) { r.Pres.Lam += x }, .05)
	theta := slope(func(r *Rig, _ *Station, x float64) { r.Pres.ThetaMaxDeg += x }, 2)
	var v float64
	for _, part := range []float64{speed * .15, depth * .08, line * .10, lam * .07, theta * 3, speed * .03 / gust,
		.076} {
		v += part * part
	}
	require.InDelta(t, priorLnSD, math.Sqrt(v), .015)
	require.InDelta(t, ownLnSD, math.Sqrt(v-speed*speed*.15*.15-depth*depth*.08*.08), .015)
}

func (c *column) holds(m float64) bool {
	return c.margin(m) >= 0 && c.sinkMargin(m) >= 0
}

// surrogate is the power law of the minimum mass in kg: the second route that
// checks the cable solution, and the reason that text gives for a weight. It
// was fitted to quartering casts with a slim body at 3 C; an anchored cast back
// needs 1.9 times that. ok is false for other presentations and outside
// 6-25 ft and 1-3 ft/s, where it is off by more than 11 %.
func surrogate(r Rig, st Station) (kg float64, ok bool) {
	ft, fps := coldseam.Feet(st.DepthM), coldseam.Feet(st.SurfaceMS)
	oz := .203 * math.Pow(ft/12, depthElastic) * math.Pow(fps/1.9, speedElastic) * math.Pow(r.Line.DiameterM*1000/.14,
		.68)
	switch r.Pres.Name {
	case "quartering":
	case "anchored":
		oz *= 1.9
	default:
		return 0, false
	}
	return oz * coldseam.KgPerOunce, ft >= 6 && ft <= 25 && fps >= 1 && fps <= 3
}
