package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store/storetest"
)

func TestNeighboursAreOfOneSeriesAlone(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	require.NoError(t, db.PutSite(ctx, coldseam.Site{ID: "p:1", Provider: "p", Code: "1", Zone: "UTC"}))
	t0 := time.Date(2026, 4, 1, 0, 0, 0, 0, time.UTC)

	key := func(ref string) coldseam.SeriesKey {
		return coldseam.SeriesKey{
			Site:      "p:1",
			Param:     coldseam.WaterTemp,
			Stat:      coldseam.Instant,
			Provider:  "p",
			SeriesRef: ref,
		}
	}
	series := func(ref string, base float64) coldseam.Series {
		s := coldseam.Series{SeriesKey: key(ref)}
		for i := range 10 {
			at := t0.Add(time.Duration(i) * time.Hour)
			s.Obs = append(s.Obs, coldseam.Observation{At: at, KnownAt: at, Value: base + float64(i)})
		}
		return s
	}
	_, _, err := db.UpsertSeries(ctx, 0, []coldseam.Series{series("a", 0), series("b", 100)})
	require.NoError(t, err)

	got, err := db.Neighbours(ctx, key("b"), t0.Add(3*time.Hour), t0.Add(5*time.Hour))
	require.NoError(t, err)
	require.Len(t, got, 4, "three in the span and the one before")
	require.Equal(t, 102.0, got[0].Value)
	require.Equal(t, 105.0, got[3].Value)
	none, err := db.Neighbours(ctx, key("c"), t0, t0.Add(time.Hour))
	require.NoError(t, err)
	require.Empty(t, none)
	_, top, ok, err := db.Extremes(ctx, "p:1", coldseam.WaterTemp)
	require.NoError(t, err)
	require.False(t, ok, "ten hours are no record")
	require.Zero(t, top)

	daily := key("c")
	daily.Stat, daily.Period = coldseam.Mean, "P1D"
	year := coldseam.Series{SeriesKey: daily}
	for i := range 320 {
		at := t0.AddDate(0, 0, i-400)
		year.Obs = append(year.Obs, coldseam.Observation{At: at, KnownAt: t0, Value: float64(i % 50)})
	}

	year.Obs[7].Value, year.Obs[7].Flag = 900, coldseam.QCFail|coldseam.QCSpike
	_, _, err = db.UpsertSeries(ctx, 0, []coldseam.Series{year})
	require.NoError(t, err)
	lo, hi, ok, err := db.Extremes(ctx, "p:1", coldseam.WaterTemp)
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, []float64{0, 109}, []float64{lo, hi}, "a value that failed is none")
}

// A message of another status or sender never takes a warning away.
func TestOnlyTheSameSenderAndStatusEndsAWarning(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	now := time.Date(2026, 4, 18, 10, 0, 0, 0, time.UTC)
	alert := func(id, status, kind, sender string, refs ...string) coldseam.Alert {
		return coldseam.Alert{
			Provider:   "p",
			Sender:     sender,
			Identifier: id,
			Sent:       now.Add(-time.Hour),
			Status:     status,
			MsgType:    kind,
			References: refs,
			Event:      "Flood Warning",
			From:       now.Add(-time.Hour),
			End:        now.Add(time.Hour),
			KnownAt:    now.Add(-time.Minute),
		}
	}

	ref := "agency,w1," + now.Add(-time.Hour).Format(time.RFC3339)
	require.NoError(t, db.SaveAlerts(ctx, []coldseam.Alert{alert("w1", "Actual", "Alert", "agency"),
		alert("t1", "Test", "Cancel", "agency", ref), alert("x1", "Actual", "Cancel", "stranger", ref)}))
	got, err := db.Alerts(ctx, "", now)
	require.NoError(t, err)
	require.Len(t, got, 1)
	require.Equal(t, "w1", got[0].Identifier)
	require.NoError(t, db.SaveAlerts(ctx, []coldseam.Alert{alert("c1", "Actual", "Cancel", "agency", ref)}))
	got, err = db.Alerts(ctx, "", now)
	require.NoError(t, err)
	require.Empty(t, got)
}
