//go:build !race

package recap_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
)

// A few mornings lived: temperature, flow, rise and limit are scored from what
// was issued.
func TestIssuedScorecard(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()
	for d := range 3 {
		v.Clock.Forward(democlub.Start.AddDate(0, 0, d))
		if d > 0 {
			_, err := v.Feeds.FetchAll(ctx)
			require.NoError(t, err)
		}
		r := v.ReachOf(t, "tamsen-bend")
		_, err := v.Morning.MakeBrief(ctx, r, clubtest.Saturday.Add(d))
		require.NoError(t, err)
	}

	v.Clock.Forward(democlub.Start.AddDate(0, 0, 16))
	_, err := v.Feeds.FetchAll(ctx)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, v.Recap.PrintIssued(ctx, &out))
	text := out.String()
	require.Regexp(t, `(?i)water temperature, day 3: CRPS 0\.\d+, persistence \d\.\d+, 80 % range held \d+ %, 3 issues`,
		text)
	require.Regexp(t, `band edge crossed and held within 7 days: of \d+ forecasts`, text)
	require.Regexp(t, `flow over the club limit: of [23] forecasts 0 came true`, text)
	require.Regexp(t, `flow rising over the limit in 6 h: of [23] forecasts 0 came true`, text)
}
