//go:build !race

package main

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
)

// Tomorrow's mail can be seen today, from what is known now; later days cannot.
func TestTomorrowsMailCanBeSeen(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	r := v.ReachOf(t, "tamsen-bend")
	b, f, _, err := (&briefCmd{AsOf: clubtest.Saturday.Add(1).String()}).make(t.Context(), v.Parts, r)
	require.NoError(t, err)
	require.Equal(t, clubtest.Saturday.Add(1), b.Day)
	require.WithinDuration(t, v.Now(), f.Now, time.Hour)
	require.NotEqual(t, coldseam.NoCall, b.Verdict, "%+v", b.Reasons)
	_, _, _, err = (&briefCmd{AsOf: clubtest.Saturday.Add(2).String()}).make(t.Context(), v.Parts, r)
	require.ErrorContains(t, err, "more than a day ahead")
}

// A morning of the past is judged by the reach, the log and the gaugings of its
// time: what was changed or entered later does not count.
func TestAPastMorningKnowsNothingLater(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.New(t, nil)
	_, err := v.Feeds.FetchAll(ctx)
	require.NoError(t, err)
	old, err := v.DB.Reach(ctx, "tamsen-bend")
	require.NoError(t, err)
	v.Clock.Forward(v.Now().Add(30 * time.Hour))
	_, err = v.Feeds.FetchAll(ctx)
	require.NoError(t, err)

	for i := range v.Config.Reaches {
		if r := &v.Config.Reaches[i]; r.ID == "tamsen-bend" {
			flow := 900.0
			r.MaxFlowCFS, r.Hazards = &flow, []string{"a new strainer"}
		}
	}

	require.NoError(t, v.SyncRivers(ctx))
	held, start := true, clubtest.Saturday.Add(-1).At(7*time.Hour, env.Zone(old.Zone))
	require.NoError(t, v.App.Pages().SaveTrip(ctx, coldseam.Trip{
		Reach:        "tamsen-bend",
		Subscriber:   v.Join(t, "one@club.example.org", coldseam.Preferences{}),
		Date:         clubtest.Saturday.Add(-1),
		Start:        start,
		Hours:        3,
		Fish:         9,
		SpotID:       "seam",
		Presentation: "vertical",
		Body:         "jig",
		Line:         "braid 10",
		WeightOz:     .5,
		Held:         &held,
		Species:      "walleye",
	}))
	require.NoError(t, v.DB.SaveGaugings(ctx, []coldseam.Gauging{{
		Site:         old.Site,
		At:           v.Now().Add(-time.Hour),
		DischargeM3S: 77,
		Method:       "boat",
	}}))

	_, f, _, err := (&briefCmd{AsOf: clubtest.Saturday.String()}).make(ctx, v.Parts, v.ReachOf(t, "tamsen-bend"))
	require.NoError(t, err)
	require.False(t, f.Replayed, "the club lived through that morning")
	require.Equal(t, *old.MaxFlowM3S, *f.Reach.MaxFlowM3S)
	require.Equal(t, old.Hazards, f.Reach.Hazards)
	require.Empty(t, f.Trips)
	require.Empty(t, f.RigLogs)
	for _, g := range f.Gaugings {
		require.False(t, g.At.After(f.Now), g.At)
	}

	f, err = v.Morning.Inputs(ctx, v.ReachOf(t, "tamsen-bend"), clubtest.Saturday, v.Now(), false)
	require.NoError(t, err)
	require.NotEmpty(t, f.Trips)
	logs, err := v.DB.RigLogs(ctx, "tamsen-bend", v.Now(), v.Now())
	require.NoError(t, err)
	require.Len(t, logs, 1)
}

// A fit is a job of the service: a brief by hand takes the last one, however old,
// and says its age.
func TestBriefByHandUsesTheStoredFit(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	fits := func() int { return v.Count(t, `SELECT count(*) FROM coldseam.model`) }
	before := fits()
	brief := func() string {
		t.Helper()
		var out bytes.Buffer
		require.NoError(t, (&briefCmd{Reach: "tamsen-bend", Units: "us"}).show(t.Context(), &out, v.Parts))
		return out.String()
	}
	require.NotContains(t, brief(), "days ago")
	v.Clock.Forward(v.Now().Add(30 * 24 * time.Hour))
	require.Contains(t, brief(), "model of water temperature: fitted to values up to 2026-04-17, 31 days ago")
	require.Equal(t, before, fits())
}
