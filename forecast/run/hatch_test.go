package run

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestIncubationDays(t *testing.T) {
	t.Parallel()
	sp := walleye(t)
	for water, want := range map[float64]float64{4.4: 26.0, 6: 17.8, 7.2: 14.4, 8: 12.8, 10: 10.0, 12: 8.2, 13.9: 7.0} {
		require.InDelta(t, want, sp.IncubationDays(water), .05, "%g C", water)
	}
	require.Equal(t, sp.IncubationDays(3), sp.IncubationDays(1), "clipped below 3 C")
	pike, err := FindSpecies(DefaultSpecies(), "northern_pike")
	require.NoError(t, err)
	require.NotEqual(t, pike.IncubationDays(8), pike.IncubationDays(8), "no row: not a number")
}

func TestHatchToWholeWeeks(t *testing.T) {
	t.Parallel()
	r, err := Forecast(morning(t, 97, 50))
	require.NoError(t, err)
	s := r.State
	require.Equal(t, time.Monday, s.HatchFrom.Weekday())
	require.Equal(t, time.Sunday, s.HatchTo.Weekday())
	require.True(t, s.HatchFrom.Before(s.HatchTo))
	// A tenth has spawned about day 92 at 7 C: 15 days to the hatch.
	require.InDelta(t, 107, s.HatchFrom.YearDay(), 7)
	early, err := Forecast(morning(t, 70, 50))
	require.NoError(t, err)
	require.True(t, early.State.HatchFrom.IsZero(), "no eggs in sight")
}

func TestMostLike(t *testing.T) {
	t.Parallel()
	in := morning(t, 95, 4)

	// Four years back: one alike, one three degrees warmer, one two weeks late.
	first := coldseam.Date{Year: 2019, Month: 1, Day: 1}
	d := coldseam.Days{First: first, Lat: 45}
	for i := 0; first.Add(i).Before(in.Today); i++ {
		day := first.Add(i)
		x := twoWaves(day.YearDay())
		switch day.Year {
		case 2019:
			x += .1
		case 2020:
			x += 3
		case 2021, 2022:
			x = twoWaves(max(1, day.YearDay()-14))
		}
		d.WaterC = append(d.WaterC, x)
	}

	in.Days = d
	r, err := Forecast(in)
	require.NoError(t, err)
	require.Equal(t, []int{2019}, r.State.MostLike)
}

func TestReferenceNeedsFiveSprings(t *testing.T) {
	t.Parallel()
	d := coldseam.Days{First: coldseam.Date{Year: 2015, Month: 1, Day: 1}, Lat: 45}
	for i := range 6 * 366 {
		d.WaterC = append(d.WaterC, twoWaves(d.First.Add(i).YearDay()))
	}
	few := NewReference(walleye(t), d, nil, 2018, 1)
	require.Equal(t, 3, few.Springs)
	require.InDelta(t, SeasonPeak, few.Peak, 0)
	own := NewReference(walleye(t), d, nil, 2021, 1)
	require.Equal(t, 6, own.Springs)
	require.NotEqual(t, few.Peak, own.Peak)
}
