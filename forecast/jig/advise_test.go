package jig

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

func ptr(x float64) *float64 { return &x }

// benchGeometry is the gauge section of the reference computation.
var benchGeometry = Geometry{
	A:     22.6,
	B:     .1145,
	C:     .2018,
	F:     .4794,
	K:     .2179,
	M:     .4057,
	SDY:   .17,
	SDV:   .17,
	RVY:   -.6,
	SComb: .25,
	QMin:  4,
	QMax:  120,
	N:     240,
}

// flowsAround is 200 lognormal members, drawn with a fixed seed.
func flowsAround(median, sd float64) []float64 {
	rng := rand.New(rand.NewPCG(1, 2))
	out := make([]float64, 200)
	for i := range out {
		out[i] = median * math.Exp(sd*rng.NormFloat64())
	}
	return out
}

// seam is a sounded, timed seam that at 40 m3/s is 12 ft deep with 1.9 ft/s on
// top: the start of the season in the main channel.
func seam(t testing.TB) SpotInput {
	return SpotInput{
		Spot: coldseam.Spot{ID: "main-seam", Name: "Main seam", Kind: coldseam.SpotSeam, Bed: "gravel",
			DepthRefM: ptr(12 * coldseam.MetrePerFoot), StageRefM: ptr(2.0), FlowRef: ptr(40),
			Sounded: coldseam.Date{Year: 2026, Month: 3, Day: 1},
			FloatMS: ptr(1.9 * coldseam.MetrePerFoot), FloatFlow: ptr(40), FloatN: 5},
		Rig:         rig(t, "slim", braid, "quartering"),
		Geometry:    benchGeometry,
		FlowM3S:     40,
		StageM:      ptr(2.0),
		FlowMembers: flowsAround(40, .10),
		WaterC:      3,
		WaterOK:     true,
	}
}

func codes(j coldseam.SpotJig) []string {
	var out []string
	for _, w := range j.Warnings {
		out = append(out, w.Code)
	}
	return out
}

func TestAdviseFillsTheAdvice(t *testing.T) {
	t.Parallel()
	j := Advise(seam(t))
	require.Empty(t, j.Withheld.Code)
	require.Equal(t, "main-seam", j.SpotID)
	require.Equal(t, []float64{.25, .375, .375}, []float64{j.TieOz, j.PackOz, j.NextOz})
	require.InEpsilon(t, .2035, j.MinOz, .03)
	require.InDelta(t, 12, coldseam.Feet(j.DepthM), .1)
	require.InDelta(t, .68, j.TieHolds, .05)
	require.Len(t, j.Holds, 9)
	require.Len(t, j.CriticalM3S, 9)
	require.Equal(t, []string{"uncalibrated"}, codes(j))

	for i, gear := range []string{"nylon-0.28", "bulky"} {
		require.Equal(t, map[string]float64{"size_oz": .375}, j.Costs[i].Values)
		require.Equal(t, gear, j.Costs[i].Names["gear"])
	}

	require.Equal(t, map[string]string{"lie": "swept_low"}, j.LineLies.Names)
	for name, want := range map[string]float64{"angle_deg": 57, "line_out_m": 4.4, "bow_cm": 56, "slack_cm": 19} {
		require.InEpsilon(t, want, j.LineLies.Values[name], .02, name)
	}
	require.Equal(t, map[string]string{"speed_by": "float"}, j.Why.Names)
	require.InDelta(t, 1.9, coldseam.Feet(j.Why.Values["current_m_s"]), .05)
	require.Equal(t, "leader", j.Leader.Code)
	require.InDelta(t, 4.8, j.SinkS, .2)
}

