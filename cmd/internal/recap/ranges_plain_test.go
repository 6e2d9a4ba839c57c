//go:build !race

package recap_test

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
)

// Five weeks of mornings lived on the invented rivers: what was issued is scored
// by what came, and the 80 % ranges of water temperature hold about 80 %.
func TestLivedForecastsHoldTheirRanges(t *testing.T) {
	if os.Getenv("COLDSEAM_SOAK") == "" {
		t.Skip("set COLDSEAM_SOAK to run the long form")
	}
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()

	const mornings = 34
	for d := range mornings {
		day := clubtest.Saturday.Add(d)
		if d > 0 {
			v.Clock.Forward(democlub.Start.AddDate(0, 0, d))
			_, err := v.Feeds.FetchAll(ctx)
			require.NoError(t, err)
		}
		_, err := v.Morning.MakeAll(ctx, day)
		require.NoError(t, err)
	}

	v.Clock.Forward(democlub.Start.AddDate(0, 0, mornings+9).Add(time.Hour))
	_, err := v.Feeds.FetchAll(ctx)
	require.NoError(t, err)
	n, err := v.DB.ScoreForecasts(ctx, democlub.Start.AddDate(0, 0, -1), v.Now())
	require.NoError(t, err)
	require.Greater(t, n, 3*mornings*10, "two rivers with a thermometer and a silent one")
	rows, err := v.DB.Pool().Query(ctx, `
		SELECT param, lead_day, count(*)::int, avg((observed BETWEEN p10 AND p90)::int)::float8, avg(crps)::float8, avg(persist)::float8
		FROM coldseam.forecast_score GROUP BY 1, 2 ORDER BY 1, 2`)
	require.NoError(t, err)
	defer rows.Close()

	for rows.Next() {
		var param string
		var lead, k int
		var held, crps, persist float64
		require.NoError(t, rows.Scan(&param, &lead, &k, &held, &crps, &persist))
		t.Logf("%-10s day %2d, %3d issues: 80 %% range held %2.0f %%, CRPS %.2f, persistence %.2f",
			param, lead, k, 100*held, crps, persist)
		if param == "water_temp" {
			// Five weeks of one spring are a handful of independent weeks: wide bounds.
			require.InDelta(t, .8, held, .15, "lead %d", lead)
			require.Less(t, crps, persist, "lead %d", lead)
		}
	}

	require.NoError(t, rows.Err())
}
