//go:build !race

package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/ingest/simagency"
)

// A stop that fires after the mail is out reaches everyone who was told GO or
// TOSS-UP, once.
func TestStopAfterTheMailIsCorrected(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.NewReady(t, nil)
	v.Join(t, "one@club.example.org", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	v.Join(t, "not@club.example.org", coldseam.Preferences{Reaches: []coldseam.ReachID{"hallam-sandbar"}})
	v.Send(t, "04:45")
	require.Equal(t, 2, v.Sink.Count())

	v.Clock.Forward(v.Now().Add(40 * time.Minute))
	now := v.Now()
	require.NoError(t, v.DB.SaveAlerts(ctx, []coldseam.Alert{{
		Provider:   simagency.ProfileAlerts,
		Sender:     "northgauge",
		Identifier: "planted",
		Sent:       now.Add(-time.Minute),
		Status:     "Actual",
		MsgType:    "Alert",
		Event:      "Flood Warning %! NaN",
		Severity:   "Severe",
		Urgency:    "Immediate",
		Certainty:  "Observed",
		From:       now.Add(-time.Minute),
		End:        now.Add(24 * time.Hour),
		GaugeCodes: []string{"TAMX1"},
		KnownAt:    now.Add(-time.Second),
	}}))
	_, err := v.Feeds.FetchAll(ctx)
	require.NoError(t, err)

	for range 3 { // later issues repeat the stop; the mail does not
		v.Clock.Forward(v.Now().Add(15 * time.Minute))
		_, err = v.Morning.MakeAll(ctx, clubtest.Saturday)
		require.NoError(t, err)
		_, err = v.Mail.Sender("test").Run(ctx, 100)
		require.NoError(t, err)
	}

	got := v.Messages(t)
	require.Len(t, got["one@club.example.org"], 2)
	require.Len(t, got["not@club.example.org"], 1)
	first, second := got["one@club.example.org"][0], got["one@club.example.org"][1]
	require.Regexp(t, `^STOP replaces (GO|TOSS-UP): Tamsen`, clubtest.Subject(t, second))
	require.Equal(t, first.Header.Get("Message-Id"), second.Header.Get("In-Reply-To"))
	require.NotRegexp(t, `\bin 10\b`, clubtest.Text(t, second))

	// Page and calendar show the same word.
	board, err := v.Mail.Board(ctx)
	require.NoError(t, err)
	for _, b := range board {
		if b.Reach == "tamsen-bend" {
			require.Equal(t, coldseam.Stop, b.Verdict)
		}
	}
}