// Every rule of withholding: the code, and that no weight slips out with it.
func TestEveryRuleThatWithholds(t *testing.T) {
	t.Parallel()

	rows := []struct {
		name, code, why string
		set             func(*SpotInput)
	}{
		{"no sounding", "no_depth", "unsounded", func(in *SpotInput) { in.Spot.DepthRefM = nil }},
		{"sounding of zero", "no_depth", "zero", func(in *SpotInput) { in.Spot.DepthRefM = ptr(0) }},
		{"sounding without its stage or flow", "no_depth", "undated", func(in *SpotInput) {
			in.Spot.StageRefM, in.Spot.FlowRef = nil, nil
		}},
		{"dry", "no_depth", "dry", func(in *SpotInput) { in.Spot.StageRefM = ptr(9) }},
		{"no flow at all", "no_depth", "flow", func(in *SpotInput) { in.FlowMembers, in.FlowM3S = nil, 0 }},
		{"stale", "stale_gauge", "", func(in *SpotInput) { in.Stale = true }},
		{"ice", "ice", "", func(in *SpotInput) { in.Ice = true }},
		{"moved sand", "sounding_old", "", func(in *SpotInput) { in.Spot.Bed, in.OverP95 = "sand", true }},
		{"undated sand", "sounding_old", "", func(in *SpotInput) {
			in.Spot.Bed, in.Spot.Sounded = "sand", coldseam.Date{}
		}},
		{"no speed", "no_speed", "", func(in *SpotInput) { in.Geometry, in.Spot.FloatMS = Geometry{}, nil }},
		{"anchor fast", "anchor", "", func(in *SpotInput) {
			in.Rig.Pres, _ = ParsePresentation("anchored")
			in.Spot.FloatMS, in.Spot.DepthRefM = ptr(3.1*coldseam.MetrePerFoot), ptr(2.0)
		}},
		{"anchor high water", "anchor", "high", func(in *SpotInput) {
			in.Rig.Pres, _ = ParsePresentation("vertical")
			in.HighFlow = true
		}},
		{"anchor debris", "anchor", "debris", func(in *SpotInput) {
			in.Rig.Pres, _ = ParsePresentation("anchored")
			in.Debris = true
		}},
		{"outside the measured range", "out_of_range", "most", func(in *SpotInput) {
			in.Geometry.QMin, in.Geometry.QMax = 80, 120
		}},
		{"nothing holds", "none_holds", "", func(in *SpotInput) { in.BoxOz = []float64{1. / 16, 1. / 8} }},
		{"too fast", "too_fast", "", func(in *SpotInput) {
			in.Spot.FloatMS, in.Spot.DepthRefM = ptr(5.2*coldseam.MetrePerFoot), ptr(1.0)
		}},
		{"an ounce", "too_fast", "ounce", func(in *SpotInput) { in.Spot.FloatMS = ptr(4.4 * coldseam.MetrePerFoot) }},
		{"floats", "floats", "", func(in *SpotInput) { in.Rig.Body.VolumeM3, in.Rig.Body.RhoKGM3 = 400e-6, 900 }},
		{"wade deep", "wading", "deep", wade(12, 1, nil)},
		{"wade fast", "wading", "fast", wade(2, 3.2, nil)},
		{"wade product", "wading", "product", wade(2.45, 2.9, nil)},
		{"wade rising", "wading", "rising", wade(2, 1, func(in *SpotInput) { in.Rising = true })},
		{"wade undated", "wading", "undated", wade(2, 1, func(in *SpotInput) { in.Spot.Sounded = coldseam.Date{} })},
		{"a flow that is no number", "numeric", "", func(in *SpotInput) { in.FlowMembers = []float64{40, math.NaN()} }},
		{"a flow below zero", "numeric", "flow", func(in *SpotInput) { in.FlowMembers = []float64{40, -2} }},
		{"endless stage", "numeric", "", func(in *SpotInput) { in.StageM = ptr(math.Inf(1)) }},
	}

	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			in := seam(t)
			r.set(&in)
			j := Advise(in)
			require.Equal(t, r.code, j.Withheld.Code)
			require.Equal(t, r.why, j.Withheld.Names["case"])
			require.Zero(t, j.TieOz)
			require.Zero(t, j.PackOz)
			require.Zero(t, j.NextOz)
			require.Contains(t, codes(j), r.code)
		})
	}
}

func wade(ft, fps float64, more func(*SpotInput)) func(*SpotInput) {
	return func(in *SpotInput) {
		in.Rig.Pres, _ = ParsePresentation("wading")
		in.Spot.DepthRefM, in.Spot.FloatMS = ptr(ft*coldseam.MetrePerFoot), ptr(fps*coldseam.MetrePerFoot)
		in.FlowMembers = []float64{40}
		if more != nil {
			more(in)
		}
	}
}

