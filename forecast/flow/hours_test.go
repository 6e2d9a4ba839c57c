package flow

import (
	"math"
	"testing"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"github.com/stretchr/testify/require"
)

// readings makes n days of 15-minute discharge from 1 April 2025 00:00 UTC.
func readings(n int, f func(hours float64, t time.Time) float64) []coldseam.Observation {
	t0 := time.Date(2025, 4, 1, 0, 0, 0, 0, time.UTC)
	var out []coldseam.Observation
	for i := range n * 96 {
		t := t0.Add(time.Duration(i) * 15 * time.Minute)
		out = append(out, coldseam.Observation{At: t, KnownAt: t, Value: f(float64(i)/4, t)})
	}
	return out
}

// flat makes members that stay at q m3/s for ten days after day.
func flat(day coldseam.Date, n int, q ...float64) ensemble.Result {
	r := ensemble.Result{Day: day}
	for range n {
		p := make([]float64, 10)
		for h := range p {
			p[h] = q[min(h, len(q)-1)]
		}
		r.Members = append(r.Members, p)
	}
	return r
}

func melt(h float64, _ time.Time) float64 { return 40 * math.Exp(.15*math.Sin(2*math.Pi*(h-14)/24)) }

func TestHoursFollowTheMeltCycle(t *testing.T) {
	t.Parallel()
	obs := readings(30, melt)
	now := time.Date(2025, 4, 30, 9, 0, 0, 0, time.UTC)
	var seen []coldseam.Observation
	for _, o := range obs {
		if !o.At.After(now) {
			seen = append(seen, o)
		}
	}

	day := coldseam.Date{Year: 2025, Month: 4, Day: 29}
	h, err := NewHours(HoursInput{Obs: seen, Now: now, Loc: time.UTC, Daily: flat(day, 20, 40*math.Exp(.15*.15/4))})
	require.NoError(t, err)
	require.False(t, h.Regulated())
	require.InDelta(t, melt(9, now), h.Flow(3, now), .01)
	for k := range 36 {
		at := now.Add(time.Duration(k) * time.Hour)
		require.InDelta(t, melt(float64(9+k), at), h.Flow(k%20, at), 1.2, "hour %d", k)
	}

	// From the trough at 08 to the crest at 20 the flow rises by a third; in any
	// 6 h by no more than exp(.15*1.42)-1 = 24 %.
	r := h.Rise(0, now, now.Add(24*time.Hour))
	require.InDelta(t, .236, r, .03)
	require.InDelta(t, 40*math.Exp(.15), h.Peak(0, now, now.Add(24*time.Hour)), 1.2)
}

func TestHoursKeepTheNewestReadingAndTheDailyRatio(t *testing.T) {
	t.Parallel()
	obs := readings(10, func(float64, time.Time) float64 { return 50 })
	now := obs[len(obs)-1].At
	day := coldseam.Date{Year: 2025, Month: 4, Day: 10}
	h, err := NewHours(HoursInput{Obs: obs, Now: now, Loc: time.UTC, Daily: flat(day, 5, 60)})
	require.NoError(t, err)
	require.InDelta(t, 50, h.Flow(0, now), 1e-9)
	noon := time.Date(2025, 4, 12, 12, 0, 0, 0, time.UTC)
	// By the first noon the member has risen from 50 to 60, less what had already
	// passed by 23:45 and a little for the hours before, which were flat.
	want := 50 * math.Pow(60./50, 1-11.75/24)
	got := h.Flow(0, noon)
	require.Less(t, got, want)
	require.InDelta(t, want, got, 1.5)
}

func TestTravelShiftsTheHours(t *testing.T) {
	t.Parallel()
	obs := readings(20, melt)
	now := obs[len(obs)-1].At
	in := HoursInput{
		Obs:   obs,
		Now:   now,
		Loc:   time.UTC,
		Daily: flat(coldseam.Date{Year: 2025, Month: 4, Day: 20}, 3, 40),
	}
	at, err := NewHours(in)
	require.NoError(t, err)
	in.TravelH = 3
	below, err := NewHours(in)
	require.NoError(t, err)
	require.InDelta(t, at.Flow(1, now.Add(5*time.Hour)), below.Flow(1, now.Add(8*time.Hour)), 1,
		"later by the travel time, a little flatter: see TestFlowIsRoutedToTheReach")
	wave, water := TravelTime(10, .6)
	require.InDelta(t, 10000/.6/3600, water, 1e-9)
	require.InDelta(t, water*.6, wave, 1e-9)
	wave, water = TravelTime(10, 0)
	require.Zero(t, wave+water)
}

func TestRegulationShows(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name string
		f    func(h float64, t time.Time) float64
		want bool
	}{
		{"snowmelt", melt, false},
		{"steady", func(float64, time.Time) float64 { return 30 }, false},
		{"peaking on working days", func(_ float64, t time.Time) float64 {
			if !weekend(t.Weekday()) && t.Hour() >= 7 && t.Hour() < 21 {
				return 90
			}
			return 30
		}, true},
		{"a release every evening", func(_ float64, t time.Time) float64 {
			if t.Hour() >= 17 && t.Hour() < 22 {
				return 60
			}
			return 40
		}, true},
		{"rain now and then", func(h float64, t time.Time) float64 {
			return 30 + 60*math.Exp(-math.Mod(h, 24*8.3)/30)
		}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			obs := readings(45, c.f)
			h, err := NewHours(HoursInput{Obs: obs, Now: obs[len(obs)-1].At, Loc: time.UTC,
				Daily: flat(coldseam.Date{Year: 2025, Month: 5, Day: 15}, 4, 40)})
			require.NoError(t, err)
			require.Equal(t, c.want, h.Regulated())
		})
	}
}

