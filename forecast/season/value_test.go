package season

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// told is a season of so many weeks: every day of a week the same word, GO and
// STAY by turns, with odds and water.
func told(year, weeks int) coldseam.Replay {
	odds := map[coldseam.Verdict]float64{coldseam.Go: .6, coldseam.Stay: .2}
	water := 6.
	r := coldseam.Replay{From: coldseam.Date{Year: year, Month: 4, Day: 1}}
	for i := range 7 * weeks {
		word := []coldseam.Verdict{coldseam.Go, coldseam.Stay}[i/7%2]
		p := odds[word]
		r.Cells = append(r.Cells, coldseam.ReplayCell{Day: r.From.Add(i), Word: word, Odds: &p, WaterC: &water})
	}
	r.To = r.From.Add(7*weeks - 1)
	return r
}

// counted gives every morning of a season what its word earns.
func counted(o Outcomes, r coldseam.Replay, rate map[coldseam.Verdict]float64) {
	for _, c := range r.Cells {
		o.Rate[c.Day] = rate[c.Word]
	}
}

func TestWordsThatFishBetterAreShownToDo(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		rate map[coldseam.Verdict]float64
		gap  float64
		auc  float64
	}{
		{map[coldseam.Verdict]float64{coldseam.Go: 40, coldseam.Stay: 3}, 1, 1},
		{map[coldseam.Verdict]float64{coldseam.Go: 3, coldseam.Stay: 40}, -1, 0},
	} {
		o := Outcomes{Source: ByCounts, Rate: map[coldseam.Date]float64{}}
		r := told(2031, 10)
		counted(o, r, c.rate)
		v := ValueOf([]coldseam.Replay{r}, o, .45)
		require.Equal(t, 70, v.Known)
		require.True(t, v.Enough)
		require.InDelta(t, c.gap, v.Gap.Value, 1e-9)
		require.Positive(t, v.Gap.Lo*v.Gap.Hi, "no interval over nothing")
		require.InDelta(t, c.auc, v.Ranks[0].AUC.Value, 1e-9)
		require.Zero(t, v.Ranks[1].N, "one year says nothing of a date")
		require.InDelta(t, .5, v.Ranks[2].AUC.Value, 1e-9, "steady water is no rule")
	}
}

// A counter of other years speaks for a day of the year.
func TestDayOfYearIsARival(t *testing.T) {
	t.Parallel()
	o := Outcomes{Source: ByCounts, Rate: map[coldseam.Date]float64{}}
	r := told(2031, 10)
	for _, y := range []int{2029, 2030, 2031} {
		counted(o, told(y, 10), map[coldseam.Verdict]float64{coldseam.Go: 40, coldseam.Stay: 3})
	}
	v := ValueOf([]coldseam.Replay{r}, o, .45)
	require.Equal(t, 70, v.Ranks[1].N)
	require.Greater(t, v.Ranks[1].AUC.Lo, .5)
	require.Equal(t, ByDate, v.Baselines[1].Name)
	require.Less(t, v.Baselines[0].Net, v.Baselines[1].Net, "always going pays for the poor days")
}

func TestNoEvidenceBelowTwenty(t *testing.T) {
	t.Parallel()
	o := Outcomes{Source: ByTrips, Rate: map[coldseam.Date]float64{}}
	r := told(2031, 2)
	counted(o, r, map[coldseam.Verdict]float64{coldseam.Go: 1, coldseam.Stay: 0})
	v := ValueOf([]coldseam.Replay{r}, o, .45)
	require.Equal(t, 14, v.N)
	require.False(t, v.Enough)
	require.Equal(t, []int{7, 7}, []int{v.Words["GO"].Good, v.Words["GO"].N})
	require.InDelta(t, .721, v.Words["GO"].Lo, .001, "Wilson, 7 of 7: 7/(7+1.6449^2)")
}
