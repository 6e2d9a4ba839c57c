package forecast

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// TestNoClockThatIsWrong: a species whose clock failed against counts gets no
// share and no odds.
func TestNoClockThatIsWrong(t *testing.T) {
	t.Parallel()
	f := river()
	f.Species.NoClock = true
	b := Make(f).Brief
	require.False(t, b.Run.Active)
	require.Equal(t, "no_clock", b.Run.Why)
}

// TestTheModelFillsTheRunsWater: ten days without a thermometer in the season
// do not end the run, the water model stands in.
func TestTheModelFillsTheRunsWater(t *testing.T) {
	t.Parallel()
	f := river()
	f.Days.WaterC = slices.Clone(f.Days.WaterC)
	for i := range 10 {
		f.Days.WaterC[f.Days.Len()-30+i] = math.NaN()
	}
	b := Make(f).Brief
	require.True(t, b.Run.Active, b.Run.Why)
	require.Equal(t, coldseam.Notes{{Code: "water_from_model", Values: map[string]float64{"filled_days": 10}}},
		b.Run.Note)
}

// TestOldWaterIsNotTodays: a thermometer that fell silent weeks ago is told with
// its date, not as today's water.
func TestOldWaterIsNotTodays(t *testing.T) {
	t.Parallel()
	f := river()
	for i := range f.Water {
		f.Water[i].At = f.Water[i].At.AddDate(0, 0, -40)
	}
	b := Make(f).Brief
	require.False(t, b.Temp.NowOK)
	require.False(t, b.Temp.NowAt.IsZero())
	require.Equal(t, "life_jacket_unknown", b.Life.Code)
}
