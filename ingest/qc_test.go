package ingest

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

var t0 = time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)

func series(p coldseam.Parameter, step time.Duration, values ...float64) coldseam.Series {
	s := coldseam.Series{SeriesKey: coldseam.SeriesKey{Site: "t:1", Param: p, Stat: coldseam.Instant}}
	for i, v := range values {
		s.Obs = append(s.Obs, coldseam.Observation{At: t0.Add(time.Duration(i) * step), Value: v})
	}
	return s
}

func repeat(v float64, n int) []float64 { return slices.Repeat([]float64{v}, n) }

func cat(vs ...[]float64) []float64 { return slices.Concat(vs...) }

// wave is a quiet series around v, so that nothing is flat.
func wave(v, amp float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v + amp*float64(i%3-1)
	}
	return out
}

func ptr(v float64) *float64 { return &v }

func TestCheck(t *testing.T) {
	t.Parallel()
	const (
		rng, spike, rate, flat = coldseam.QCRange, coldseam.QCSpike, coldseam.QCRate, coldseam.QCFlat
		gap, sent, fail, unit  = coldseam.QCGap, coldseam.QCSentinel, coldseam.QCFail, coldseam.QCUnit
	)
	quarter := 15 * time.Minute

	for _, c := range []struct {
		name   string
		s      coldseam.Series
		l      SiteLimits
		row    int
		want   coldseam.Flag
		others coldseam.Flag // bits every other row may have
	}{
		{"quiet water", series(coldseam.WaterTemp, quarter, wave(4, .1, 20)...), SiteLimits{}, 7, 0, 0},
		{"sentinel as sent", series(coldseam.WaterTemp, quarter, 4, 4.1, -99, 4.2, 4.1), SiteLimits{}, 2,
			sent | rng | fail, 0},
		{"sentinel of feet", series(coldseam.Stage, quarter, 1.2, 1.21, 9999*.3048, 1.22, 1.2), SiteLimits{}, 2,
			sent | fail, 0},
		{"sentinel of ft3/s at the end", series(coldseam.Discharge, quarter, 50, 51, -999*coldseam.CubicMPerCFS),
			SiteLimits{}, 2, sent | rng | fail, 0},
		{"9,999 ft3/s beside 9,950", series(coldseam.Discharge, quarter, 9900*coldseam.CubicMPerCFS,
			9999*coldseam.CubicMPerCFS, 9950*coldseam.CubicMPerCFS), SiteLimits{}, 1, 0, 0},
		{"tidal -99 ft3/s beside -101", series(coldseam.Discharge, quarter, -101*coldseam.CubicMPerCFS,
			-99*coldseam.CubicMPerCFS, -97*coldseam.CubicMPerCFS), SiteLimits{Tidal: true}, 1, rng, rng},
		{"odd value three times a day", series(coldseam.WaterTemp, 2*time.Hour, 4, 10, 4, 4, 10, 4.1, 4, 10, 4),
			SiteLimits{}, 4, sent | spike | fail, 0xff00},
		{"too warm for water", series(coldseam.WaterTemp, quarter, 40.5, 40.6, 40.5), SiteLimits{}, 1, rng | fail,
			rng | fail},
		{"warm water", series(coldseam.WaterTemp, quarter, 32.5, 32.6, 32.5), SiteLimits{}, 1, rng, rng},
		{"water at -0.1", series(coldseam.WaterTemp, quarter, -.1, 0, -.1), SiteLimits{}, 0, 0, 0},
		{"water at -0.3", series(coldseam.WaterTemp, quarter, 0, -.3, 0), SiteLimits{}, 1, rng, 0},
		{"water at -3", series(coldseam.WaterTemp, quarter, 0, -3, 0), SiteLimits{}, 1, rng | fail, 0},
		{"air at -71", series(coldseam.AirTemp, time.Hour, -60, -71, -60), SiteLimits{}, 1, rng | fail, 0},
		{"negative discharge", series(coldseam.Discharge, quarter, -1, -1.1, -1), SiteLimits{}, 1, rng, rng},
		{"negative tidal flow is kept but marked", series(coldseam.Discharge, quarter, -1, -1.1, -1),
			SiteLimits{Tidal: true}, 1, rng, rng},
		{"eleven times the record", series(coldseam.Discharge, quarter, 1100, 1101, 1100),
			SiteLimits{MaxDischargeM3S: 100}, 1, rng | fail, rng | fail},
		{"stage beyond the gauge", series(coldseam.Stage, quarter, 9.1, 9.2, 9.1), SiteLimits{StageMaxM: ptr(4)}, 1,
			rng | fail, rng | fail},
		{"spike of water", series(coldseam.WaterTemp, quarter, 4, 4.1, 7.5, 4.1, 4), SiteLimits{}, 2, spike | fail, 0},
		{"half a spike", series(coldseam.WaterTemp, quarter, 4, 4.1, 5.9, 4.1, 4), SiteLimits{}, 2, spike, 0},
		{"the newest value has no following one", series(coldseam.WaterTemp, quarter, 4, 4.1, 5.9), SiteLimits{}, 2, 0,
			0},
		{"spike of stage", series(coldseam.Stage, quarter, 1, 1, 2.2, 1, 1), SiteLimits{}, 2, spike | fail, 0},
		{"spike of discharge", series(coldseam.Discharge, quarter, 10, 10, 11, 60, 11, 10, 10), SiteLimits{}, 3,
			spike | fail, 0},
		{"downward spike of discharge", series(coldseam.Discharge, quarter, 40, 41, 40, 3.9, 40, 39, 40), SiteLimits{},
			3, spike | fail, 0},
		{"one reading of zero", series(coldseam.Discharge, time.Hour, 40, 41, 40, 0, 40, 39, 40), SiteLimits{}, 3,
			spike | fail, rate},
		{"half a downward spike", series(coldseam.Discharge, quarter, 40, 41, 40, 11, 40, 39, 40), SiteLimits{}, 3,
			spike | rate, rate},
		{"a brook of a few litres", series(coldseam.Discharge, quarter, .02, .02, .02, .003, .02, .02, .02),
			SiteLimits{}, 3, rate, rate},
		{"a tide that turns", series(coldseam.Discharge, quarter, 30, 20, 10, .5, 12, 20, 30), SiteLimits{Tidal: true},
			3, rate, rate},
		{"flow that falls to a twelfth", series(coldseam.Discharge, quarter, 60, 60, 5, 5, 5), SiteLimits{}, 2,
			rate | fail, rate | fail},
		{"flow that falls to zero and stays", series(coldseam.Discharge, quarter, 60, 60, 0, 0, 0), SiteLimits{}, 2,
			rate | fail, rate | fail},
		{"a dam that shuts to a fifth", series(coldseam.Discharge, quarter, 60, 60, 12, 12, 12), SiteLimits{}, 2, rate,
			rate},
		{"fast water", series(coldseam.WaterTemp, time.Hour, 4, 4, 6.5, 8.6, 9), SiteLimits{}, 2, rate, rate},
		{"much too fast water", series(coldseam.WaterTemp, time.Hour, 4, 4.1, 10, 10, 10), SiteLimits{}, 2, rate | fail,
			rate | fail},
		{"stage that falls 3 m in an hour", series(coldseam.Stage, time.Hour, 5, 5, 2.1, 2), SiteLimits{}, 2,
			rate | fail, 0},
		{"flow that triples", series(coldseam.Discharge, time.Hour, 10, 11, 35, 36, 36), SiteLimits{}, 2, rate, 0},
		{"dead thermometer after a day", series(coldseam.WaterTemp, time.Hour, repeat(4.2, 30)...), SiteLimits{}, 25,
			flat, flat},
		{"dead thermometer after two days", series(coldseam.WaterTemp, time.Hour, repeat(4.2, 60)...), SiteLimits{}, 50,
			flat | fail, flat | fail},
		{"dead thermometer before a day is over", series(coldseam.WaterTemp, time.Hour, repeat(4.2, 30)...),
			SiteLimits{}, 20, 0, flat},
		{"ice water stands still", series(coldseam.WaterTemp, time.Hour, repeat(.1, 200)...), SiteLimits{}, 150, 0, 0},
		{"dead stage after a week", series(coldseam.Stage, 6*time.Hour, repeat(1.5, 40)...), SiteLimits{}, 30, flat,
			flat},
		{"gap", series(coldseam.Stage, quarter, cat(wave(1.5, .01, 10))...), SiteLimits{Step: 4 * time.Minute}, 5, gap,
			gap},
		{"feet become metres", series(coldseam.Stage, time.Hour, cat(wave(3.281, .01, 24), wave(1, .003, 24))...),
			SiteLimits{}, 30, unit, unit | rate | fail},
		{"degF become degC", series(coldseam.WaterTemp, time.Hour, cat(wave(39.2, .05, 24), wave(4, .03, 24))...),
			SiteLimits{}, 30, unit, 0xff00},
		{"a flood is no unit", series(coldseam.Stage, time.Hour, cat(wave(1, .01, 24), []float64{1.5, 2, 2.5, 3, 3.3},
			wave(3.4, .1, 20))...), SiteLimits{}, 35, 0, rate},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got := Check(c.s, c.l, time.Time{})
			require.Equal(t, c.want.Names(), got.Obs[c.row].Flag.Names())
			for i, o := range got.Obs {
				if i != c.row {
					require.Zero(t, o.Flag&^c.others, "row %d: %v", i, o.Flag.Names())
				}
			}
		})
	}
}

