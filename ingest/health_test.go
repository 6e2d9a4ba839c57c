package ingest

import (
	"testing"
	"time"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
)

func TestHealthWords(t *testing.T) {
	t.Parallel()
	quiet := series(coldseam.WaterTemp, 15*time.Minute, wave(4, .1, 96)...)
	end := quiet.Obs[95].At
	holed := Check(series(coldseam.WaterTemp, 15*time.Minute, cat(wave(4, .1, 40), []float64{9}, wave(4, .1, 55))...), SiteLimits{}, time.Time{})
	holed.Obs = append(holed.Obs[:60:60], holed.Obs[76:]...)
	holed.Obs[3].Flag |= coldseam.Ice | coldseam.Missing
	holed.Obs[3].Value = 0
	for _, c := range []struct {
		name string
		s    coldseam.Series
		now  time.Time
		want string
	}{
		{"good", quiet, end.Add(14 * time.Minute), "newest 14 min ago; 96 rows"},
		{"stale", quiet, end.Add(26 * time.Hour), "newest 26 h ago, STALE: a value is due every 15 min; 96 rows"},
		{"clock behind", quiet, end.Add(-10 * time.Minute), "newest 10 min ahead of our clock; 96 rows"},
		{"gap, spike, ice", holed, end.Add(time.Minute),
			"newest 1 min ago; 80 rows; 1 without a value; 1 gap, the longest 4 h from 2026-03-01 14:45Z; 1 left out and 0 suspect (spike 1); ice marked on 1"},
		{"empty", series(coldseam.Stage, time.Hour), end, "no usable value in 0 rows"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, c.want, HealthOf(c.s, c.now).Words())
		})
	}
}
