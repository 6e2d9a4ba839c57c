//go:build !race

package morning_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/store"
)

// The witnesses of a gauge that stands still are read: the rain of the weather
// point, the gauge upstream, and others nearby. While it moves nothing is.
func TestWitnessesOfAStillGauge(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	r := v.ReachOf(t, "tamsen-bend")
	r.UpstreamSites = []coldseam.SiteID{"northgauge:SILENT", "northgauge:NG-1003"}
	require.NoError(t, v.DB.PutReach(t.Context(), r, store.Edit{Who: "test", Why: "test"}))
	f := featuresOf(t, v, r)
	require.Empty(t, f.Near)
	require.Empty(t, f.RainIssues)

	v.Rewrite(t, r.Site, coldseam.Discharge, 9, func(o *coldseam.Observation) { o.Value = 41.5 })
	v.Clock.Forward(v.Now().Add(time.Second))
	f = featuresOf(t, v, r)
	require.Len(t, f.Near, 1, "the silent gauge lends nothing, the third river lies too far")
	require.Equal(t, coldseam.Discharge, f.Near[0].Param)
	require.NotEmpty(t, f.RainIssues)
	require.False(t, f.RainIssues[0].Issued.Before(f.Now.Add(-36*time.Hour)))

	v.Rewrite(t, "northgauge:NG-1003", coldseam.Discharge, 9, func(o *coldseam.Observation) {
		o.Value *= 1 + .3*f.Now.Sub(o.At).Hours()/5
	})
	v.Clock.Forward(v.Now().Add(time.Second))
	m := told(featuresOf(t, v, r))
	require.Contains(t, clubtest.Codes(m.Brief.Reasons), "discharge_untrusted", "%v", m.Brief.Reasons)
}
