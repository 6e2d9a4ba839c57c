package run

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

func walleye(t testing.TB) Species {
	t.Helper()
	s, err := FindSpecies(DefaultSpecies(), "walleye")
	require.NoError(t, err)
	return s
}

// at45 makes a frame at 45 N from 1 January of a common year.
func at45(n int, water func(day int) float64) coldseam.Days {
	d := coldseam.Days{First: coldseam.Date{Year: 2023, Month: 1, Day: 1}, Lat: 45, WaterC: make([]float64, n)}
	for i := range d.WaterC {
		d.WaterC[i] = water(i + 1)
	}
	return d
}

// twoWaves is the reference spring with a small wave, a cold gap and a bigger
// wave; days count from 1.
func twoWaves(day int) float64 {
	mid := []float64{2.5, 4, 5, 5.5, 4, 2.5, 2, 2, 2, 3.5, 5, 6, 6.5}
	switch {
	case day <= 74:
		return 1
	case day <= 87:
		return mid[day-75]
	}
	return 7
}

func quiet(t testing.TB, d coldseam.Days, o ClockOptions) []ClockDay {
	t.Helper()
	o.NoNoise = true
	out, err := Clock(walleye(t), d, o)
	require.NoError(t, err)
	return out
}

func TestDayLength(t *testing.T) {
	t.Parallel()
	for doy, want := range map[int]float64{1: 8.8425, 75: 11.8456, 90: 12.6512, 120: 14.1864} {
		require.InDelta(t, want, DayLength(45, doy), 5e-5, "day %d", doy)
	}
	require.InDelta(t, 24, DayLength(70, 172), 1e-9)
	require.InDelta(t, 0, DayLength(70, 355), 1e-9)
}

func TestConstantWater(t *testing.T) {
	t.Parallel()
	rows := []struct {
		name  string
		water float64
		want  map[int]float64
	}{
		{"half a degree never moves fish", 0.5, map[int]float64{60: 0, 105: 0, 120: 0}},
		{"one degree", 1, map[int]float64{120: .104}},
		{"two degrees", 2, map[int]float64{105: .022, 120: .492}},
		{"three degrees", 3, map[int]float64{75: .136, 90: .243, 105: .480, 120: .930}},
		{"four degrees", 4, map[int]float64{60: .133, 75: .309}},
	}

	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			got := quiet(t, at45(120, func(int) float64 { return r.water }), ClockOptions{})
			for day, want := range r.want {
				require.InDelta(t, want, got[day-1].Arrived, .01, "day %d", day)
			}
		})
	}

	three := quiet(t, at45(120, func(int) float64 { return 3 }), ClockOptions{})
	require.InDelta(t, .641, three[119].Spawned, .01)
}

func TestWinterThawDoesNotStartTheRun(t *testing.T) {
	t.Parallel()
	for _, from := range []int{15, 46} {
		got := quiet(t, at45(120, func(day int) float64 {
			if day >= from && day < from+7 {
				return 4
			}
			return .5
		}), ClockOptions{})
		require.Less(t, got[72].Arrived, .002, "warm week from day %d", from)
	}
}

func TestTwoWaves(t *testing.T) {
	t.Parallel()
	got := quiet(t, at45(120, twoWaves), ClockOptions{})
	rows := []struct {
		day                 int
		r, a, h, s, b, spwn float64
	}{
		{78, 5.837, .05373, .21585, .04636, .00084, .01000},
		{80, 7.398, .00029, .22090, .03718, .00805, .01000},
		{85, 10.990, .04439, .24897, .05263, .00772, .01563},
		{90, 31.921, .05377, .15070, .32115, .06485, .14808},
		{100, 79.654, .01839, .05939, .29412, .16544, .76764},
	}

	for _, w := range rows {
		g := got[w.day-1]
		require.InDelta(t, w.r, g.R, 5e-3, "R on day %d", w.day)
		require.InDelta(t, w.a, g.Arrivals, 5e-5, "A on day %d", w.day)
		require.InDelta(t, w.h, g.Holding, 5e-5, "H on day %d", w.day)
		require.InDelta(t, w.s, g.Gravel, 5e-5, "S on day %d", w.day)
		require.InDelta(t, w.b, g.DroppingBack, 5e-5, "B on day %d", w.day)
		require.InDelta(t, w.spwn, g.Spawned, 5e-5, "spawned by day %d", w.day)
	}

	for day := 80; day <= 83; day++ {
		require.LessOrEqual(t, got[day-1].Arrivals, .0007, "the gap, day %d", day)
	}
	require.Equal(t, 1.0, got[84].PWave)
}

