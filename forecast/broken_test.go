package forecast

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
)

// Whatever one river's inputs hold, its morning is a brief that can be stored,
// and a stop that the gauge shows by itself stays one.
func TestHostileInputsMakeABrief(t *testing.T) {
	t.Parallel()
	last := func(obs []coldseam.Observation, v float64) []coldseam.Observation {
		out := append([]coldseam.Observation(nil), obs...)
		out[len(out)-1].Value = v
		return out
	}
	fit := Make(river())

	for _, c := range []struct {
		name string
		harm func(f *Inputs, v float64)
	}{
		{"discharge", func(f *Inputs, v float64) { f.Discharge = last(f.Discharge, v) }},
		{"water", func(f *Inputs, v float64) { f.Water = last(f.Water, v) }},
		{"weather", func(f *Inputs, v float64) {
			for i := range f.Weather {
				for _, m := range f.Weather[i].Members {
					m[0] = v
				}
			}
		}},
		{"daily flow", func(f *Inputs, v float64) { f.Days.FlowM3S[f.Days.Len()-2] = v }},
		{"daily water", func(f *Inputs, v float64) { f.Days.WaterC[f.Days.Len()-2] = v }},
		{"daily air", func(f *Inputs, v float64) { f.Days.AirC[f.Days.Len()-2] = v }},
		{"place", func(f *Inputs, v float64) { f.Reach.Lat, f.Reach.Lon = v, v }},
		{"cost and share", func(f *Inputs, v float64) { f.Cost, f.Reach.ResidentShare = v, v }},
		{"flow limit", func(f *Inputs, v float64) { f.Reach.MaxFlowM3S, f.Reach.FloodStageM = &v, &v }},
		{"gauge far away", func(f *Inputs, v float64) {
			f.Reach.GaugeKM = v
			f.Gaugings = []coldseam.Gauging{{}, {}, {}}
		}},
	} {
		for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e308, -1e308} {
			t.Run(fmt.Sprintf("%s %g", c.name, v), func(t *testing.T) {
				t.Parallel()
				f := river()
				f.FlowModel, f.TempModel = fit.FlowModel, fit.TempModel
				c.harm(&f, v)
				b := Make(f).Brief
				require.NoError(t, sound(b))
				require.Equal(t, f.Reach.ID, b.Reach)
				require.False(t, b.OddsOK && !(b.Odds >= 0 && b.Odds <= 1))
			})
		}
	}
}

// A panic on the way ends the computation of its river alone: the stops that need
// no model are told.
func TestPanicIsNoCallOrStop(t *testing.T) {
	t.Parallel()
	for _, stop := range []bool{false, true} {
		f := river()
		f.Days.IceMark, f.Days.FlowM3S = []bool{true}, f.Days.FlowM3S[:3] // of different lengths
		for i := range f.Weather {
			f.Weather[i].Members = [][]float64{{1}}
		}
		want := coldseam.NoCall
		if stop {
			limit := f.Discharge[len(f.Discharge)-1].Value / 2
			f.Reach.MaxFlowM3S, want = &limit, coldseam.Stop
		}
		m := Make(f)
		require.ErrorContains(t, errors.Join(m.Problems...), "panic")
		require.Equal(t, want, m.Brief.Verdict)
		require.NoError(t, sound(m.Brief))
	}
}

// A number that is none in what was made leaves no odds and no weight.
func TestUnsoundBriefIsBroken(t *testing.T) {
	t.Parallel()
	w := work{f: &Inputs{Reach: coldseam.Reach{ID: "bend", River: "Tamsen"}}}
	w.fill()
	m := w.broken(sound(coldseam.Brief{Odds: math.NaN()}))
	require.Equal(t, coldseam.NoCall, m.Brief.Verdict)
	require.Equal(t, "forecast_broken", m.Brief.Reasons[0].Code)
	require.Equal(t, verdict.KindMissing, m.Brief.Reasons[0].Kind)
	require.ErrorIs(t, m.Problems[0], coldseam.ErrInvalid)
}
