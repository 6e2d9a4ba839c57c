//go:build !race

package feeds_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/simagency"
)

// A feed of warnings of which one document cannot be read is no feed of
// warnings: the others' good answers do not make it look alive.
func TestWarningsCountOnlyWhenComplete(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	var warnings feeds.Feed
	for _, f := range feeds.Plan(v.Config) {
		if f.Profile == "northgauge-cap" {
			warnings = f
		}
	}

	require.NotEmpty(t, warnings.Profile)
	fetch := func() error {
		_, err := v.Feeds.FetchOne(ctx, warnings, warnings.Request(v.Now()))
		return err
	}
	v.Agency.Script("/alerts/", simagency.Step{}, simagency.Step{Status: 404})
	require.Error(t, fetch())
	at, _, err := v.Morning.AlertsAt(ctx, "northgauge-cap")
	require.NoError(t, err)
	require.Zero(t, at)

	ages, err := v.DB.FeedAges(ctx)
	require.NoError(t, err)
	good := 0
	for _, a := range ages {
		if strings.Contains(a.URL, "/alerts/") && !a.LastOK.IsZero() {
			good++
		}
	}
	require.Positive(t, good, "others were read")

	require.NoError(t, fetch())
	at, _, err = v.Morning.AlertsAt(ctx, "northgauge-cap")
	require.NoError(t, err)
	require.WithinDuration(t, v.Now(), at, time.Second)
	at, _, err = v.Morning.AlertsAt(ctx, "no-such-feed")
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	require.Zero(t, at)
}

// A feed of several indexes is as old as the oldest of them.
func TestWarningsAreAsOldAsTheirOldestPart(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	service, err := v.Feeds.Fetcher.Profile(simagency.ProfileAlerts)
	require.NoError(t, err)

	p := ingest.Profile{
		Name:            "parts",
		Format:          ingest.FormatCAP,
		BaseURL:         service.BaseURL,
		Path:            "/parts/{site}",
		SitesPerRequest: 1,
		Places:          map[string]ingest.Place{"north": {}, "south": {}},
		PrivateHosts:    []string{"127.0.0.1"},
		RatePerHour:     1e6,
	}
	v.Feeds.Fetcher.Profiles = append(v.Feeds.Fetcher.Profiles, p)
	empty := simagency.Step{Body: `<feed xmlns="http://www.w3.org/2005/Atom"><id>none</id></feed>`}
	v.Agency.ScriptForever("/parts/north", empty)
	v.Agency.Script("/parts/south", empty)
	_, err = v.Feeds.Fetcher.Fetch(ctx, p, ingest.Request{Force: true})
	require.NoError(t, err)
	first := v.Now()

	v.Clock.Forward(first.Add(20 * time.Minute))
	_, err = v.Feeds.Fetcher.Fetch(ctx, p, ingest.Request{Force: true})
	require.Error(t, err)
	at, _, err := v.Morning.AlertsAt(ctx, "parts")
	require.NoError(t, err)
	require.WithinDuration(t, first, at, time.Second)
}

// A row without a value whose qualifier says ice goes all the way: it is stored
// with its qualifier and stops the morning.
func TestIceWithoutAValueStopsTheMorning(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	v.History(t)
	_, err := v.Feeds.FetchAll(ctx)
	require.NoError(t, err)
	r, err := v.DB.Reach(ctx, "tamsen-bend")
	require.NoError(t, err)
	before, err := v.Morning.MakeBrief(ctx, r, clubtest.Saturday)
	require.NoError(t, err)
	require.NotEqual(t, coldseam.Stop, before.Verdict)

	v.Clock.Forward(v.Now().Add(5 * time.Minute))
	p, err := v.Feeds.Fetcher.Profile(simagency.ProfileGauges)
	require.NoError(t, err)
	_, code, _ := strings.Cut(string(r.Site), ":")
	list, err := v.DB.SeriesList(ctx, r.Site)
	require.NoError(t, err)
	ref := ""
	for _, s := range list {
		if s.Param == coldseam.Discharge && s.Stat == coldseam.Instant && ref == "" {
			ref = s.SeriesRef // the leading one comes first
		}
	}

	body := fmt.Sprintf(`{"type":"FeatureCollection","features":[{"type":"Feature","geometry":null,"properties":{"monitoring_location_id":%q,"parameter_code":"00060","statistic_id":"00011","time_series_id":%q,"time":%q,"value":null,"unit_of_measure":"ft^3/s","approval_status":"Provisional","qualifier":["ICE"]}}]}`,
		code, ref, v.Now().Add(-2*time.Minute).UTC().Format(time.RFC3339))
	res, err := v.Feeds.Fetcher.Replay(ctx, p, []byte(body), v.Now(), 0)
	require.NoError(t, err)
	require.Equal(t, 1, res.Added)
	after, err := v.Morning.MakeBrief(ctx, r, clubtest.Saturday)
	require.NoError(t, err)
	require.Equal(t, coldseam.Stop, after.Verdict)
	said := false
	for _, x := range after.Stops {
		said = said || x.Code == "ice_qualifier"
	}
	require.True(t, said, "%v", after.Stops)
}
