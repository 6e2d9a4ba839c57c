package feeds

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest/simagency"
)

func TestFeedsFollowTheConfiguration(t *testing.T) {
	t.Parallel()
	c, err := config.Parse("demo.toml", democlub.TOML, simagency.Profiles("http://127.0.0.1:1")...)
	require.NoError(t, err)
	got := map[string]Feed{}
	for _, f := range Plan(c) {
		got[f.Key()] = f
	}
	require.Contains(t, got, "northgauge/latest")
	require.Contains(t, got, "northgauge/revisions")
	require.Contains(t, got, "northgauge-wml")
	require.Contains(t, got, "metgrid")
	require.True(t, got["northgauge-cap"].Safety)
	require.Equal(t, []string{"NG-1001", "NG-1002"}, got["northgauge/latest"].Sites)
	require.LessOrEqual(t, got["northgauge/latest"].Active, 15*time.Minute, "safety inputs near a morning")
	now := time.Date(2026, 4, 18, 9, 0, 0, 0, time.UTC)
	w := got["metgrid"].Request(now)
	require.True(t, w.Until.After(now.Add(7*env.Day)))
}
