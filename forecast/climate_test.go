package forecast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func years(n int, f func(day coldseam.Date) float64) coldseam.Days {
	d := coldseam.Days{First: coldseam.Date{Year: 2000, Month: 1, Day: 1}}
	for i := range n * 365 {
		d.FlowM3S = append(d.FlowM3S, f(d.Day(i)))
	}
	return d
}

func TestClimateSamplesTheSeasonAlone(t *testing.T) {
	t.Parallel()
	d := years(12, func(day coldseam.Date) float64 { return float64(day.Month) })
	c := NewClimate(d)
	require.True(t, c.Enough())
	s := c.Sample(coldseam.Date{Year: 2011, Month: 4, Day: 15})
	require.NotEmpty(t, s)
	require.Equal(t, 3.0, s[0])
	require.Equal(t, 4.0, s[len(s)-1])
	for _, q := range s {
		require.GreaterOrEqual(t, q, 3.0) // within 15 days of mid April: 31 March to 30 April
	}
	require.Len(t, s, 31*11) // the year of the date itself is within 60 days of it
}

func TestPercentile(t *testing.T) {
	t.Parallel()
	s := []float64{1, 2, 2, 4}
	require.Equal(t, 0.0, Percentile(s, 0.5))
	require.Equal(t, 0.5, Percentile(s, 2))
	require.Equal(t, 1.0, Percentile(s, 5))
	require.True(t, math.IsNaN(Percentile(nil, 1)))
}

func TestShortRecordHasNoPercentiles(t *testing.T) {
	t.Parallel()
	require.False(t, NewClimate(years(9, func(coldseam.Date) float64 { return 1 })).Enough())
	require.InDelta(t, 1, NewClimate(years(9, func(coldseam.Date) float64 { return 1 })).WholeRecordQuantile(.95), 0)
}
