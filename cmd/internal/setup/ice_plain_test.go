//go:build !race

package setup

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
)

// A member's report of ice closes the reach at the next brief; only the admin
// opens it again, for a day and never for a GO.
func TestMembersReportOfIceClosesAndTheAdminOpens(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()
	r := v.ReachOf(t, "tamsen-bend")
	brief := func() coldseam.Brief {
		b, err := v.Morning.MakeBrief(ctx, r, clubtest.Saturday)
		require.NoError(t, err)
		return b
	}
	before := brief()
	require.NotContains(t, clubtest.Codes(before.Stops), "ice_word")
	require.Equal(t, "ice_open_warm_water", before.Ice.Code)

	sub := v.Join(t, "angler@one.example", coldseam.Preferences{})
	trip := coldseam.Trip{Reach: r.ID, Subscriber: sub, Date: clubtest.Saturday.Add(-1), WentNot: true, Ice: true}
	require.NoError(t, v.App.Pages().SaveTrip(ctx, trip))
	closed := brief()
	require.Equal(t, coldseam.Stop, closed.Verdict)
	require.Contains(t, clubtest.Codes(closed.Stops), "ice_word")
	days, err := v.DB.IceDays(ctx, r.ID, clubtest.Saturday.Add(-30), clubtest.Saturday, v.Now())
	require.NoError(t, err)
	require.Len(t, days, 31, "one state a day")
	require.Equal(t, "ice", days[30].State)

	rows := v.Count(t, `SELECT count(*) FROM coldseam.ice_state`)
	v.Clock.Forward(v.Now().Add(time.Minute))
	brief()
	require.Equal(t, rows, v.Count(t, `SELECT count(*) FROM coldseam.ice_state`), "the same again writes nothing")

	var out bytes.Buffer
	cmd := reachIceCmd{State: "open", Reach: string(r.ID), Why: "walked it from dam to mouth at six"}
	require.NoError(t, cmd.say(ctx, &out, v.Parts))
	require.Contains(t, out.String(), "TOSS-UP at most")
	open := brief()
	require.NotContains(t, clubtest.Codes(open.Stops), "ice_word")
	require.NotEqual(t, coldseam.Go, open.Verdict)
	require.Equal(t, "ice_open_word", open.Ice.Code)
	words, err := v.DB.IceWords(ctx, r.ID, v.Now().Add(-72*time.Hour), v.Now())
	require.NoError(t, err)
	require.Len(t, words, 2)
	require.Equal(t, cmd.Why, words[1].Why)

	v.Clock.Forward(v.Now().Add(time.Minute))
	require.NoError(t, v.App.Pages().SaveBankWord(ctx, coldseam.BankWord{Reach: r.ID, Subscriber: sub, At: v.Now(),
		Say: "ice"}))
	require.Contains(t, clubtest.Codes(brief().Stops), "ice_word", "a member's later word closes what the admin opened")

	// A brief of the same minute does not know a danger that was said after it.
	require.NoError(t, v.TryWork(ctx))
	v.Clock.Forward(v.Now().Truncate(time.Minute).Add(time.Minute + 5*time.Second))
	brief()
	v.Clock.Forward(v.Now().Add(20 * time.Second))
	require.NoError(t, v.App.Pages().SaveBankWord(ctx, coldseam.BankWord{Reach: r.ID, Subscriber: sub, At: v.Now(),
		Say: "launch"}))
	require.NoError(t, v.TryWork(ctx))
	last, err := v.DB.Brief(ctx, r.ID, clubtest.Saturday)
	require.NoError(t, err)
	require.Contains(t, clubtest.Codes(last.Stops), "bank_launch")

	out.Reset()
	cmd = reachIceCmd{State: "closed", Reach: string(r.ID), Why: "shelf ice broke off above"}
	require.NoError(t, cmd.say(ctx, &out, v.Parts))
	require.Equal(t, coldseam.Stop, brief().Verdict)

	cmd.Reach = "nowhere"
	require.ErrorContains(t, cmd.say(ctx, &out, v.Parts), "tamsen-bend")
}
