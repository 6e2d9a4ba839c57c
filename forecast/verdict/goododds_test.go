package verdict

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/forecast/run"
)

func TestNegBinAtLeast(t *testing.T) {
	t.Parallel()
	require.InDelta(t, 1, NegBinAtLeast(0, 2, 1.2), 0)
	require.InDelta(t, 0, NegBinAtLeast(1, 0, 1.2), 0)
	// Size 1 is geometric: P(Y >= m) = (mu/(1+mu))^m.
	for m := 1; m < 9; m++ {
		require.InDelta(t, math.Pow(2.5/3.5, float64(m)), NegBinAtLeast(m, 2.5, 1), 1e-12)
	}
	// A great size is a Poisson count.
	pois := distuv.Poisson{Lambda: 3}
	require.InDelta(t, 1-pois.CDF(3), NegBinAtLeast(4, 3, 1e7), 1e-6)
}

func TestGoodOddsWithoutALog(t *testing.T) {
	t.Parallel()
	p, note := GoodOdds([]float64{.1, .324, .490, .492, .601, .9}, Catch{}, Factors{})
	require.Equal(t, []float64{.20, .35, .35, .50, .60, .60}, p)
	require.Equal(t, restsOn(0, false), note)
	half, _ := GoodOdds([]float64{.9}, Catch{}, Factors{Hold: .6, HoldOK: true})
	require.Equal(t, []float64{.50}, half, "the hold applies on this path too: .9 * .6 = .54")
	none, _ := GoodOdds([]float64{.9}, Catch{}, Factors{HoldOK: true})
	require.Equal(t, []float64{.20}, none)
}

func TestGoodOddsFromTheLog(t *testing.T) {
	t.Parallel()
	c := Catch{Q: []float64{1, 4}, W: []float64{.5, .5}, K: 1.2, Target: .5, LineHours: 4, Trips: 14, Calibrated: true}
	p, note := GoodOdds([]float64{.5}, c, Factors{})
	want := .5*NegBinAtLeast(2, 4*1*.5, 1.2) + .5*NegBinAtLeast(2, 4*4*.5, 1.2)
	require.InDelta(t, want, p[0], 1e-12)
	require.Equal(t, restsOn(14, true), note)
	c.By = [][]float64{{1, 0}}
	p, _ = GoodOdds([]float64{.5}, c, Factors{})
	require.InDelta(t, NegBinAtLeast(2, 2, 1.2), p[0], 1e-12, "a trajectory's own weights win")

	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Float64Range(0, 1.2).Draw(t, "n")
		f := rapid.Float64Range(.31, 1).Draw(t, "factor")
		a, _ := GoodOdds([]float64{n}, c, Factors{Flow: f})
		b, _ := GoodOdds([]float64{n + .1}, c, Factors{Flow: f})
		d, _ := GoodOdds([]float64{n}, c, Factors{Flow: f, Hold: .5, HoldOK: true})
		require.LessOrEqual(t, a[0], b[0]+1e-12, "more fish never lower the odds")
		require.LessOrEqual(t, d[0], a[0]+1e-12, "a worse hold never lifts them")
	})
}

func TestFactorsAreBounded(t *testing.T) {
	t.Parallel()
	require.InDelta(t, 1, Factors{}.Product(), 0)
	require.InDelta(t, .3, Factors{Flow: .01}.Product(), 1e-12)
	require.InDelta(t, 1.1, Factors{Clarity: 7}.Product(), 1e-12)
	require.InDelta(t, 1, Factors{TempDrop: math.NaN()}.Product(), 0)
}

func TestTargetRate(t *testing.T) {
	t.Parallel()
	var trips []coldseam.Trip
	for i := range 10 {
		d := coldseam.Date{Year: 2026, Month: 3, Day: 1 + i}
		trips = append(trips, coldseam.Trip{Date: d, Hours: 4, Lines: 2, Fish: i}, coldseam.Trip{Date: d, WentNot: true,
			Hours: 4, Fish: 99})
	}
	_, ok := TargetRate(trips[:18])
	require.False(t, ok, "nine days are too few")
	r, ok := TargetRate(trips)
	require.True(t, ok)
	require.InDelta(t, 5.4/8, r, 1e-12)
}