func TestEveryWarning(t *testing.T) {
	t.Parallel()

	rows := []struct {
		name, code string
		set        func(*SpotInput)
	}{
		{"anchored line", "anchor_note", func(in *SpotInput) { in.Rig.Pres, _ = ParsePresentation("anchored") }},
		{"drift", "drift_sensitive", func(in *SpotInput) {
			in.Rig.Pres, _ = ParsePresentation("drift")
			in.Spot.FloatMS = ptr(3.2 * coldseam.MetrePerFoot)
		}},
		{"wading not ruled out", "wading_note", wade(2, 1, nil)},
		{"uncalibrated", "uncalibrated", func(*SpotInput) {}},
		{"some members outside", "out_of_range", func(in *SpotInput) { in.Geometry.QMax = 33 }},
		{"heaviest carried", "pack_short", func(in *SpotInput) { in.BoxOz = []float64{.125, .25} }},
		{"bulky deep", "slow_sink", func(in *SpotInput) {
			in.Rig.Body, _ = ParseBody("bulky")
			in.Spot.DepthRefM, in.Limits.FloorOz = ptr(5), 1./16
		}},
		{"no temperature", "no_water_temp", func(in *SpotInput) { in.WaterOK = false }},
		{"depth by flow", "depth_by_flow", func(in *SpotInput) { in.Spot.StageRefM = nil }},
		{"few gaugings", "default_geometry", func(in *SpotInput) { in.Geometry.Default = true }},
		{"wind on the floats", "float_wind", func(in *SpotInput) { in.Spot.FloatWind = "upstream 10 mph" }},
		{"few floats", "float_few", func(in *SpotInput) { in.Spot.FloatN = 2 }},
		{"floats without a flow", "float_no_flow", func(in *SpotInput) { in.Spot.FloatFlow = nil }},
		{"off the stage table", "stage_range", func(in *SpotInput) {
			in.Curve = StageCurve{[]float64{5, 20}, []float64{1, 1.5}}
		}},
		{"very shallow", "clamped", func(in *SpotInput) { in.Spot.DepthRefM = ptr(.3) }},
	}

	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			in := seam(t)
			r.set(&in)
			j := Advise(in)
			require.Empty(t, j.Withheld.Code)
			require.Positive(t, j.TieOz)
			require.Contains(t, codes(j), r.code)
		})
	}
}

func TestOutsideTheRangeWidensTheSpread(t *testing.T) {
	t.Parallel()
	in := seam(t)
	in.Geometry.QMax = 33
	require.InDelta(t, outsideLnSD, Advise(in).ModelLnSD, 1e-9)
}

func TestSpreadFollowsWhatIsKnown(t *testing.T) {
	t.Parallel()
	require.Equal(t, .38, modelLnSD(0, timedSpeedLnSD, soundedLnSD))
	require.InDelta(t, math.Hypot(.25, .378), modelLnSD(.378, timedSpeedLnSD, soundedLnSD), 1e-12)
	in := seam(t)
	timed := Advise(in).ModelLnSD
	in.Spot.FloatMS = nil
	require.Greater(t, Advise(in).ModelLnSD, timed+.1)
}

// A current that nobody timed gives a range, and no headline beside a timed one.
func TestGuessedCurrentIsARange(t *testing.T) {
	t.Parallel()
	in := seam(t)
	timed := Advise(in)
	require.Zero(t, timed.MayNeedOz)
	in.Spot.FloatMS = nil
	guessed := Advise(in)
	require.Less(t, guessed.MayNeedOz[0], guessed.MayNeedOz[1])
	require.Equal(t, 1, coldseam.Headline([]coldseam.SpotJig{guessed, timed}))
	require.Equal(t, 0, coldseam.Headline([]coldseam.SpotJig{guessed}))
	require.Equal(t, -1, coldseam.Headline(nil))
}

func TestHereTakesWhatIsGiven(t *testing.T) {
	t.Parallel()
	in := SpotInput{Here: true, FlowM3S: 1, WaterOK: true, WaterC: 3, Rig: rig(t, "slim", braid, "quartering"),
		Spot: coldseam.Spot{DepthRefM: ptr(3), FlowRef: ptr(1), FloatMS: ptr(0), FloatFlow: ptr(1), Bed: "sand"}}
	j := Advise(in)
	require.Empty(t, j.Withheld.Code, "still water is an answer, and the sounding is of this moment")
	require.Equal(t, 1./8, j.TieOz)
	require.Equal(t, .38, j.ModelLnSD)
	require.Equal(t, "given", j.Why.Names["speed_by"])
	in.Spot.FloatMS = nil
	require.Equal(t, "no_speed", Advise(in).Withheld.Code)
}

