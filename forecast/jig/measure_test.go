package jig

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestMeasureRanksWhatIsMissing(t *testing.T) {
	t.Parallel()
	unsounded, untimed, timed := seam(t), seam(t), seam(t)
	unsounded.Spot.ID, unsounded.Spot.Name, unsounded.Spot.DepthRefM = "hole", "Bend hole", nil
	untimed.Spot.ID, untimed.Spot.Name, untimed.Spot.FloatMS = "bend", "the bend", nil
	needs := Measure([]SpotInput{timed, untimed, unsounded})
	require.Equal(t, "measure_sound", needs[0].Code)
	require.Equal(t, map[string]string{"case": "unsounded", "spot": "Bend hole"}, needs[0].Names)
	require.True(t, math.IsInf(needs[0].Narrows, 1))
	var float, logs int

	for i, n := range needs {
		require.True(t, i == 0 || n.Narrows <= needs[i-1].Narrows)
		require.Positive(t, n.Narrows)
		if n.Code == "measure_float" {
			float++
			require.Equal(t, "bend", n.SpotID)
			require.Contains(t, n.Names["sizes"], ",")
			require.NotEmpty(t, n.Names["becomes"])
		}
		if n.Code == "measure_log" {
			logs++
		}
	}

	require.Equal(t, 1, float)
	require.Equal(t, 2, logs)
}

func TestMeasureNamesWhatBlocks(t *testing.T) {
	t.Parallel()
	rows := []struct {
		code string
		set  func(*SpotInput)
	}{
		{"measure_stage", func(in *SpotInput) { in.Spot.StageRefM, in.Spot.FlowRef = nil, nil }},
		{"measure_sound", func(in *SpotInput) { in.Spot.Bed, in.OverP95 = "sand", true }},
		{"measure_float", func(in *SpotInput) { in.Geometry, in.Spot.FloatMS = Geometry{}, nil }},
	}
	for _, r := range rows {
		in := seam(t)
		r.set(&in)
		n := Measure([]SpotInput{in})
		require.Len(t, n, 1)
		require.Equal(t, r.code, n[0].Code)
	}

	in := seam(t)
	in.FlowMembers, in.FlowM3S = nil, 0
	require.Empty(t, Measure([]SpotInput{in}), "a silent gauge is not the admin's to measure")
	in = seam(t)
	in.FlowMembers = []float64{math.NaN()}
	require.Empty(t, Measure([]SpotInput{in}))
}

func TestMeasureSeesGaugingsAndStage(t *testing.T) {
	t.Parallel()
	in := seam(t)
	in.Geometry.Default, in.Geometry.SComb = true, defaultSComb
	in.Spot.StageRefM = nil
	var got []string
	for _, n := range Measure([]SpotInput{in}) {
		got = append(got, n.Code)
	}
	require.ElementsMatch(t, []string{"measure_log", "measure_gaugings", "measure_stage"}, got)
}

func TestMeasureAsksForTheFlowOfTheFloats(t *testing.T) {
	t.Parallel()
	in := seam(t)
	in.Spot.FloatFlow = nil
	n := Measure([]SpotInput{in})
	require.Contains(t, []string{n[0].Code, n[1].Code}, "measure_flow")
}

func TestMeasureIsSilentWhenThereIsNothingToGain(t *testing.T) {
	t.Parallel()
	in := seam(t)
	for i := range 12 {
		oz, held := 1./4, true
		if i%2 == 1 {
			oz, held = 3./16, false
		}
		in.Logs = append(in.Logs, Log{Oz: oz, Rig: in.Rig, Held: held, FlowM3S: 40})
	}
	require.Empty(t, Measure([]SpotInput{in}))
}