func TestDeltaMovesTheSeason(t *testing.T) {
	t.Parallel()
	for delta, want := range map[float64]int{-.4: 87, -.2: 88, 0: 89, .1: 90, .2: 90, .4: 92} {
		got := quiet(t, at45(150, twoWaves), ClockOptions{Delta: delta})
		require.Equal(t, want, 1+firstAt(got, func(c ClockDay) float64 { return c.Arrived }, .5), "delta %g", delta)
	}
}

// firstAt is the index of the first day on which f reaches v, -1 if none.
func firstAt(days []ClockDay, f func(ClockDay) float64, v float64) int {
	for i := range days {
		if f(days[i]) >= v {
			return i
		}
	}
	return -1
}

func TestMassBalance(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		sp := rapid.SampledFrom(DefaultSpecies()).Draw(t, "species")
		p := sp.defaults()
		p.delta = rapid.Float64Range(-1, 1).Draw(t, "delta")
		p.h0 = rapid.Float64Range(.01, 2).Draw(t, "h0")
		temps := rapid.SliceOfN(rapid.Float64Range(-.2, 25), 60, 160).Draw(t, "water")
		flows := rapid.SliceOfN(rapid.Float64Range(-40, 900), len(temps), len(temps)).Draw(t, "flow")
		dr := sp.drives(45, coldseam.Date{Year: 2024, Month: 1, Day: 1}, temps, flows,
			func(_ coldseam.Date, q float64) float64 { return clip(q/900, 0, 1) }, 0)
		var st state
		ready := 0.0

		for i := range dr {
			sp.step(&p, &st, &dr[i], sp.Sigma, rapid.Float64Range(-3, 3).Draw(t, "z"))
			f, pool := 0.0, 0.0
			for c, k := range sp.Cohorts {
				fc := 0.0
				if st.r > 0 {
					fc = k.W * phi((math.Log(st.r)-p.delta-math.Log(k.Theta))/k.S)
				}
				f += fc
				pool += fc - st.moved[c]
				require.GreaterOrEqual(t, fc-st.moved[c], -1e-12)
				for _, v := range []float64{st.h[c], st.s[c], st.b[c], st.x[c], st.o[c]} {
					require.GreaterOrEqual(t, v, -1e-12)
				}
			}

			tot := st.totals(&sp)
			require.InDelta(t, 1, (1-f)+pool+tot.h+tot.s+tot.b+st.exits, 1e-9)
			require.GreaterOrEqual(t, f, ready)
			ready = f
		}
	})
}

func TestBadFlowIsNoFlow(t *testing.T) {
	t.Parallel()
	base := quiet(t, at45(120, twoWaves), ClockOptions{})
	for name, q := range map[string]float64{"missing": math.NaN(), "negative": -37.4, "zero": 0, "constant": 25} {
		d := at45(120, twoWaves)
		d.FlowM3S = make([]float64, 120)
		for i := range d.FlowM3S {
			d.FlowM3S[i] = q
		}
		require.Equal(t, base, quiet(t, d, ClockOptions{}), name)
	}
}

// A large share of the run in one day is no wave when the week before was as
// good, and a small one is when it doubles the week.
func TestAWaveDoublesTheWeekBefore(t *testing.T) {
	t.Parallel()
	wave := func(days ...float64) bool {
		var st state
		for _, a := range days {
			st.arrivals = a
			st.moved[0] += a
			st.countWave()
		}
		return st.wave
	}
	require.False(t, wave(.1, .1, .1, .1, .1, .1, .1, .1), "a steady tenth a day")
	require.True(t, wave(.1, .01, .01, .01, .01, .01, .01, .01, .03))
	require.False(t, wave(0, 0, 0, 0, 0, 0, 0, .1), "the run has not begun before the day")
	require.False(t, wave(.96, 0, 0, 0, 0, 0, 0, 0, .02), "the run is over")
	require.False(t, wave(.1, 0, 0, 0, 0, 0, 0, 0, .004), "under the floor")
}