func TestSeasonOdds(t *testing.T) {
	t.Parallel()
	s := DefaultSeason()
	p, n := s.Odds("ease", "normal", nil)
	require.InDelta(t, .40, p, 1e-12)
	require.Zero(t, n)
	p, n = s.Odds("ease", "", []SeasonCell{{Band: "ease", Flow: "normal", Trips: 14, Good: 12},
		{Band: "slow", Flow: "normal", Trips: 9}})
	require.InDelta(t, (6*.4+12)/20, p, 1e-12)
	require.Equal(t, 14, n)
	good, note := s.Good(coldseam.DefaultBands, []float64{coldseam.C(36), coldseam.C(39)}, []float64{.5, .8}, nil,
		Factors{Hold: .5, HoldOK: true})
	require.InDeltaSlice(t, []float64{.15, .15}, good, 1e-12)
	require.Equal(t, restsOn(0, false), note)
	_, note = s.Good(coldseam.DefaultBands, []float64{4}, []float64{math.NaN()},
		[]SeasonCell{{Band: "ease", Flow: "normal", Trips: 14, Good: 12}}, Factors{})
	require.Equal(t, restsOn(14, true), note)

	for _, r := range []struct{ name, old, new, want string }{
		{"band", "slow,low", "cold,low", `odds table line 2: band "cold"`},
		{"odds", "ease,low,0.30", "ease,low,3", `odds table line 6: odds "3", want a number from .02 to .98`},
		{"hole", "slow,low,0.25,proposal\n", "", "no row for slow low"},
		{"twice", "slow,low", "slow,normal", "slow normal given twice"},
	} {
		_, err := ParseSeason(strings.NewReader(strings.Replace(SeasonFile(), r.old, r.new, 1)), coldseam.DefaultBands)
		require.ErrorContains(t, err, r.want, r.name)
		require.ErrorIs(t, err, coldseam.ErrInvalid)
	}
}

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

func TestSeasonCells(t *testing.T) {
	t.Parallel()
	trips := []coldseam.Trip{
		{Hours: 4, Lines: 1, Fish: 2, WaterC: ptr(4.0)}, {Hours: 4, Lines: 1, Fish: 1, WaterC: ptr(4.0)},
		{Hours: 4, Lines: 1, Fish: 9},
		{Hours: 4, Fish: 9, WaterC: ptr(4.0), WentNot: true}, {Hours: 4, Anglers: 2, Fish: 4, WaterC: ptr(2.0)},
	}
	got := SeasonCells(trips, .5, func(t coldseam.Trip) (string, string, bool) {
		if t.WaterC == nil {
			return "", "", false
		}
		return coldseam.DefaultBands[coldseam.BandOf(coldseam.DefaultBands, *t.WaterC)].Key, "normal", true
	})
	require.Equal(t, []SeasonCell{{Band: "ease", Flow: "normal", Trips: 2, Good: 1},
		{Band: "slow", Flow: "normal", Trips: 1, Good: 1}}, got)
}

func TestCatchFrom(t *testing.T) {
	t.Parallel()
	sp, err := run.FindSpecies(run.DefaultSpecies(), "walleye")
	require.NoError(t, err)
	days := coldseam.Days{First: coldseam.Date{Year: 2026, Month: 1, Day: 1}, Lat: 45}
	for i := range 95 {
		days.WaterC = append(days.WaterC, max(.5, float64(i-70)*.3))
	}
	today := days.First.Add(95)

	var trips []coldseam.Trip
	for i := range 12 {
		trips = append(trips, coldseam.Trip{Date: today.Add(-1 - i), Hours: 4, Lines: 1, Fish: 3})
	}
	l, err := run.Learn(run.LearnInput{Species: sp, Days: days, Today: today, Trips: trips, Particles: 200, Seed: 3})
	require.NoError(t, err)
	r, err := run.Forecast(run.Input{
		Species:       sp,
		Days:          days,
		Today:         today,
		WaterC:        [][]float64{{7, 7, 7}},
		Learnt:        l,
		Draws:         100,
		ResidentShare: .15,
	})
	require.NoError(t, err)
	c := CatchFrom(l, r, [3]float64{}, 0, 0)
	require.True(t, c.Calibrated)

	var index []float64
	for _, n := range r.Index {
		index = append(index, n[0])
	}
	p, note := GoodOdds(index, c, Factors{})
	require.Equal(t, restsOn(12, true), note)
	require.Greater(t, average(p), .5, "three fish a morning, every morning")
	none := CatchFrom(nil, r, [3]float64{.2, .3, .4}, .5, 4)
	_, note = GoodOdds(index, none, Factors{})
	require.Equal(t, restsOn(0, false), note)
}
