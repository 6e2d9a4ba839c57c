package ensemble

import (
	"testing"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
)

func TestPassed(t *testing.T) {
	t.Parallel()
	hot, cold := 6.0, 2.0
	for _, c := range []struct {
		name   string
		path   []float64
		before int
		want   int
	}{
		{"never", []float64{cold, hot, hot, hot, hot, cold}, 0, -1},
		{"from day 2", []float64{cold, hot, hot, hot, hot, hot}, 0, 2},
		{"from day 1", []float64{hot, hot, hot, hot, hot, cold}, 0, 1},
		{"run began before the issue", []float64{hot, hot, cold, cold, cold, cold}, 3, 0},
		{"broken run does not count", []float64{cold, hot, hot, hot, hot, hot}, 4, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			require.Equal(t, c.want, Passed(c.path, 4.4, true, c.before))
		})
	}
}

func TestCrossings(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2024, Month: 4, Day: 10}
	view := coldseam.Days{First: day.Add(-3), WaterC: []float64{1, 2, 3, 3}}
	path := func(d int) []float64 {
		p := make([]float64, 45)
		for h := range p {
			if p[h] = 3; h+1 >= d {
				p[h] = 5
			}
		}
		return p
	}

	r := Result{Day: day, Members: [][]float64{path(2), path(5), path(9), path(100)}}
	x := Crossings(view, r, []float64{4.4, 2.5})
	require.Equal(t, .25, x[0].Within3)
	require.Equal(t, .5, x[0].Within7)
	require.Equal(t, .75, x[0].Within10)
	require.Equal(t, .25, x[0].Not)
	require.Equal(t, day.Add(5), x[0].Dates[1])
	require.False(t, x[0].Confirmed)
	require.True(t, x[0].AtEdge.IsZero())

	// above 2.5 for two days: every member completes the run
	require.Equal(t, 1., x[1].Within3)
	require.Equal(t, day.Add(-1), x[1].AtEdge)
	require.Equal(t, day.Add(-1), x[1].Dates[0])
	require.False(t, x[1].Confirmed)
}
