//go:build !race

package ingest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// However greedy the caller, no hour sees more requests than the budget.
func TestNoHourPassesTheBudget(t *testing.T) {
	t.Parallel()

	for _, perHour := range []float64{1, 10, 50, 600, 1000} {
		l := newLimiter(Profile{RatePerHour: perHour})
		var taken []time.Time
		for s := range 4 * 3600 {
			at := t0.Add(time.Duration(s) * time.Second)
			for l.AllowN(at, 1) {
				taken = append(taken, at)
			}
		}

		for i := range taken {
			j := i
			for j < len(taken) && taken[j].Sub(taken[i]) < time.Hour {
				j++
			}
			// The step is not a whole number of seconds and both ends may count.
			require.LessOrEqual(t, float64(j-i), perHour+1, "%.0f an hour", perHour)
		}
		require.Greater(t, float64(len(taken)), 4*perHour*.45)
	}
}
