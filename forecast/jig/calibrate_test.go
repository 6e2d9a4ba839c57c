package jig

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// logsAt are n logs of a spot whose true factor is g, by an angler who ties on
// the recommended size and steps about it.
func logsAt(n int, g, lnM float64, seed uint64) []Log {
	rng := rand.New(rand.NewPCG(seed, 0))
	var out []Log
	mean := 0.0
	for range n {
		size := coldseam.TradeSizesOz[0]
		for _, oz := range coldseam.TradeSizesOz {
			size = oz
			if math.Log(oz*coldseam.KgPerOunce) >= lnM+mean {
				break
			}
		}
		p := phi((math.Log(size*coldseam.KgPerOunce) - lnM - g) / eventLnSD)
		out = append(out, Log{Oz: size, Held: rng.Float64() < p, FlowM3S: 40})
		mean = posterior(priorLnSD, out, func(Log) (float64, bool) { return lnM, true }).Mean
	}
	return out
}

func TestLogsNarrowTheFactor(t *testing.T) {
	t.Parallel()
	lnM := math.Log(.203 * coldseam.KgPerOunce)
	model := func(Log) (float64, bool) { return lnM, true }
	var off float64
	const runs = 60
	for seed := range uint64(runs) {
		logs := logsAt(12, .30, lnM, seed)
		last := priorLnSD
		for _, n := range []int{1, 4, 12} {
			c := posterior(priorLnSD, logs[:n], model)
			require.Less(t, c.SD, last+.02, "seed %d after %d logs", seed, n)
			require.Equal(t, n, c.Logs)
			last = c.SD
		}
		require.Less(t, last, .20)
		off += (posterior(priorLnSD, logs, model).Mean - .30) / runs
	}

	require.InDelta(t, 0, off, .06, "twelve logs find a true factor of .30 on average")
}

func TestCalibratedNeedsFourLogsWithBothOutcomes(t *testing.T) {
	t.Parallel()
	model := func(Log) (float64, bool) { return math.Log(.007), true }
	held, lost := Log{Oz: .25, Held: true, FlowM3S: 40}, Log{Oz: .1875, FlowM3S: 40}
	rows := []struct {
		name string
		logs []Log
		done bool
	}{
		{"none", nil, false}, {"three with both", []Log{held, lost, held}, false},
		{"four held", []Log{held, held, held, held}, false}, {"four lost", []Log{lost, lost, lost, lost}, false},
		{"four with both", []Log{held, held, lost, held}, true},
	}
	for _, r := range rows {
		require.Equal(t, r.done, posterior(priorLnSD, r.logs, model).Done, r.name)
	}
	c := posterior(priorLnSD, []Log{held, {Held: true}, lost}, model)
	require.Equal(t, 2, c.Logs)
	require.Equal(t, 1, c.Unused, "a log without a size says nothing")
}

func TestHeldLowersAndLostRaisesTheFactor(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lnM := math.Log(rapid.Float64Range(.002, .03).Draw(t, "kg"))
		model := func(Log) (float64, bool) { return lnM, true }
		var logs []Log
		for range rapid.IntRange(0, 8).Draw(t, "n") {
			logs = append(logs, Log{Oz: rapid.SampledFrom(coldseam.TradeSizesOz[:]).Draw(t, "oz"),
				Held: rapid.Bool().Draw(t, "held"), FlowM3S: 1})
		}
		l := Log{Oz: rapid.SampledFrom(coldseam.TradeSizesOz[:]).Draw(t, "next"), FlowM3S: 1}
		before := posterior(priorLnSD, logs, model).Mean
		lost := posterior(priorLnSD, append(logs[:len(logs):len(logs)], l), model)
		l.Held = true
		held := posterior(priorLnSD, append(logs[:len(logs):len(logs)], l), model)
		require.GreaterOrEqual(t, lost.Mean, before-.01)
		require.LessOrEqual(t, held.Mean, before+.01)
		require.False(t, math.IsNaN(held.SD) || math.IsNaN(lost.SD))
	})
}

func TestAngleGivesTheSpeedBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r, err := ParseRig("slim", braid, "", rapid.SampledFrom([]string{"quartering", "anchored", "vertical"}).Draw(t,
			"presentation"))
		require.NoError(t, err)
		st := Station{DepthM: rapid.Float64Range(1, 6).Draw(t, "depth"), SurfaceMS: rapid.Float64Range(.1, 1).Draw(t,
			"speed"), Water: WaterAt(3)}
		kg := rapid.Float64Range(.005, .028).Draw(t, "kg")
		sh := Solve(r, st, kg)
		if !sh.OK || sh.AngleDeg < 2 || sh.AngleDeg > 80 {
			t.Skip("no angle to read")
		}
		us, ok := SpeedFromAngle(r, st, kg, sh.AngleDeg)
		require.True(t, ok)
		require.InDelta(t, st.SurfaceMS, us, 1e-6)
	})
}

func TestAngleRefusesWhatNoSpeedShows(t *testing.T) {
	t.Parallel()
	r, st := rig(t, "slim", braid, "quartering"), at(12, 0, 3)
	for _, x := range []float64{0, -5, 90, 130, math.NaN()} {
		_, ok := SpeedFromAngle(r, st, .007, x)
		require.False(t, ok, "%v", x)
	}
	_, ok := SpeedFromAngle(r, at(2, 0, 3), .028, 89)
	require.False(t, ok)
}
