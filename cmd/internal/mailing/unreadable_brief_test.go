package mailing_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/mailing"
)

// A brief that cannot be read, and one that nobody has made anew, is that river's
// fault alone: its members hear NO CALL, the others their brief.
func TestUnreadableBriefStopsNoOtherRiver(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	v.Join(t, "bend@one.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	v.Join(t, "ledge@two.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"brandt-ledge"}})
	v.Join(t, "sandbar@three.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"hallam-sandbar"}})
	_, err := v.DB.Pool().Exec(t.Context(),
		`UPDATE coldseam.brief SET body = '{"Odds": "many"}' WHERE reach_id = 'brandt-ledge'`)
	require.NoError(t, err)

	for reach, at := range map[string]time.Time{"tamsen-bend": clubtest.MorningAt(5, 25),
		"hallam-sandbar": clubtest.MorningAt(4, 54)} {
		_, err = v.DB.Pool().Exec(t.Context(),
			`UPDATE coldseam.brief SET body = jsonb_set(body, '{Issued}', to_jsonb($1::text)) WHERE reach_id = $2`,
			at.UTC().Format("2006-01-02T15:04:05Z"), reach)
		require.NoError(t, err)
	}

	n, wait, err := v.Mail.QueueMornings(t.Context(), clubtest.MorningAt(5, 30)) // patience is over
	require.NoError(t, err)
	require.Equal(t, 3, n)
	require.Equal(t, []mailing.BriefKey{{Reach: "brandt-ledge", Day: clubtest.Saturday},
		{Reach: "hallam-sandbar", Day: clubtest.Saturday}}, wait)
	verdict := func(email string) (s string) {
		require.NoError(t, v.DB.Pool().QueryRow(t.Context(), `SELECT verdict FROM coldseam.outbox JOIN coldseam.subscriber USING (subscriber_id)
			WHERE email = $1 AND kind = 'morning'`, email).Scan(&s))
		return s
	}
	require.Equal(t, "NO CALL", verdict("ledge@two.example"))
	require.Equal(t, "NO CALL", verdict("sandbar@three.example"), "STOP of 36 minutes ago")
	require.NotEqual(t, "NO CALL", verdict("bend@one.example"))
}
