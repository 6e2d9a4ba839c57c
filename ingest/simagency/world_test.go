package simagency

import (
	"reflect"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// demoWorld is made once: all tests read it.
var demoWorld = sync.OnceValues(func() (*World, error) {
	return Generate(1, coldseam.Date{Year: 2026, Month: time.April, Day: 10})
})

func world(t *testing.T) *World {
	t.Helper()
	w, err := demoWorld()
	require.NoError(t, err)
	return w
}

func TestGenerateIsRepeatable(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2025, Month: time.October, Day: 20}
	a, err := generate(7, day, day, 2)
	require.NoError(t, err)
	b, err := generate(7, day, day, 2)
	require.NoError(t, err)
	require.True(t, reflect.DeepEqual(a.recs, b.recs))
	c, err := generate(8, day, day, 2)
	require.NoError(t, err)
	require.NotEqual(t, a.recs[0].flow, c.recs[0].flow)
}

func TestRecordHasTheSpanAndSeasons(t *testing.T) {
	t.Parallel()
	w := world(t)

	for i, r := range w.rivers {
		d, err := w.Truth(r.Code)
		require.NoError(t, err)
		require.Equal(t, coldseam.Date{Year: 2014, Month: time.January, Day: 1}, d.First)
		require.Equal(t, w.Anchor, d.Day(d.Len()), "the last day is the day before the anchor")
		f, err := w.Future(r.Code)
		require.NoError(t, err)
		require.Equal(t, w.Anchor, f.First)
		require.Greater(t, f.Len(), 40)
		require.Len(t, w.recs[i].hours, (hourlyDays+aheadDays)*24)

		m := monthly(d)
		require.Less(t, m[1].water, 0.3, "%s frozen in January", r.Name)
		require.Greater(t, m[1].ice, 0.7)
		require.Less(t, m[7].ice, 1e-9)
		require.InDelta(t, 20.5, m[7].water, 3)
		require.Greater(t, m[4].flow, 1.5*m[1].flow, "%s: snowmelt rise", r.Name)
		require.Greater(t, m[4].water, 3.0)
		require.Less(t, m[4].water, 8.0)

		for k := range d.Len() {
			require.Greater(t, d.FlowM3S[k], 0.0)
			require.GreaterOrEqual(t, d.WaterC[k], 0.0)
			require.Less(t, d.WaterC[k], 32.0)
		}
	}

	_, err := w.Truth("XX-1")
	require.ErrorIs(t, err, coldseam.ErrNotFound)
}

type month struct{ flow, water, ice, n float64 }

func monthly(d coldseam.Days) [13]month {
	var m [13]month
	for k := range d.Len() {
		x := &m[d.Day(k).Month]
		x.n++
		x.flow += d.FlowM3S[k]
		x.water += d.WaterC[k]
		if d.FlowSoft[k] {
			x.ice++
		}
	}
	for i := range m {
		m[i].flow, m[i].water, m[i].ice = m[i].flow/m[i].n, m[i].water/m[i].n, m[i].ice/m[i].n
	}
	return m
}

// The demo tells four stories on the anchor morning.
func TestAnchorMorning(t *testing.T) {
	t.Parallel()
	w := world(t)
	now := DefaultNow()
	state := func(i int, ago time.Duration) hourState {
		h, ok := w.recs[i].at(now.Add(-ago))
		require.True(t, ok)
		return h
	}

	t.Run("Tamsen is fair", func(t *testing.T) {
		h, y := state(0, 0), state(0, 24*time.Hour)
		require.InDelta(t, 40.3, coldseam.F(h.waterC), 1.3)
		require.Greater(t, h.waterC, y.waterC+0.2, "warming")
		require.Less(t, h.q, y.q, "falling")
		require.Greater(t, h.q, 0.85*y.q, "gently")
		require.Less(t, h.wx.gustMS, 4.0)
		for d := -24 * time.Hour; d <= 36*time.Hour; d += time.Hour {
			require.Zero(t, state(0, -d).wx.precipMM)
			require.Zero(t, state(0, -d).wx.thunder)
		}

		var same []float64
		d, err := w.Truth("NG-1001")
		require.NoError(t, err)
		for y := 2015; y < 2026; y++ {
			for k := -7; k <= 7; k++ {
				same = append(same, d.FlowM3S[coldseam.Date{Year: y, Month: time.April, Day: 10 + k}.Sub(d.First)])
			}
		}

		p := share(same, h.q)
		require.Greater(t, p, 0.28)
		require.Less(t, p, 0.72)
	})

	t.Run("Hallam Fork is in flood", func(t *testing.T) {
		h := state(1, 0)
		require.Greater(t, w.rivers[1].StageM(h.q), w.rivers[1].FloodM+0.1)
		require.Greater(t, w.rivers[1].StageM(h.q)-w.rivers[1].StageM(state(1, 6*time.Hour).q), 0.0)
	})
	t.Run("Merrow is cold and clear of ice", func(t *testing.T) {
		for ago := range 96 {
			h := state(3, time.Duration(ago)*time.Hour)
			require.Greater(t, coldseam.F(h.waterC), 33.5)
		}
		require.InDelta(t, 36.5, coldseam.F(state(3, 0).waterC), 0.9)
	})
	t.Run("no ice", func(t *testing.T) {
		for i := range w.rivers {
			require.Zero(t, state(i, 0).iceM)
		}
	})
}

