package run

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// counting is the morning of day 92 with a counter whose last days are given,
// the newest yesterday.
func counting(t *testing.T, last ...float64) Input {
	in := morning(t, 92, 50)
	in.Counts = coldseam.DailyCounts{First: in.Today.Add(-len(last)), Fish: last}
	return in
}

func TestAFreshCounterLeadsTodaysWave(t *testing.T) {
	t.Parallel()
	odds := func(in Input) coldseam.RunState {
		r, err := Forecast(in)
		require.NoError(t, err)
		return r.State
	}
	plain := odds(counting(t))
	require.Zero(t, plain.Counted)
	up := odds(counting(t, 40, 40, 40, 40, 40, 40, 40, 150))
	down := odds(counting(t, 40, 40, 40, 40, 40, 40, 40, 8))
	require.InDelta(t, 150, up.Counted.Fish, 0)
	require.InDelta(t, 390./7, up.Counted.WeekMean, 1e-9)
	require.Greater(t, up.PWave, down.PWave+.1)
	require.Greater(t, up.Days[1].PWave, down.Days[1].PWave, "the noise goes on from what was counted")
	require.Equal(t, up.PWave, up.Days[0].PWave)
	require.GreaterOrEqual(t, up.PWave3d, up.PWave)
}

func TestACounterThatSaysNothing(t *testing.T) {
	t.Parallel()
	want, err := Forecast(counting(t))
	require.NoError(t, err)
	nan := math.NaN()
	for name, last := range map[string][]float64{
		"three days old":  {40, 40, 40, 40, 40, 40, 40, 40, 90, nan, nan},
		"a week of holes": {nan, nan, nan, nan, nan, 40, 40, 90},
		"hardly a fish":   {0, 0, 1, 0, 0, 0, 0, 2},
		"netted backward": {-40, -40, -40, -40, -40, -40, -40, -5},
	} {
		r, err := Forecast(counting(t, last...))
		require.NoError(t, err)
		require.Equal(t, want, r, name)
	}
	old, err := Forecast(counting(t, 40, 40, 40, 40, 40, 40, 40, 90, nan))
	require.NoError(t, err)
	require.NotZero(t, old.State.Counted, "a count of the day before yesterday still leads")
}

// Counted seasons are judged with what the other years teach: the odds are never
// worse than the share of waves, and no bin of 50 days lies off by over .10.
func TestCounterOddsOnPublicCounts(t *testing.T) {
	t.Parallel()
	for name, lag1 := range map[string][2]float64{"clear_creek_chinook_up_counts": {.3, .5},
		"yuba_chinook_uncorrected_counts": {.3, .5}} {
		d := frame(t, realData(t, "biology", name+".csv"), 39, -1, 1)
		s, err := ScoreCounts(walleye(t), coldseam.Days{First: d.First, Lat: d.Lat}, d.First, d.WaterC)
		require.NoError(t, err)
		t.Logf("%d seasons, %d left out", s.Seasons, len(s.LeftOut))
		t.Logf("%s: Brier %.4f, share of waves %.4f, %d days, waves %.2f, lag-1 %.2f", name, s.Brier, s.BaseBrier,
			s.Pushes, s.WaveShare, s.Lag1)
		require.Less(t, s.Brier, s.BaseBrier, name)
		require.InDelta(t, (lag1[0]+lag1[1])/2, s.Lag1, (lag1[1]-lag1[0])/2, name)
		for _, b := range s.Bins {
			if b.N >= 50 {
				require.InDelta(t, b.P, b.Freq, .10, "%s, %d days", name, b.N)
			}
		}
	}
}

