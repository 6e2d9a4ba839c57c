package club_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/club"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/ingest"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// live ticks through a span of time, minute by minute to calm and in longer
// steps after it, and does the fetches that become due, as a server does; it
// returns when each feed was fetched.
func live(t *testing.T, v *clubtest.Harness, from, calm, to time.Time) map[string][]time.Time {
	t.Helper()
	out := map[string][]time.Time{}
	last := int64(0)
	step := time.Minute

	for now := from; now.Before(to); now = now.Add(step) {
		if !now.Before(calm) {
			step = 5 * time.Minute
		}
		v.Clock.Forward(now)
		require.NoError(t, v.App.Tick(t.Context(), now))
		rows, err := v.DB.Pool().Query(t.Context(),
			`SELECT id, args FROM river.river_job WHERE kind = 'fetch' AND id > $1 ORDER BY id`, last)
		require.NoError(t, err)

		var due []store.FetchArgs
		for rows.Next() {
			var raw []byte
			require.NoError(t, rows.Scan(&last, &raw))
			var a store.FetchArgs
			require.NoError(t, json.Unmarshal(raw, &a))
			due = append(due, a)
		}

		require.NoError(t, rows.Err())
		for _, a := range due {
			asked := len(v.Agency.Requests())
			require.NoError(t, v.App.FetchJob(t.Context(), a))
			require.Greater(t, len(v.Agency.Requests()), asked, "the service is asked: %v", a)
			key := feeds.Feed{Profile: a.Profile, Endpoint: a.Feed}.Key()
			out[key] = append(out[key], now)
		}
	}

	return out
}

// fetchedBy is the last of the times that is not after t.
func fetchedBy(ts []time.Time, t time.Time) time.Time {
	var out time.Time
	for _, x := range ts {
		if !x.After(t) {
			out = x
		}
	}
	return out
}

// Gauge, weather and warnings are fetched within 20 minutes before every send,
// whatever its minute, and at least every 15 minutes until the last window
// closes; far from any morning they rest.
func TestSafetyInputsAreFreshAtEverySend(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	zone := env.Zone("America/Chicago")
	sends := []string{"03:59", "04:30", "05:07", "05:16"}
	for _, at := range sends {
		v.Join(t, "m"+at[:2]+at[3:]+"@club.example.org", coldseam.Preferences{SendAt: at})
	}
	first, err := notify.SendAt(clubtest.Saturday, sends[0], zone)
	require.NoError(t, err)

	var dusk time.Time
	reaches, err := v.DB.Reaches(t.Context())
	require.NoError(t, err)
	for _, r := range reaches {
		dusk = feeds.Later(dusk, v.Mail.LastLight(r, clubtest.Saturday))
	}
	from, to := first.Add(-3*time.Hour), dusk.Add(3*time.Hour)
	seen := live(t, v, from, first.Add(2*time.Hour).Truncate(time.Hour), to)

	safety := 0

	for _, f := range feeds.Plan(v.Config) {
		if !f.Safety {
			continue
		}
		safety++
		ts := seen[f.Key()]
		require.NotEmpty(t, ts, f.Key())

		for _, at := range sends {
			send, err := notify.SendAt(clubtest.Saturday, at, zone)
			require.NoError(t, err)
			require.LessOrEqual(t, send.Sub(fetchedBy(ts, send)), ingest.SafetyLead, "%s before the send at %s",
				f.Key(), at)
			// The brief that the mail is made of reads what was fetched before it.
			brief := send.Add(-club.AfterFetch).Truncate(club.BriefActive).Add(club.AfterFetch)
			require.LessOrEqual(t, send.Sub(fetchedBy(ts, brief)), ingest.SafetyLead, "%s in the mail of %s", f.Key(),
				at)
		}

		for now := first; now.Before(dusk); now = now.Add(time.Minute) {
			require.LessOrEqual(t, now.Sub(fetchedBy(ts, now)), ingest.SafetyPoll, "%s at %s", f.Key(), now)
		}
		night := 0
		for _, x := range ts {
			if x.Before(first.Add(-time.Hour)) || x.After(dusk.Add(time.Hour)) {
				night++
			}
		}

		require.LessOrEqual(t, night, 9, "%s rests at night", f.Key()) // four hours
	}

	require.GreaterOrEqual(t, safety, 4, "gauges, two formats of them, weather, warnings")
}

// A send soon after midnight is near the evening before.
func TestSendAfterMidnightIsNear(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	v.Join(t, "late@club.example.org", coldseam.Preferences{SendAt: "00:05"})
	at, err := notify.SendAt(clubtest.Saturday, "00:05", env.Zone("America/Chicago"))
	require.NoError(t, err)
	near, err := v.App.Active(t.Context(), at.Add(-10*time.Minute))
	require.NoError(t, err)
	require.NotEmpty(t, near)
	for _, d := range near {
		require.Equal(t, clubtest.Saturday, d)
	}
	near, err = v.App.Active(t.Context(), at.Add(-30*time.Minute))
	require.NoError(t, err)
	require.Empty(t, near)
}

// A service that allows few requests is asked less often, never more than its
// budget; how old its data are the mail says from the inputs themselves.
func TestPaceKeepsTheBudget(t *testing.T) {
	t.Parallel()
	p := ingest.Profile{Name: "met", Format: ingest.FormatCovJSON, BaseURL: "https://met.example", Path: "/position",
		Query: map[string]string{"coords": "POINT({lon} {lat})"}, RatePerHour: 20}
	c := config.Config{Profiles: []ingest.Profile{p}}
	for _, code := range []string{"a", "b", "c", "d", "e", "f", "g", "h"} {
		c.Sites = append(c.Sites, config.Site{ID: "met:" + code, Provider: "met", Code: code, Lat: 45, Lon: -92})
	}
	f := feeds.Plan(c)[0]
	require.Equal(t, 30*time.Minute, f.Active, "eight requests each half-hour: 16 of 20 an hour")
	require.Equal(t, time.Hour, f.Idle)
	c.Profiles[0].RatePerHour = 1000
	require.Equal(t, ingest.SafetyPoll, feeds.Plan(c)[0].Active)
}