func TestRatingAgreesWithStagesAndGaugings(t *testing.T) {
	t.Parallel()
	w := world(t)

	for _, r := range w.rivers {
		rt := r.Rating()
		require.NoError(t, rt.Check())
		for q := rt.Discharge[0] * 1.5; q < rt.Discharge[19]; q *= 1.7 {
			got, outside := rt.At(r.StageM(q))
			require.False(t, outside)
			require.InEpsilon(t, q, got, 0.01)
			require.InEpsilon(t, q, r.WidthM(q)*r.DepthM(q)*r.VelocityMS(q), 1e-9)
		}

		gs := w.Gaugings(r.Code)
		require.Len(t, gs, 27)
		lo, hi, ice, odd := 1e9, 0.0, 0, 0
		for _, g := range gs {
			require.InEpsilon(t, g.DischargeM3S, *g.AreaM2**g.MeanVelMS, 1e-9)
			if g.Ice {
				ice++
				continue
			}
			lo, hi = min(lo, g.DischargeM3S), max(hi, g.DischargeM3S)
			if q, _ := rt.At(*g.StageM); g.DischargeM3S > 1.4*q {
				odd++
			}
		}

		require.Equal(t, 1, ice)
		require.Equal(t, 1, odd)
		require.Greater(t, hi/lo, 3.0)
	}

	require.Nil(t, w.Gaugings("XX"))
}

// Civil days of 23 and 25 hours keep the days and hours in step.
func TestDailyMeansFollowTheCivilDay(t *testing.T) {
	t.Parallel()
	w := world(t)
	rec := w.recs[0]
	for _, day := range []coldseam.Date{{Year: 2026, Month: time.March, Day: 8},
		{Year: 2026, Month: time.April, Day: 2}} {
		sum, n := 0.0, 0
		for x := day.In(w.zone); x.Before(day.Add(1).In(w.zone)); x = x.Add(time.Hour) {
			sum += rec.hours[int(x.Sub(rec.hour0).Hours())].q
			n++
		}
		require.InEpsilon(t, rec.flow[day.Sub(rec.first)], sum/float64(n), 1e-12)
		require.Equal(t, int(day.Add(1).In(w.zone).Sub(day.In(w.zone)).Hours()), n)
	}
}

// Other anchors tell the same stories as far as the season allows.
func TestOtherAnchors(t *testing.T) {
	t.Parallel()
	for _, d := range []coldseam.Date{{Year: 2026, Month: time.March, Day: 20},
		{Year: 2024, Month: time.October, Day: 28}} {
		w, err := generate(3, d, d, 3)
		require.NoError(t, err)
		h, ok := w.recs[1].at(d.In(w.zone).Add(270 * time.Minute))
		require.True(t, ok)
		require.Greater(t, w.rivers[1].StageM(h.q), w.rivers[1].ActionM, d.String())
	}
}

func BenchmarkGenerate(b *testing.B) {
	for b.Loop() {
		_, err := Generate(1, coldseam.Date{Year: 2026, Month: time.April, Day: 10})
		require.NoError(b, err)
	}
}

// An earlier day of a world has the same days, and hours of its own.
func TestEarlierIsTheSameRecord(t *testing.T) {
	t.Parallel()
	w := world(t)
	day := w.Anchor.Add(-352)
	old, err := w.Earlier(day)
	require.NoError(t, err)
	require.Equal(t, day, old.Anchor)
	for _, r := range Rivers() {
		now, err := w.Truth(r.Code)
		require.NoError(t, err)
		then, err := old.Truth(r.Code)
		require.NoError(t, err)
		require.Equal(t, now.Cut(day.Add(-1)), then)
	}
	_, ok := old.recs[0].at(day.UTC())
	require.True(t, ok)
	require.Len(t, old.recs[0].hours, (hourlyDays+aheadDays)*24)
}