// A counter that stops is like a thermometer that does: up to five blank days
// are carried, then nothing is known, and a season is whole only if its fish were
// through by then. Blank days are no fish counted, and no wave either.
func TestBlankDaysOfACount(t *testing.T) {
	t.Parallel()
	first := coldseam.Date{Year: 2021, Month: 1, Day: 1}
	season := func(blank func(day int) bool) counted {
		counts := make([]float64, LastDay)
		for i := range counts {
			counts[i] = math.Round(100 * math.Exp(-math.Pow(float64(i-110)/12, 2)))
			if blank(i) {
				counts[i] = math.NaN()
			}
		}
		return countSeason(walleye(t), coldseam.Days{First: first, Lat: 45}, first, counts, 2021)
	}

	sp := walleye(t)
	whole := season(func(int) bool { return false })
	require.True(t, whole.NotKnown.IsZero())
	require.NotEmpty(t, sp.pushDays(whole))

	five := season(func(i int) bool { return i >= 100 && i < 105 })
	require.True(t, five.NotKnown.IsZero())
	require.InDelta(t, whole.n[99], five.n[104], 0, "carried, not zero")
	require.InDelta(t, whole.n[105], five.n[105], 0)
	for _, d := range sp.pushDays(five) {
		require.False(t, d.at >= 100 && d.at <= 107, "day %d rests on days that nobody counted", d.at)
	}

	six := season(func(i int) bool { return i >= 100 && i < 106 })
	require.Equal(t, first.Add(105), six.NotKnown)
	late := season(func(i int) bool { return i >= 150 })
	require.True(t, late.NotKnown.IsZero(), "the fish were through")
	require.Equal(t, whole.HalfD, late.HalfD)
	early := season(func(i int) bool { return i < 60 || i >= 70 && i < 80 })
	require.True(t, early.NotKnown.IsZero(), "no fish before the gap: the counting had not begun")
	ends := season(func(i int) bool { return i >= 112 })
	require.Equal(t, first.Add(117), ends.NotKnown)
}

// counted6 are six seasons of a river whose fish run by a row of their own, and
// the counts of n of them.
func counted6(t *testing.T, sp Species, n int, byWater bool) (coldseam.Days, coldseam.DailyCounts) {
	t.Helper()
	d := coldseam.Days{First: coldseam.Date{Year: 2015, Month: 1, Day: 1}, Lat: 45}
	var c coldseam.DailyCounts
	c.First = d.First

	for y := 2015; y < 2015+6; y++ {
		end := coldseam.Date{Year: y + 1, Month: 1, Day: 1}
		for day := d.Day(d.Len()); day.Before(end); day = day.Add(1) {
			d.WaterC = append(d.WaterC, clip(.14*float64(day.YearDay()-60-(y*7)%30), .3, 16))
		}
		if y >= 2015+n {
			continue
		}
		days, err := Clock(sp, d, ClockOptions{Year: y, NoNoise: true})
		require.NoError(t, err)

		for i := len(c.Fish); i < d.Len(); i++ {
			v, k := 0.0, d.Day(i).YearDay()
			if byWater && k <= len(days) {
				v = math.Round(2000 * days[k-1].Arrivals)
			} else if !byWater {
				v = math.Round(100 * math.Exp(-math.Pow(float64(k-110)/12, 2)))
			}
			c.Fish = append(c.Fish, v)
		}
	}

	return d, c
}

func TestFiveCountedSeasonsRefitARow(t *testing.T) {
	t.Parallel()
	shipped, err := FindSpecies(DefaultSpecies(), "steelhead")
	require.NoError(t, err)
	own := Refit{Spread: 1.7, Move: 3, Base: .5, Delta: 2, RunFit: coldseam.RunFit{Seasons: RefitSeasons}}.Apply(shipped)

	d, c := counted6(t, own, 6, true)
	got, err := NewRefit(shipped, d, c, 2021)
	require.NoError(t, err)
	t.Logf("%+v", got)
	require.Equal(t, 6, got.Seasons)
	require.Less(t, got.RPS, got.DayRPS)
	require.Less(t, got.RPS, got.ShippedRPS/4)
	require.True(t, shipped.NoClock)
	require.False(t, got.Apply(shipped).NoClock, "its own fish have shown the clock right")

	_, err = NewRefit(shipped, d, c, 2019)
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.ErrorContains(t, err, "4 counted seasons with water temperature, want 5")
	require.Equal(t, shipped, Refit{RunFit: coldseam.RunFit{Seasons: 4}, Spread: 3}.Apply(shipped), "fewer seasons change nothing")
}

func TestARunByTheCalendarIsNotRefitted(t *testing.T) {
	t.Parallel()
	sp, err := FindSpecies(DefaultSpecies(), "steelhead")
	require.NoError(t, err)
	d, c := counted6(t, sp, 6, false)
	_, err = NewRefit(sp, d, c, 2021)
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.ErrorContains(t, err, "by the day of the year")
}