func TestDriftStartsAtAQuarterInFastWater(t *testing.T) {
	t.Parallel()
	in := seam(t)
	in.Rig = rig(t, "slim", braid, "drift")
	in.Spot.FloatMS = ptr(1.9 * coldseam.MetrePerFoot)
	require.Equal(t, 1./8, Advise(in).TieOz)
	in.Spot.FloatMS = ptr(2.2 * coldseam.MetrePerFoot)
	require.Equal(t, 1./4, Advise(in).TieOz)
}

func TestDriftIsAveragedOverTheBoatSpeed(t *testing.T) {
	t.Parallel()
	v := boatSpeeds()
	var mean float64
	for i, x := range v {
		mean += x / boatN
		require.True(t, x >= boatLow && x <= boatHigh)
		require.True(t, i == 0 || x > v[i-1])
	}
	require.InDelta(t, driftFrame, mean, .01)
	in := seam(t)
	in.Rig, in.Spot.FloatMS = rig(t, "slim", braid, "drift"), ptr(3*coldseam.MetrePerFoot)
	j := Advise(in)
	fixed := newOdds(must(in.site()), Rig{in.Rig.Body, in.Rig.Line, in.Rig.Metal, Presentation{Name: "fixed", Frame: 0,
		ThetaMaxDeg: 40, LeadM: 1e9}}, in.FlowMembers, 30, 50, 0, 1)
	require.Len(t, fixed.curves, 1)
	require.Less(t, j.MinOz, 1./16, "at exactly .75 of the surface a sixteenth would do")
	require.Less(t, j.Holds[0].Holds, .6, "but boats do not drift at exactly that")
}

func must(s *site, _ siteInputs) *site { return s }

func TestCalibratedSpotUsesItsOwnLimit(t *testing.T) {
	t.Parallel()
	in := seam(t)
	for i := range 8 {
		oz, held := 1./4, true
		if i%2 == 1 {
			oz, held = 3./16, false
		}
		in.Logs = append(in.Logs, Log{Oz: oz, Rig: in.Rig, Held: held, FlowM3S: 40})
	}

	j := Advise(in)
	require.True(t, j.Calibrated)
	require.Equal(t, 8, j.Logs)
	require.NotContains(t, codes(j), "uncalibrated")
	require.Less(t, j.ModelLnSD, .2)
	require.GreaterOrEqual(t, j.TieHolds, .70)
	lost := seam(t)
	for range 6 {
		lost.Logs = append(lost.Logs, Log{Oz: 3. / 8, Rig: lost.Rig, FlowM3S: 40})
	}
	require.Greater(t, Advise(lost).TieOz, j.TieOz, "six lost at 3/8 move it up")
	require.Less(t, Advise(lost).CriticalM3S[4].M3S, j.CriticalM3S[4].M3S)
}

func TestAnAngleReplacesTheRatio(t *testing.T) {
	t.Parallel()
	in := seam(t)
	in.Spot.FloatMS = nil
	st := at(12, 2.4, 3)
	kg := .375 * coldseam.KgPerOunce
	deg := Solve(in.Rig, st, kg).AngleDeg
	day := time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)
	in.Logs = []Log{{At: day, Oz: .375, Rig: in.Rig, Held: true, AngleDeg: &deg, FlowM3S: 40},
		{At: day.AddDate(0, 0, -9), Oz: .375, Rig: in.Rig, Held: true, AngleDeg: ptr(20), FlowM3S: 40}}

	j := Advise(in)
	require.InDelta(t, 2.4, coldseam.Feet(j.SurfaceMS), .03, "the newest angle counts")
	require.Equal(t, "angle", j.Why.Names["speed_by"])
	require.InDelta(t, .38, modelLnSD(benchGeometry.SComb, timedSpeedLnSD, soundedLnSD), 1e-9)
	in.Spot.FloatMS, in.Spot.FloatOn = ptr(.6), coldseam.Date{Year: 2026, Month: 3, Day: 12}
	j = Advise(in)
	require.Equal(t, "float", j.Why.Names["speed_by"], "floats that are newer")
	in.Spot.FloatOn = coldseam.Date{Year: 2026, Month: 3, Day: 9}
	require.Equal(t, "angle", Advise(in).Why.Names["speed_by"])
	in.Logs = []Log{{At: day, Oz: .375, AngleDeg: ptr(45), FlowM3S: 40, Held: true}}
	j = Advise(in)
	require.Equal(t, "float", j.Why.Names["speed_by"], "a log without its rig says nothing")
	require.Zero(t, j.Logs)
}

