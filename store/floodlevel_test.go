package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store/storetest"
)

// A flood level is known since it was first said as it is; one that the agency
// names no more stays.
func TestFloodLevels(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx, at := t.Context(), time.Date(2026, 4, 1, 6, 0, 0, 0, time.UTC)
	level := func(kind string, v float64, known time.Time) coldseam.FloodLevel {
		return coldseam.FloodLevel{Site: "n:1", Kind: kind, Param: coldseam.Stage, Value: v, Gauge: "0100", KnownAt: known}
	}
	require.NoError(t, db.SaveFloodLevels(ctx, []coldseam.FloodLevel{level(coldseam.FloodMinor, 3, at),
		level(coldseam.FloodMajor, 5, at)}))
	require.NoError(t, db.SaveFloodLevels(ctx, []coldseam.FloodLevel{level(coldseam.FloodMinor, 3, at.Add(24*time.Hour))}))
	got, err := db.FloodLevels(ctx, "n:1", at)
	require.NoError(t, err)
	require.Len(t, got, 2)
	require.True(t, at.Equal(got[0].KnownAt))

	require.NoError(t, db.SaveFloodLevels(ctx, []coldseam.FloodLevel{level(coldseam.FloodMinor, 2, at.Add(48*time.Hour))}))
	got, err = db.FloodLevels(ctx, "n:1", at.Add(72*time.Hour))
	require.NoError(t, err)
	require.InDelta(t, 2, got[0].Value, 0)
	require.Error(t, db.SaveFloodLevels(ctx, []coldseam.FloodLevel{level("odd", 2, at)}))
}