// A rise of the river is the danger the mail exists for: whatever quality
// control thinks of it, it must stay usable.
func TestCheckNeverFailsARise(t *testing.T) {
	t.Parallel()
	s := series(coldseam.Stage, 15*time.Minute, 1, 1, 1.01, 2.5, 4, 5.5, 6, 6.1, 6.1)
	flow := series(coldseam.Discharge, 15*time.Minute, 10, 10, 10, 10, 60, 61, 90, 91, 91)
	for n := range len(s.Obs) + 1 { // also while it is still coming in
		for _, x := range []coldseam.Series{s, flow} {
			x.Obs = x.Obs[:n]
			for _, o := range Check(x, SiteLimits{}, time.Time{}).Obs {
				require.True(t, o.Flag.Usable(), "%d of %s: %s %v", n, x.Param, o.At, o.Flag.Names())
			}
		}
	}
	day := series(coldseam.Discharge, 24*time.Hour, 10, 10, 11, 90, 12, 10, 10)
	day.Stat, day.Period = coldseam.Mean, "P1D"
	got := Check(day, SiteLimits{}, time.Time{})
	require.True(t, got.Obs[3].Flag.Usable(), "a flood of one day")
	require.Equal(t, []string{"spike"}, got.Obs[3].Flag.Names())
}

