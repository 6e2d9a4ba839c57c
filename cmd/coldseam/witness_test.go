package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// rewrite stores the readings of a gauge's last hours anew, as the agency does
// that revises them.
func (v *town) rewrite(t *testing.T, site coldseam.SiteID, p coldseam.Parameter, hours float64,
	change func(*coldseam.Observation)) {
	t.Helper()
	ctx, now := t.Context(), v.Now()
	s, err := v.DB.History(ctx, site, p, coldseam.Instant, now.Add(-time.Duration(hours*float64(time.Hour))), now, now)
	require.NoError(t, err)
	require.NotEmpty(t, s.Obs)
	for i := range s.Obs {
		s.Obs[i].KnownAt = now
		change(&s.Obs[i])
	}
	_, _, err = v.DB.UpsertSeries(ctx, 0, []coldseam.Series{s})
	require.NoError(t, err)
}

// The witnesses of a gauge that stands still are read: the rain of the weather
// point, the gauge upstream, and others nearby. While it moves nothing is.
func TestWitnessesOfAStillGauge(t *testing.T) {
	t.Parallel()
	v := servingTown(t)
	r := v.ReachOf(t, "tamsen-bend")
	r.UpstreamSites = []coldseam.SiteID{"northgauge:SILENT", "northgauge:NG-1003"}
	require.NoError(t, v.DB.PutReach(t.Context(), r, store.Edit{Who: "test", Why: "test"}))
	f := v.featuresOf(t, r)
	require.Empty(t, f.Near)
	require.Empty(t, f.RainIssues)

	v.rewrite(t, r.Site, coldseam.Discharge, 9, func(o *coldseam.Observation) { o.Value = 41.5 })
	v.Clock.Forward(v.Now().Add(time.Second))
	f = v.featuresOf(t, r)
	require.Len(t, f.Near, 1, "the silent gauge lends nothing, the third river lies too far")
	require.Equal(t, coldseam.Discharge, f.Near[0].Param)
	require.NotEmpty(t, f.RainIssues)
	require.False(t, f.RainIssues[0].Issued.Before(f.Now.Add(-36*time.Hour)))

	v.rewrite(t, "northgauge:NG-1003", coldseam.Discharge, 9, func(o *coldseam.Observation) {
		o.Value *= 1 + .3*f.Now.Sub(o.At).Hours()/5
	})
	v.Clock.Forward(v.Now().Add(time.Second))
	m := told(v.featuresOf(t, r))
	require.Contains(t, codes(m.Brief.Reasons), "discharge_untrusted", "%v", m.Brief.Reasons)
}
