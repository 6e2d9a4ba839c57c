package coldseam

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestSpans(t *testing.T) {
	t.Parallel()
	t0 := time.Date(2026, 4, 10, 0, 0, 0, 0, time.UTC)
	hourly := []int{0, 1, 2, 3, 4, 5, 6}

	for _, row := range []struct {
		name   string
		hours  []int
		period string
		step   int // of which the end is wanted
		end    int // hours
	}{
		{"the next hour", hourly, "", 2, 3},
		{"the last hour is bridged", hourly, "", 6, 9},
		{"a missing hour is bridged", []int{0, 1, 2, 4, 5, 6, 7}, "", 2, 4},
		{"nine hours are not", []int{4, 5, 6, 15, 16, 17, 18, 19}, "", 2, 9},
		{"nor are two holes alike", []int{4, 5, 6, 15, 24, 25, 26, 27, 28}, "", 2, 9},
		{"nor is one at the end", []int{0, 1, 2, 3, 4, 5, 6, 15}, "", 6, 9},
		{"hours that become six-hour steps", []int{0, 1, 2, 6, 12, 18, 24, 30}, "", 3, 12},
		{"a hole in six-hour steps", []int{0, 6, 12, 24, 30, 36, 42, 48}, "", 2, 18},
		{"half days", []int{0, 12, 24, 36}, "", 1, 24},
		{"one time alone", []int{6}, "", 0, 9},
		{"the six hours before", []int{0, 6, 12, 18, 24, 30}, "PT6H", 2, 12},
		{"a mean of ten minutes", hourly, "PT10M", 2, 3},
	} {
		f := Forecast{Period: row.period}
		for _, h := range row.hours {
			f.At = append(f.At, t0.Add(time.Duration(h)*time.Hour))
		}
		require.Equal(t, t0.Add(time.Duration(row.end)*time.Hour), f.Spans()[row.step][1], row.name)
	}
}

func TestPlausible(t *testing.T) {
	t.Parallel()
	for _, p := range []Parameter{Discharge, Stage, WaterTemp, Turbidity, Velocity, AirTemp, Precip, Wind, Gust,
		ThunderProb, Visibility, FishCount} {
		lo, hi := p.Bounds()
		require.Less(t, lo, hi, p)
		require.True(t, p.Plausible(0), p)
		require.False(t, p.Plausible(1e308), p)
		require.False(t, p.Plausible(-1e308), p)
	}
}
