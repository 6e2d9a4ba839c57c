//go:build !race

package morning_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/flow"
	"example.org/coldseam/store"
)

// The weekly refit knows the gauges upstream, and a silent one keeps its place.
func TestRefitKnowsUpstreamAndVersions(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()
	r := v.ReachOf(t, "tamsen-bend")
	r.UpstreamSites = []coldseam.SiteID{"northgauge:SILENT", "northgauge:NG-1003"}
	require.NoError(t, v.DB.PutReach(ctx, r, store.Edit{Who: "test", Why: "test"}))
	require.NoError(t, v.Morning.Refit(ctx, r.Site))
	m, err := v.DB.Model(ctx, string(r.Site), "flow", v.Now())
	require.NoError(t, err)

	var fm flow.Model
	require.NoError(t, json.Unmarshal(m.Params, &fm))
	require.Len(t, fm.Climate.Up, 2)
	require.Equal(t, fm.From, m.From)
	require.Equal(t, fm.To, m.To)
	require.False(t, m.From.IsZero())
	require.Contains(t, string(m.Score), "lead5")
	f := featuresOf(t, v, r)
	require.Len(t, f.Upstream, 2)
	require.True(t, math.IsNaN(f.Upstream[0].FlowM3S[0]))
	require.Greater(t, f.Upstream[1].Len(), 3000)
	made := told(f)
	require.Equal(t, "flow/stacked", made.Flow.Source, "a gauge that is silent does not end the regression")

	// A new version beside the old one, which stays readable as of its time.
	at := v.Now()
	v.Clock.Forward(at.Add(8 * env.Day))
	require.NoError(t, v.Morning.Refit(ctx, r.Site))
	again, err := v.DB.Model(ctx, string(r.Site), "flow", v.Now())
	require.NoError(t, err)
	require.NotEqual(t, m.MadeAt, again.MadeAt)
	old, err := v.DB.Model(ctx, string(r.Site), "flow", at)
	require.NoError(t, err)
	require.Equal(t, m.MadeAt, old.MadeAt)
}
