//go:build !race

package mailing_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/notify"
)

// GO is told, then a warning comes: the correction is in the sink within two
// ticks of the fetch of the warning, once, whatever the later ticks bring.
func TestCorrectionWithinTwoTicks(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	v.Join(t, "one@home.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	v.Join(t, "other@home.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"hallam-sandbar"}})
	v.Clock.Forward(clubtest.MorningAt(4, 45))
	for range 2 {
		v.RunTick(t)
		v.Clock.Forward(v.Now().Add(time.Minute))
	}

	require.Len(t, v.Messages(t)["one@home.example"], 1)
	require.Regexp(t, `^(GO|TOSS-UP) `, clubtest.Subject(t, v.Messages(t)["one@home.example"][0]))
	v.Clock.Forward(clubtest.MorningAt(5, 15)) // a slot of the warning feed
	require.NoError(t, v.DB.SaveAlerts(t.Context(), []coldseam.Alert{clubtest.Flood(simagency.ProfileAlerts, v.Now())}))
	for range 2 {
		v.RunTick(t)
		v.Clock.Forward(v.Now().Add(time.Minute))
	}

	require.Len(t, v.Messages(t)["one@home.example"], 2, "within two ticks")
	require.Regexp(t, `^STOP replaces (GO|TOSS-UP): Tamsen`, clubtest.Subject(t, v.Messages(t)["one@home.example"][1]))
	for range 4 {
		v.Clock.Forward(v.Now().Add(15 * time.Minute))
		v.RunTick(t)
	}
	require.Len(t, v.Messages(t)["one@home.example"], 2, "exactly once")
	require.Len(t, v.Messages(t)["other@home.example"], 1)
}

// The relay is away while a stop comes up: the morning mail that waited says
// STOP when it goes, and no correction follows, since nobody was told GO.
func TestWaitingMailIsLookedAtAgain(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.NewReady(t, nil)
	v.Join(t, "one@home.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	v.Clock.Forward(clubtest.MorningAt(4, 45))
	n, _, err := v.Mail.QueueMornings(ctx, v.Now())
	require.NoError(t, err)
	require.Equal(t, 1, n)
	v.Clock.Forward(clubtest.MorningAt(5, 20))

	require.NoError(t, v.DB.SaveAlerts(ctx, []coldseam.Alert{clubtest.Flood(simagency.ProfileAlerts, v.Now())}))
	_, err = v.Feeds.FetchAll(ctx)
	require.NoError(t, err)
	for range 2 {
		v.Clock.Forward(v.Now().Add(15 * time.Minute))
		_, err = v.Morning.MakeAll(ctx, clubtest.Saturday)
		require.NoError(t, err)
		v.SendAll(t)
	}

	got := v.Messages(t)["one@home.example"]
	require.Len(t, got, 1)
	require.Regexp(t, `^STOP Tamsen`, clubtest.Subject(t, got[0]))
	var payload []byte
	require.NoError(t, v.DB.Pool().QueryRow(ctx,
		`SELECT payload FROM coldseam.outbox WHERE kind = 'morning' AND goes = '{}'`).Scan(&payload))
	c, err := notify.ParseContent(payload)
	require.NoError(t, err)
	require.Equal(t, coldseam.Stop, c.Briefs[0].Verdict, "what was told is on record")
}