func TestHoursNeedAPositiveReading(t *testing.T) {
	t.Parallel()
	obs := readings(3, func(float64, time.Time) float64 { return -2 })
	_, err := NewHours(HoursInput{
		Obs:   obs,
		Now:   obs[5].At,
		Loc:   time.UTC,
		Daily: flat(coldseam.Date{Year: 2025, Month: 4, Day: 3}, 2, 4),
	})
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
}

func TestRainWidensTheUpperHalfOnly(t *testing.T) {
	t.Parallel()
	mk := func() ensemble.Result {
		r := ensemble.Result{}
		for i := range 21 {
			r.Members = append(r.Members, []float64{30 + float64(i), 30 + float64(i)})
		}
		return r
	}
	dry, wet := mk(), mk()
	Rain(&dry, []float64{0, .5}, nil)
	require.Equal(t, mk().Members, dry.Members)
	require.True(t, dry.Has(ensemble.FlagNoRain))
	Rain(&wet, []float64{25.4, 0}, nil)

	for i := range wet.Members {
		if i <= 10 {
			require.InDelta(t, 30+float64(i), wet.Members[i][1], 1e-9)
		} else {
			require.Greater(t, wet.Members[i][1], 30+float64(i))
		}
	}

	var pairs []RainPair
	for i := range 120 {
		mm := float64(3 + i%30)
		for h := 1; h <= 10; h++ {
			pairs = append(pairs, RainPair{
				Issued: coldseam.Date{Year: 2025, Month: 1, Day: 1}.Add(i),
				Lead:   h,
				RainMM: mm,
				Excess: .02*mm + .01*float64(i%3-1),
			})
		}
	}

	term, ok := FitRain(pairs)
	require.True(t, ok)
	require.InDelta(t, .02, term.PerMM[1], .002)
	fitted := mk()
	Rain(&fitted, []float64{10, 10}, &term)
	require.False(t, fitted.Has(ensemble.FlagNoRain))
	require.InDelta(t, 40*math.Exp(.02*20), fitted.Members[10][1], 1)
	few, ok := FitRain(pairs[:990])
	require.False(t, ok)
	require.Equal(t, 99, few.N, "a storm in the forecasts of ten leads is one event")
}

// The reach below sees the gauge's hours later and flatter: the mean of the lag
// is the travel time, and no water is lost.
func TestFlowIsRoutedToTheReach(t *testing.T) {
	t.Parallel()
	swing := func(h float64, _ time.Time) float64 { return 40 * math.Exp(.3*math.Sin(2*math.Pi*h/24)) }
	obs := readings(30, swing)
	day := coldseam.Date{Year: 2025, Month: 4, Day: 29}
	at := func(travel float64) (mean, swing, peakH float64) {
		h, err := NewHours(HoursInput{
			Obs:     obs,
			Now:     obs[len(obs)-1].At,
			Loc:     time.UTC,
			Daily:   flat(day, 8, 40),
			TravelH: travel,
		})
		require.NoError(t, err)
		from := day.Add(3).In(time.UTC)
		lo, hi := math.Inf(1), 0.
		for k := range 24 * 4 {
			v := h.Flow(0, from.Add(time.Duration(k)*15*time.Minute))
			mean += v / 96
			if lo = min(lo, v); v > hi {
				hi, peakH = v, float64(k)/4
			}
		}

		return mean, hi - lo, peakH
	}
	m0, s0, p0 := at(0)

	for _, travel := range []float64{.4, 3, 7} {
		m, s, p := at(travel)
		require.InDelta(t, m0, m, .01*m0, "travel %g", travel)
		require.Less(t, s, s0, "travel %g: a wave flattens on its way", travel)
		require.InDelta(t, travel, math.Mod(p-p0+24, 24), .8, "travel %g", travel)
		k := routing(travel)
		sum, lag := 0., 0.
		for j, w := range k {
			require.GreaterOrEqual(t, w, 0.)
			sum, lag = sum+w, lag+w*float64(j)*routeStepH
		}

		require.InDelta(t, 1, sum, 1e-9)
		require.InDelta(t, travel, lag, .02*travel+1e-9, "the mean of the lag is the travel time")
	}

	_, sUp, pUp := at(-3) // a reach above its gauge: sooner, and not unrouted
	require.InDelta(t, s0, sUp, .1)
	require.InDelta(t, 21, math.Mod(pUp-p0+24, 24), .3)
	require.Nil(t, routing(-3))
}

// A member has the mean of each day at the noon of the wall, also after the
// clock has changed.
func TestNoonsOverAClockChange(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ zone, day string }{
		{"America/Chicago", "2026-03-06"}, {"America/Chicago", "2026-10-30"}, {"Pacific/Chatham", "2026-09-25"},
		{"Pacific/Chatham", "2026-04-03"},
	} {
		loc, err := time.LoadLocation(c.zone)
		require.NoError(t, err)
		day, err := coldseam.ParseDate(c.day)
		require.NoError(t, err)
		doubling := ensemble.Result{Day: day, Members: [][]float64{{20, 40, 80, 160, 320}}}
		now := day.Add(1).At(5*time.Hour, loc)
		h, err := NewHours(HoursInput{
			Obs:   []coldseam.Observation{{At: now, KnownAt: now, Value: 10}},
			Now:   now,
			Loc:   loc,
			Daily: doubling,
		})
		require.NoError(t, err)
		for k, q := range doubling.Members[0] {
			at := day.Add(k+1).At(12*time.Hour, loc)
			require.InDelta(t, q, math.Exp(h.path(0, at)), 1e-6, "%s %s", c.zone, at)
		}
	}
}
