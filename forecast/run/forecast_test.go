package run

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// morning is a run input at day `day` of the two-wave spring: m members that
// follow the true water with a small shift each.
func morning(t testing.TB, day, m int) Input {
	t.Helper()
	d := at45(day-1, twoWaves)
	in := Input{Species: walleye(t), Days: d, Today: d.First.Add(day - 1), Seed: 7, ResidentShare: .15}
	for i := range m {
		path := make([]float64, 11)
		for l := range path {
			path[l] = math.Max(0, twoWaves(day+l)+1.2*(float64(i)/float64(m)-.5)*math.Sqrt(float64(l+1)/11))
		}
		in.WaterC = append(in.WaterC, path)
	}
	return in
}

func TestForecastState(t *testing.T) {
	t.Parallel()
	in := morning(t, 84, 100)
	r, err := Forecast(in)
	require.NoError(t, err)
	s := r.State
	require.True(t, s.Active)
	require.True(t, s.Calibrated)
	require.Len(t, s.Days, 11)
	require.Len(t, r.Index, 500)
	require.Equal(t, in.Today, s.Days[0].Day)

	sum := 0.0
	for _, p := range s.StageProbs {
		sum += p
	}
	require.InDelta(t, 1, sum, 1e-9)
	require.GreaterOrEqual(t, s.PWave3d, s.PWave)
	for _, d := range s.Days {
		require.LessOrEqual(t, d.Arrived[0], d.Arrived[1])
		require.LessOrEqual(t, d.Arrived[1], d.Arrived[2])
		require.LessOrEqual(t, d.Spawned[1], d.Arrived[2]+1e-9)
	}

	require.Greater(t, s.Days[1].PWave, .3, "the warm front of days 84-88 brings a wave")
	require.Greater(t, s.PRefill, .5, "after four days of gap")
	again, err := Forecast(morning(t, 84, 100))
	require.NoError(t, err)
	require.Equal(t, r, again, "same seed, same run")
}

func TestForecastQuietEqualsClock(t *testing.T) {
	t.Parallel()
	in := morning(t, 84, 1)
	in.NoNoise, in.Draws = true, 1
	for l := range in.WaterC[0] {
		in.WaterC[0][l] = twoWaves(84 + l)
	}
	r, err := Forecast(in)
	require.NoError(t, err)
	want := quiet(t, at45(94, twoWaves), ClockOptions{})
	for l := range 11 {
		require.InDelta(t, want[83+l].Index+.15, r.Index[0][l], 1e-12, "lead %d", l)
		require.InDelta(t, want[83+l].Arrived, r.State.Days[l].Arrived[1], 1e-12)
	}
}

func TestForecastMembersAreShared(t *testing.T) {
	t.Parallel()
	r, err := Forecast(morning(t, 90, 100))
	require.NoError(t, err)
	count := map[int]int{}
	for _, m := range r.Member {
		count[m]++
	}
	require.Len(t, count, 100)
	for m, n := range count {
		require.Equal(t, 5, n, "member %d", m)
	}
}

func TestForecastRefusals(t *testing.T) {
	t.Parallel()
	none := morning(t, 84, 4)
	none.WaterC = nil
	_, err := Forecast(none)
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	short := morning(t, 84, 4)
	short.WaterC[2] = short.WaterC[2][:5]
	_, err = Forecast(short)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "member 2 has 5 days, want 11")

	gap := morning(t, 84, 4)
	for i := 40; i < 50; i++ {
		gap.Days.WaterC[i] = math.NaN()
	}
	ended, err := Forecast(gap)
	require.NoError(t, err)
	require.False(t, ended.State.Active)
	require.Equal(t, "water_gap", ended.State.Why)
	require.Contains(t, ended.State.Note,
		coldseam.Reason{Code: "water_ends", Names: map[string]string{"day": "2023-02-15"}})

	gap.ModelC = make([]float64, len(gap.Days.WaterC))
	for i := range gap.ModelC {
		gap.ModelC[i] = 1
	}
	r, err := Forecast(gap)
	require.NoError(t, err)
	require.Contains(t, r.State.Note, coldseam.Reason{Code: "water_from_model",
		Values: map[string]float64{"filled_days": 10}})
}

func TestForecastAutumn(t *testing.T) {
	t.Parallel()
	in := morning(t, 84, 4)
	in.Today = coldseam.Date{Year: 2023, Month: 11, Day: 4}
	r, err := Forecast(in)
	require.NoError(t, err)
	require.False(t, r.State.Active)
	require.Equal(t, "no_season", r.State.Why)
	require.InDelta(t, .15, r.Index[3][10], 1e-12)
}

