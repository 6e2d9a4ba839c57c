package hindcast

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// The dates are a [reference calculation] from the same daily means.
func TestObservedCrossingDates(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		file string
		up   bool
		want []string
	}{
		{"greatlakes/stlouis.csv", true, []string{"2012-03-23", "2013-05-05", "2014-05-01"}},
		{"greatlakes/stlouis.csv", false, []string{"2011-11-08", "2012-10-30", "2013-10-22", "2014-10-31"}},
		{"greatlakes/fox.csv", true, []string{"2012-03-11", "2013-04-05", "2014-04-06"}},
		{"greatlakes/saginaw.csv", true, []string{"2012-03-12", "2013-04-04", "2014-04-07"}},
		{"greatlakes/genesee.csv", true, []string{"2011-04-03", "2012-03-13", "2013-03-26"}},
		{"greatlakes/vermilion.csv", true, []string{"2013-03-27", "2014-03-31"}},
	} {
		d := real(t, c.file)
		got := ObservedCrossings(d.First, d.WaterC, 4.4, c.up)
		var days []string
		for y := 2005; y < 2020; y++ {
			if i, ok := got[y]; ok {
				days = append(days, d.Day(i).String())
			}
		}
		require.Equal(t, c.want, days, "%s up=%v", c.file, c.up)
	}
}

func TestObservedCrossingNeedsFiveDays(t *testing.T) {
	t.Parallel()
	first := coldseam.Date{Year: 2023, Month: 1, Day: 1}
	x := make([]float64, 365)
	for i := range x {
		if x[i] = 1; i >= 100 && i < 104 || i >= 120 {
			x[i] = 6
		}
	}
	require.Equal(t, map[int]int{2023: 120}, ObservedCrossings(first, x, 4.4, true))
	for i := range 40 {
		x[i+40] = x[300] / 0 * 0
	}
	require.Empty(t, ObservedCrossings(first, x, 4.4, true)) // too few of the months
}

// A method is judged by the issues it had dates for, and says how many.
func TestDatesCountTheirOwnIssues(t *testing.T) {
	t.Parallel()
	s := newDateScores(&replay{d: coldseam.Days{First: coldseam.Date{Year: 2020, Month: 1, Day: 1}}, o: Options{EdgeC: 4.4}})
	e := s.edges[0]
	e.date(Coldseam, []float64{4, 4, 4}, 0)
	e.date(Coldseam, []float64{6, 6, 6}, 0)
	e.date(ClimateDay, []float64{5, 5, 5}, 0) // its first year had no other to go by
	c := e.crossing(4.4)
	require.Equal(t, []int{2, 0, 0}, c.N)
	require.Equal(t, []int{1, 0, 0}, c.NBy[ClimateDay])
	require.Equal(t, 2., c.MAEBy[Coldseam][0])
	require.Equal(t, 2., c.MAEBy[ClimateDay][0], "not half of it")
	require.True(t, math.IsNaN(c.MAE[1]), "nothing was scored")
}

// A date with no training day has no odds of the climatology, and is left out of its
// score: odds of 0 would be an answer.
func TestNoTrainingDayIsNoOdds(t *testing.T) {
	t.Parallel()
	first := coldseam.Date{Year: 2020, Month: 1, Day: 1}
	d := coldseam.Days{First: first}
	for i := range 2 * 366 {
		d.WaterC = append(d.WaterC, 12-12*math.Cos(2*math.Pi*float64(i-20)/365.25))
	}
	h := newReplay(d, Options{EdgeC: 4.4})
	s := newDateScores(h)
	e, issue := s.edges[0], 366+50
	own := map[int]bool{2021: true}

	known := s.chances(h, fold{years: own}, e, ClimateDay, nil, issue)
	require.Len(t, known, len(withinDays), "2020 is there to learn from")
	s.odds(e, ClimateDay, known, issue)
	unknown := s.chances(h, fold{years: own, training: ensemble.Training{Last: first.Add(-1)}}, e, ClimateDay, nil, issue)
	require.Nil(t, unknown)
	s.odds(e, ClimateDay, unknown, issue)
	s.odds(e, Coldseam, known, issue)
	require.Equal(t, 1, e.brier().NClimatology)

	e = newDateScores(h).edges[0]
	s.odds(e, ClimateDay, unknown, issue)
	require.True(t, math.IsNaN(e.brier().Climatology[0]))
}
