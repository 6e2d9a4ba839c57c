package verdict

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/forecast/run"
)

func TestSeasonPaused(t *testing.T) {
	t.Parallel()
	warm := []float64{9, 13.1, 13.2, 13, 13.4, 14}
	require.True(t, SeasonPaused(warm, 55, 5, false))
	require.False(t, SeasonPaused(warm, 55, 6, false))
	require.False(t, SeasonPaused(warm[:3], 55, 5, false))
	require.True(t, SeasonPaused(nil, 55, 5, true))
}

func TestWindChill(t *testing.T) {
	t.Parallel()
	for v, want := range map[float64]float64{5: 25, 10: 21, 15: 19, 20: 17, 25: 16} {
		require.InDelta(t, want, WindChillF(30, v), .5, "30 F at %g mph", v)
	}
	require.InDelta(t, -19, WindChillF(0, 15), .5)
	require.InDelta(t, 24, WindChillF(36, 25), .5)
	require.InDelta(t, 51, WindChillF(51, 30), 0, "not defined above 50 F")
	require.InDelta(t, 30, WindChillF(30, 3), 0, "not defined in still air")
}

func TestSun(t *testing.T) {
	t.Parallel()
	for _, lat := range []float64{35, 45, 55} {
		for _, d := range []coldseam.Date{{Year: 2026, Month: 1, Day: 5}, {Year: 2026, Month: 3, Day: 20},
			{Year: 2026, Month: 4, Day: 15}, {Year: 2026, Month: 11, Day: 3}} {
			s := SunOf(d, lat, -92, zone)
			require.True(t, s.OK && s.CivilOK)
			require.InDelta(t, run.DayLength(lat, d.YearDay()), s.LengthH, .2,
				"%s at %g: the clock's declination is good to .7 degrees", d, lat)
			require.True(t, s.Dawn.Before(s.Rise) && s.Rise.Before(s.Set) && s.Set.Before(s.Dusk))
			require.Equal(t, d, coldseam.DateOf(s.Rise))
			require.InDelta(t, s.LengthH, s.Set.Sub(s.Rise).Hours(), 1e-3)
			// Mean noon at 92 W is 12:08 at UTC-6; the equation of time stays within 17 min.
			noon := s.Rise.Add(s.Set.Sub(s.Rise) / 2)
			require.InDelta(t, 0, noon.Sub(time.Date(d.Year, d.Month, d.Day, 12, 8, 0, 0, zone)).Minutes(), 17)
		}
	}

	require.False(t, SunOf(coldseam.Date{Year: 2026, Month: 12, Day: 21}, 72, 20, time.UTC).OK)
	require.False(t, SunOf(coldseam.Date{Year: 2026, Month: 6, Day: 21}, 72, 20, time.UTC).OK)
	// The equation of time at its ends, to half a minute [from memory: -14.2 on
	// 11 February, +16.4 on 3 November].
	_, feb := solar(time.Date(2026, 2, 11, 12, 0, 0, 0, time.UTC))
	_, nov := solar(time.Date(2026, 11, 3, 12, 0, 0, 0, time.UTC))
	require.InDelta(t, -14.2, feb, .5)
	require.InDelta(t, 16.4, nov, .5)
}

func TestClassesOfFlow(t *testing.T) {
	t.Parallel()
	for p, want := range map[float64]string{.05: "much below", .10: "below", .249: "below", .25: "normal",
		.75: "normal", .8: "above", .90: "above", .91: "much above"} {
		require.Equal(t, want, DateClass(p), "%g", p)
	}
	require.Empty(t, DateClass(math.NaN()))
	for then, want := range map[float64]string{115: "rising_fast", 104: "rising", 98: "steady", 96: "easing",
		80: "dropping", 0: ""} {
		require.Equal(t, want, Trend(100, then), "%g", then)
	}
}

func TestClimate(t *testing.T) {
	t.Parallel()
	c := pastFlows(12)
	require.Equal(t, 12, c.Years)
	require.InDelta(t, .5, c.Pct(85), .03)
	require.Zero(t, c.Pct(1))
	require.InDelta(t, 1, c.Pct(900), 0)
	require.True(t, math.IsNaN(c.Pct(math.NaN())))
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.Float64Range(0, 1).Draw(t, "p")
		require.InDelta(t, p, c.Pct(c.Quantile(p)), .02)
	})
	require.True(t, math.IsNaN(Climate{}.Quantile(.5)))
	gate := FlowPct(coldseam.Days{First: coldseam.Date{Year: 2020, Month: 1, Day: 1}, FlowM3S: repeat(5, 900)}, 10)
	require.True(t, math.IsNaN(gate(coldseam.Date{Year: 2023, Month: 3, Day: 1}, 5)), "two years are no climate")
}