func TestCheckTwin(t *testing.T) {
	t.Parallel()
	var air []coldseam.Observation
	for h := range 96 {
		air = append(air, coldseam.Observation{At: t0.Add(time.Duration(h) * time.Hour), Value: -12})
	}
	water := series(coldseam.WaterTemp, 24*time.Hour, 9, 9.1, 9, 9.1, 9)
	got := Check(water, SiteLimits{Air: air}, time.Time{})
	require.Zero(t, got.Obs[1].Flag, "one day of frost is no proof")
	require.Equal(t, []string{"range"}, got.Obs[3].Flag.Names())
	require.Zero(t, Check(water, SiteLimits{}, time.Time{}).Obs[3].Flag)
}

func TestCheckFuture(t *testing.T) {
	t.Parallel()
	s := series(coldseam.WaterTemp, time.Hour, 4, 4.1, 4)
	got := Check(s, SiteLimits{}, t0.Add(time.Hour))
	require.Zero(t, got.Obs[1].Flag)
	require.Equal(t, []string{"range", "fail"}, got.Obs[2].Flag.Names())
}

// Rows without a value keep their place and are never judged: an ice mark
// without a value stays an ice mark.
func TestCheckLeavesMissingRows(t *testing.T) {
	t.Parallel()
	s := series(coldseam.Discharge, time.Hour, 10, 0, 10.1)
	s.Obs[1].Flag = coldseam.Missing | coldseam.Ice
	s.Obs[1].Qualifiers = []string{"Ice"}
	got := Check(s, SiteLimits{}, time.Time{})
	require.Equal(t, s.Obs, got.Obs)
}

func drawSeries(t *rapid.T) coldseam.Series {
	p := rapid.SampledFrom([]coldseam.Parameter{coldseam.Discharge, coldseam.Stage, coldseam.WaterTemp,
		coldseam.AirTemp, coldseam.Turbidity, coldseam.Precip, coldseam.ThunderProb}).Draw(t, "param")
	n := rapid.IntRange(0, 120).Draw(t, "n")
	s := series(p, 0)
	s.Period = rapid.SampledFrom([]string{"", "P1D", "PT1H"}).Draw(t, "period")
	at := t0
	v := rapid.Float64Range(-5, 50).Draw(t, "start")

	for range n {
		at = at.Add(rapid.SampledFrom([]time.Duration{time.Minute, 15 * time.Minute, time.Hour, 30 * time.Hour}).Draw(t,
			"step"))
		switch rapid.IntRange(0, 6).Draw(t, "kind") {
		case 0:
			v = rapid.SampledFrom([]float64{-99, 9999, -999999, 0, 9999 * .3048, 1e300, -1e300}).Draw(t, "odd")
		case 1:
			v += rapid.Float64Range(-10, 10).Draw(t, "jump")
		case 2:
			v += .01
		}

		f := coldseam.Flag(rapid.IntRange(0, 0xffff).Draw(t, "flag"))
		if f&coldseam.Missing != 0 {
			s.Obs = append(s.Obs, coldseam.Observation{At: at, Flag: f})
			continue
		}
		s.Obs = append(s.Obs, coldseam.Observation{At: at, Value: v, Flag: f})
	}

	return s
}