func TestDepthFollowsTheStage(t *testing.T) {
	t.Parallel()
	in := seam(t)
	in.StageM = ptr(2.5)
	require.InDelta(t, 12*coldseam.MetrePerFoot+.5, Advise(in).DepthM, .02)
	in.Spot.StageGain = .6
	require.InDelta(t, 12*coldseam.MetrePerFoot+.3, Advise(in).DepthM, .02)
	in.StageMembers = make([]float64, len(in.FlowMembers))
	for i := range in.StageMembers {
		in.StageMembers[i] = 3
	}
	require.InDelta(t, 12*coldseam.MetrePerFoot+.6, Advise(in).DepthM, 1e-9, "forecast stage before the stage now")
	// A rating carries the stage between flows.
	in = seam(t)
	in.Curve = CurveFromRating(coldseam.Rating{StageM: []float64{1, 2, 3}, Discharge: []float64{10, 40, 90}})
	s, _ := in.site()
	require.InDelta(t, 1, s.depthM(90)-s.depthM(40), 1e-9)
	require.InDelta(t, -1, s.depthM(10)-s.depthM(40), 1e-9)
}

func TestLeaderIsStrongerOverSnags(t *testing.T) {
	t.Parallel()
	in := seam(t)
	require.Empty(t, Advise(in).Leader.Names["case"])
	in.Spot.Snags = true
	require.Equal(t, "snags", Advise(in).Leader.Names["case"])
	in.Rig = rig(t, "bulky", braid, "quartering")
	require.Equal(t, "dragged", Advise(in).Leader.Names["case"])
}

func TestDunesOnlyWhereTheBedIsSand(t *testing.T) {
	t.Parallel()
	in := seam(t)
	require.Empty(t, Advise(in).Dunes.Code)
	in.Spot.Bed, in.BedFlowM3S = "sand", 70
	require.NotEmpty(t, Advise(in).Dunes.Code)
}

func TestReachPutsAdvisedSpotsFirstAndNamesThem(t *testing.T) {
	t.Parallel()
	fast, slack, hole := seam(t), seam(t), seam(t)
	fast.Spot.ID, fast.Spot.Name, fast.Spot.Kind, fast.Spot.FloatMS = "chute", "Chute", coldseam.SpotMain,
		ptr(6*coldseam.MetrePerFoot)
	slack.Spot.ID, slack.Spot.Name, slack.Spot.Kind, slack.Spot.FloatMS = "pocket", "Pocket", coldseam.SpotSlack,
		ptr(.5*coldseam.MetrePerFoot)
	hole.Spot.ID, hole.Spot.Name, hole.Spot.Kind, hole.Spot.Class = "bend", "Bend hole", coldseam.SpotHole,
		"bend_hole_deep"
	js := Reach([]SpotInput{fast, slack, hole}, []string{"bend_hole_deep", "slack_pocket"})
	require.Equal(t, []string{"bend", "pocket", "chute"}, []string{js[0].SpotID, js[1].SpotID, js[2].SpotID})
	require.Equal(t, "too_fast", js[2].Withheld.Code)
	js = Reach([]SpotInput{slack, seam(t)}, []string{"seam"})
	require.Equal(t, "main-seam", js[0].SpotID, "plain kinds rank too")
	require.Empty(t, Reach(nil, nil))
}

func TestHoldPIsOfTheHeaviestCarried(t *testing.T) {
	t.Parallel()
	j := Advise(seam(t))
	p, ok := HoldP(j, nil, 0)
	require.True(t, ok)
	require.Equal(t, j.Holds[7].Holds, p)
	q, ok := HoldP(j, []float64{1. / 8, 1. / 4}, 0)
	require.True(t, ok)
	require.Less(t, q, p)
	_, ok = HoldP(coldseam.SpotJig{}, nil, 0)
	require.False(t, ok)
}