func BenchmarkForecast(b *testing.B) {
	in := morning(b, 100, 100)
	b.ReportAllocs()
	for b.Loop() {
		_, err := Forecast(in)
		require.NoError(b, err)
	}
}

func TestForecastOnNewYearsDay(t *testing.T) {
	t.Parallel()
	for day := 1; day <= 3; day++ {
		r, err := Forecast(morning(t, day, 10))
		require.NoError(t, err)
		require.Equal(t, StageNotYet, r.State.Stage)
		require.InDelta(t, 1, r.State.StageP, 1e-9)
		require.InDelta(t, .15, r.State.Index, 1e-3)
	}
}

func TestForecastProperties(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		rows := DefaultSpecies()
		n := rapid.IntRange(0, 180).Draw(t, "days")
		level := rapid.Float64Range(-1, 14).Draw(t, "level")
		d := coldseam.Days{First: coldseam.Date{Year: 2024, Month: 1, Day: 1}, Lat: rapid.Float64Range(30, 65).Draw(t,
			"lat")}
		for i := range n {
			d.WaterC = append(d.WaterC, level+3*math.Sin(float64(i)/9))
			d.FlowM3S = append(d.FlowM3S, rapid.Float64Range(-5, 400).Draw(t, "flow"))
		}

		in := Input{
			Species:       rapid.SampledFrom(rows).Draw(t, "species"),
			Days:          d,
			Today:         d.First.Add(n),
			Seed:          1,
			Draws:         40,
			ResidentShare: rapid.Float64Range(0, .5).Draw(t, "resident"),
			FlowPct:       func(_ coldseam.Date, q float64) float64 { return clip(q/400, 0, 1) },
		}
		for range rapid.IntRange(1, 7).Draw(t, "members") {
			path, flow := make([]float64, 5), make([]float64, 5)
			for l := range path {
				path[l], flow[l] = rapid.Float64Range(-.2, 20).Draw(t, "t"), rapid.Float64Range(0, 400).Draw(t, "q")
			}
			in.WaterC, in.FlowM3S = append(in.WaterC, path), append(in.FlowM3S, flow)
		}

		r, err := Forecast(in)
		require.NoError(t, err)
		s := r.State
		for _, day := range s.Days {
			for _, f := range [][3]float64{day.Arrived, day.Spawned} {
				require.True(t, 0 <= f[0] && f[0] <= f[1] && f[1] <= f[2] && f[2] <= 1+1e-9, "%v", f)
			}
			require.True(t, day.PWave >= 0 && day.PWave <= 1)
		}

		for i := 1; i < len(s.Days); i++ {
			require.GreaterOrEqual(t, s.Days[i].Arrived[1], s.Days[i-1].Arrived[1]-1e-12, "fish never un-arrive")
		}
		for k, path := range r.Index {
			require.Less(t, r.Member[k], len(in.WaterC))
			for _, v := range path {
				require.True(t, v >= in.ResidentShare-1e-9 && v <= 1+in.ResidentShare+1e-9)
			}
		}

		require.True(t, s.PWave <= s.PWave3d+1e-12 && s.PSpent >= 0 && s.PSpent <= 1)
	})
}

// The same spring half a year later, as far south, is the same run.
func TestTheSouthHasItsSpring(t *testing.T) {
	t.Parallel()
	in := morning(t, 90, 20)
	north, err := Forecast(in)
	require.NoError(t, err)
	shift := coldseam.Date{Year: 2023, Month: 7, Day: 1}.Sub(in.Days.First)
	in.Days.First, in.Today, in.Days.Lat = in.Days.First.Add(shift), in.Today.Add(shift), -45
	south, err := Forecast(in)
	require.NoError(t, err)
	require.True(t, south.State.Active)
	require.InDelta(t, north.State.Arrived[1], south.State.Arrived[1], .1)

	days, err := Clock(walleye(t), in.Days, ClockOptions{NoNoise: true})
	require.NoError(t, err)
	require.Equal(t, in.Days.First, days[0].Date)
	in.Today = coldseam.Date{Year: 2023, Month: 4, Day: 10}
	autumn, err := Forecast(in)
	require.NoError(t, err)
	require.Equal(t, "no_season", autumn.State.Why)
}
