package feeds

import (
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest"
	"example.org/coldseam/store/storetest"
)

// What quality control knows of a gauge comes from its record: the greatest
// discharge, the range of stage, the air beside it. A short record says nothing.
func TestWhatQualityControlKnowsOfAGauge(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	db := storetest.New(t)
	now := time.Date(2026, 1, 20, 12, 0, 0, 0, time.UTC)
	cfg := config.Config{
		Sites:   []config.Site{{ID: "g:1", Tidal: true}},
		Reaches: []config.Reach{{Site: "g:1", AirSite: "g:air"}, {Site: "g:2", TempSite: "g:3", AirSite: "g:air"}},
	}
	a := New(&env.Env{DB: db, Now: func() time.Time { return now }, Config: cfg, Log: slog.New(slog.DiscardHandler)})

	put := func(site coldseam.SiteID, p coldseam.Parameter, stat coldseam.Statistic, period string, days int,
		v func(int) float64) {
		s := coldseam.Series{SeriesKey: coldseam.SeriesKey{Site: site, Param: p, Stat: stat, Period: period,
			Provider: "g"}}
		for i := range days {
			at := now.AddDate(0, 0, i-days+1)
			s.Obs = append(s.Obs, coldseam.Observation{At: at, KnownAt: at, Value: v(i)})
		}
		_, _, err := db.UpsertSeries(ctx, 0, []coldseam.Series{s})
		require.NoError(t, err)
	}

	for _, id := range []coldseam.SiteID{"g:1", "g:2", "g:3", "g:air"} {
		require.NoError(t, db.PutSite(ctx, coldseam.Site{ID: id, Provider: "g", Code: string(id), Zone: "UTC"}))
	}
	put("g:1", coldseam.Stage, coldseam.Instant, "", 400, func(i int) float64 { return 1 + float64(i%30)/10 })
	put("g:1", coldseam.Discharge, coldseam.Mean, "P1D", 400, func(i int) float64 { return 10 + float64(i%100) })
	put("g:2", coldseam.Stage, coldseam.Instant, "", 40, func(int) float64 { return 2 })
	put("g:air", coldseam.AirTemp, coldseam.Mean, "P1D", 40, func(int) float64 { return -12 })

	l := a.siteLimits("g:1")
	require.True(t, l.Tidal)
	require.Equal(t, 109.0, l.MaxDischargeM3S)
	require.InDelta(t, 1, *l.StageMinM, 1e-9)
	require.InDelta(t, 3.9+2.9, *l.StageMaxM, 1e-9, "a flood may pass every mark by the whole range on record")
	l = a.siteLimits("g:2")
	require.Nil(t, l.StageMaxM, "forty days are no record")
	require.Zero(t, l.MaxDischargeM3S)

	// The stage of a gauge that speaks in another unit fails, a flood does not.
	stage := func(v float64) coldseam.Flag {
		s := coldseam.Series{SeriesKey: coldseam.SeriesKey{Site: "g:1", Param: coldseam.Stage}}
		for i := range 3 {
			s.Obs = append(s.Obs, coldseam.Observation{At: now.Add(time.Duration(i) * time.Minute), Value: v})
		}
		return ingest.Check(s, a.siteLimits("g:1"), now.Add(time.Hour)).Obs[1].Flag
	}
	require.NotZero(t, stage(13)&coldseam.QCFail)
	require.Zero(t, stage(7)&coldseam.QCFail)

	for _, site := range []coldseam.SiteID{"g:1", "g:2", "g:3"} {
		air, err := a.airNear(ctx, site, now.AddDate(0, 0, -4), now)
		require.NoError(t, err)
		require.Len(t, air, 5, site)
		require.Equal(t, -12.0, air[0].Value)
	}
	air, err := a.airNear(ctx, "g:elsewhere", now.AddDate(0, 0, -4), now)
	require.NoError(t, err)
	require.Empty(t, air)

	// Three days of hard frost and warm water do not go together: the fetcher
	// looks at the air beside the gauge.
	f := &ingest.Fetcher{Now: a.Now, Sink: db, Recent: db.Neighbours, Limits: a.siteLimits, Air: a.airNear}
	warm := coldseam.Series{SeriesKey: coldseam.SeriesKey{
		Site:     "g:1",
		Param:    coldseam.WaterTemp,
		Stat:     coldseam.Instant,
		Provider: "g",
	}}
	for i := range 5 {
		warm.Obs = append(warm.Obs, coldseam.Observation{At: now.Add(time.Duration(i-4) * time.Hour),
			Value: 9 + float64(i)/10})
	}

	_, err = f.Import(ctx, ingest.Profile{Name: "g"}, ingest.Batch{Series: []coldseam.Series{warm}})
	require.NoError(t, err)
	got, err := db.History(ctx, "g:1", coldseam.WaterTemp, coldseam.Instant, time.Time{}, time.Time{}, now)
	require.NoError(t, err)
	for _, o := range got.Obs {
		require.NotZero(t, o.Flag&coldseam.QCRange, "%v", o)
	}
}