func drawInput(t *rapid.T) SpotInput {
	in := SpotInput{
		Rig:      drawRig(t),
		Geometry: benchGeometry,
		WaterC:   rapid.Float64Range(0, 15).Draw(t, "c"),
		WaterOK:  true,
	}
	in.Spot = coldseam.Spot{
		ID:   "a",
		Name: "A",
		Kind: rapid.SampledFrom([]coldseam.SpotKind{"hole", "seam", "slack", "dunes", "shallow", "main"}).Draw(t,
			"kind"),
		DepthRefM: ptr(rapid.Float64Range(.2, 9).Draw(t, "depth")),
		FlowRef:   ptr(40),
		StageRefM: ptr(2),
		Bed:       rapid.SampledFrom([]string{"", "sand", "rock"}).Draw(t, "bed"),
		Sounded:   coldseam.Date{Year: 2026, Month: 3, Day: 1},
	}
	if rapid.Bool().Draw(t, "timed") {
		in.Spot.FloatMS, in.Spot.FloatFlow = ptr(rapid.Float64Range(.05, 2).Draw(t, "float")), ptr(40)
	}
	in.FlowMembers = flowsAround(rapid.Float64Range(5, 140).Draw(t, "flow"),
		rapid.Float64Range(0, .5).Draw(t, "sd"))[:40]
	in.FlowM3S, in.StageM = in.FlowMembers[0], ptr(rapid.Float64Range(.5, 4).Draw(t, "stage"))
	in.Rising, in.HighFlow = rapid.Bool().Draw(t, "rising"), rapid.Bool().Draw(t, "high")
	return in
}

func TestAdviceIsOrderedAndRepeatable(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t)
		j := Advise(in)
		a, err := json.Marshal(j)
		require.NoError(t, err, "every number is finite")
		b, err := json.Marshal(Advise(in))
		require.NoError(t, err)
		require.Equal(t, string(a), string(b))
		for i := 1; i < len(j.Holds); i++ {
			require.GreaterOrEqual(t, j.Holds[i].Holds, j.Holds[i-1].Holds, "P rises with size")
			require.LessOrEqual(t, j.Holds[i].Holds, 1+1e-9)
		}

		require.Equal(t, j.Withheld.Code == "", j.TieOz > 0, "a weight or a reason, never both")
		said := append([]coldseam.Reason{j.Withheld, j.LineLies, j.Dunes, j.Why}, j.Warnings...)
		for _, n := range Measure([]SpotInput{in}) {
			said = append(said, n.Reason)
		}
		for _, r := range said {
			require.True(t, r.Code == "" ||
				notify.ReasonText(r, "us", "UTC") != strings.ReplaceAll(r.Code, "_", " "), "%+v", r)
		}

		if j.TieOz > 0 {
			require.GreaterOrEqual(t, j.PackOz, j.TieOz)
			require.GreaterOrEqual(t, j.TieOz, 1./8)
			require.LessOrEqual(t, j.PackOz, 3./4)
			require.GreaterOrEqual(t, j.TieHolds, .5)
			require.True(t, j.NextOz == 0 || j.NextOz > j.TieOz)
		}
		require.NotRegexp(t, `(?i)\bsafe(ly)?\b`, string(a))
	})
}

func TestMoreWaterNeverMeansALighterJig(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t)
		in.Rig.Pres, _ = ParsePresentation("quartering")
		in.StageM, in.Spot.StageRefM = nil, nil
		in.Geometry.QMin, in.Geometry.QMax = .1, 1e4
		in.Spot.FloatMS, in.Spot.FloatFlow = ptr(.5), ptr(40)
		low := Advise(in)
		for i := range in.FlowMembers {
			in.FlowMembers[i] *= 1.3
		}

		high := Advise(in)
		if low.TieOz > 0 && high.TieOz > 0 {
			require.GreaterOrEqual(t, high.TieOz, low.TieOz)
		}
		for i := range low.Holds {
			if len(high.Holds) > 0 {
				require.LessOrEqual(t, high.Holds[i].Holds, low.Holds[i].Holds+1e-6)
			}
		}
	})
}
