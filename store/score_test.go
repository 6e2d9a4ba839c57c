package store

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// The score is the mean distance to what came less half that between two members;
// the sum over all pairs is the check of the formula.
func TestCRPSIsThatOfAllPairs(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-5, 5), 2, 12).Draw(t, "x")
		y := rapid.Float64Range(-6, 6).Draw(t, "y")
		near, apart, pairs := 0.0, 0.0, 0.0
		for i, v := range x {
			near += math.Abs(v-y) / float64(len(x))
			for _, w := range x[i+1:] {
				apart += math.Abs(v - w)
				pairs++
			}
		}
		require.InDelta(t, near-apart/pairs/2, crps(x, y), 1e-9)
	})

	require.Zero(t, crps([]float64{3, 3}, 3))
	require.Equal(t, 2.0, crps([]float64{1}, 3))
}

// Day 1 is the day of issue, and days are those of the reach's zone.
func TestScoresCountFromTheDayOfIssue(t *testing.T) {
	t.Parallel()
	loc := time.FixedZone("", -6*3600)
	day := coldseam.Date{Year: 2026, Month: 4, Day: 10}
	e := coldseam.Ensemble{Issued: day.At(5*time.Hour, loc)}
	means := map[coldseam.Date]dayValue{day.Add(-1): {mean: 4}}
	for l := range 3 {
		e.Valid = append(e.Valid, day.Add(l+1).At(0, loc))
		means[day.Add(l)] = dayValue{mean: 5 + float64(l)}
	}
	e.Members = [][]float64{{5, 6, 7}, {5, 6, 7}}
	for i, s := range scoreEnsemble(e, means, loc, day.Add(9)) {
		require.Equal(t, i+1, s.Lead)
		require.Equal(t, day.Add(i), s.Day)
		require.Zero(t, s.CRPS)
		require.Equal(t, float64(i+1), *s.Persist)
	}
	require.Len(t, scoreEnsemble(e, means, loc, day.Add(1)), 1, "the day of issue, once it is over")
}

func TestPeriodOf(t *testing.T) {
	t.Parallel()
	for s, want := range map[string]string{"P1D": "24h0m0s", "PT24H": "24h0m0s", "PT15M": "15m0s",
		"P1DT2H3M4S": "26h3m4s", "": "0s", "P1M": "0s", "junk": "0s"} {
		require.Equal(t, want, periodOf(s).String(), s)
	}
}