// Quality control only flags: it never adds, removes, reorders or changes a
// value or what the agency said, and asking twice gives the same.
func TestCheckOnlyFlags(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := drawSeries(t)
		before := slices.Clone(in.Obs)
		l := SiteLimits{Tidal: rapid.Bool().Draw(t, "tidal"), MaxDischargeM3S: 20, StageMinM: ptr(0), StageMaxM: ptr(5)}
		got := Check(in, l, t0.Add(24*time.Hour))
		require.Equal(t, before, in.Obs, "the input is not touched")
		require.Len(t, got.Obs, len(before))
		for i, o := range got.Obs {
			require.Equal(t, before[i].Flag&coldseam.AgencyFlags, o.Flag&coldseam.AgencyFlags)
			o.Flag = before[i].Flag
			require.Equal(t, before[i], o)
		}
		require.Equal(t, got, Check(got, l, t0.Add(24*time.Hour)))
	})
}

// Every seeded error of unit, sign or sentinel is flagged and none is deleted.
func TestCheckFindsSeededErrors(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := series(coldseam.Discharge, 15*time.Minute, wave(60, .5, 96)...)
		i := rapid.IntRange(4, 91).Draw(t, "row")
		s.Obs[i].Value = rapid.SampledFrom([]float64{60 / coldseam.CubicMPerCFS, -60, 9999, -999,
			99999 * coldseam.CubicMPerCFS}).Draw(t, "wrong")
		got := Check(s, SiteLimits{}, time.Time{})
		require.NotZero(t, got.Obs[i].Flag&coldseam.QCFlags)
		require.Equal(t, s.Obs[i].Value, got.Obs[i].Value)
	})
}

// A document that says K and sends degrees Celsius is refused as a whole.
func TestBoundForecastOfAWrongUnit(t *testing.T) {
	t.Parallel()
	f := coldseam.Forecast{
		Site:  "m:1",
		Param: coldseam.AirTemp,
		At:    []time.Time{t0, t0.Add(time.Hour)},
		Value: []float64{-20.8, -19.5},
	}
	_, n, err := BoundForecast(f)
	require.NoError(t, err)
	require.Zero(t, n)
	f.Value = []float64{-20.8 - 273.15, -19.5 - 273.15}
	_, _, err = BoundForecast(f)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "is the unit right?")
}

// A value that no weather has is a hole, and the hour before does not fill it.
func TestBoundForecastMakesHoles(t *testing.T) {
	t.Parallel()

	for p, bad := range map[coldseam.Parameter]float64{coldseam.AirTemp: 61, coldseam.Wind: 1e308, coldseam.Gust: 121,
		coldseam.ThunderProb: 1.01,
		coldseam.Precip:      2001, coldseam.Visibility: -1} {
		f := coldseam.Forecast{Site: "m:1", Param: p}
		for h := range 5 {
			f.At, f.Value = append(f.At, t0.Add(time.Duration(h)*time.Hour)), append(f.Value, 1)
		}
		f.Value[2] = bad
		got, n, err := BoundForecast(f)
		require.NoError(t, err)
		require.Equal(t, 1, n, p)
		require.Equal(t, []float64{1, 1, 1, 1}, got.Value)
		require.Equal(t, [2]time.Time{t0.Add(time.Hour), t0.Add(2 * time.Hour)}, got.Spans()[1], p)

		f.Value[2] = 1
		f.Members = [][]float64{{1, 1, 1, 1, 1}, {1, bad, 1, 1, 1}}
		got, n, err = BoundForecast(f)
		require.NoError(t, err)
		require.Equal(t, 1, n, "of one member of %s", p)
		require.Len(t, got.Members[0], 4)
	}
}

func TestJoinForecasts(t *testing.T) {
	t.Parallel()
	piece := func(h int, v float64) coldseam.Forecast {
		return coldseam.Forecast{
			Site:   "m:1",
			Param:  coldseam.Wind,
			Issued: t0,
			At:     []time.Time{t0.Add(time.Duration(h) * time.Hour)},
			Value:  []float64{v},
		}
	}
	got, left := JoinForecasts([]coldseam.Forecast{piece(2, 3), piece(0, 1), piece(1, 2), piece(1, 2)})
	require.Empty(t, left)
	require.Len(t, got, 1)
	require.Equal(t, []float64{1, 2, 3}, got[0].Value)

	got, left = JoinForecasts([]coldseam.Forecast{piece(0, 1), piece(0, 4)})
	require.Empty(t, got)
	require.Contains(t, left[0].Why, "two values")

	other := piece(0, 4)
	other.Issued = t0.Add(time.Hour)
	got, left = JoinForecasts([]coldseam.Forecast{piece(0, 1), other})
	require.Empty(t, left)
	require.Len(t, got, 2, "two runs are two forecasts")
}
