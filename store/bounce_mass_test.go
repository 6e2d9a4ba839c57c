package store_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

// club enters n members with a morning mail each.
func club(t *testing.T, db *store.DB, n int) (subs []coldseam.Subscriber) {
	t.Helper()
	for i := range n {
		subs = append(subs, subscriber(t, db, fmt.Sprintf("a%d@one.example", i)))
	}
	return subs
}

func gone(stage string) coldseam.Outcome {
	return coldseam.Outcome{
		State:    coldseam.MailFailed,
		Stage:    stage,
		Code:     550,
		Esc:      "5.1.1",
		Suppress: "550 5.1.1 no such user",
	}
}

// A relay that refuses every member, at RCPT or after the dot, in one mailing or
// in one a minute, is not believed: sending stops, nobody leaves the list, and
// after the release every mail goes out.
func TestNobodyIsSuppressedTogether(t *testing.T) {
	t.Parallel()

	for _, n := range []int{2, 3, 10, 60} {
		for _, stage := range []string{"rcpt", "dot"} {
			t.Run(fmt.Sprint(n, " ", stage), func(t *testing.T) {
				t.Parallel()
				db := storetest.New(t)
				ctx := t.Context()
				at := morning
				subs := club(t, db, n)
				for _, part := range [][]coldseam.Subscriber{subs[:n/2], subs[n/2:]} {
					queue(t, db, coldseam.MailMorning, at, part...)
					ls, err := db.Claim(ctx, "w", at, time.Minute, 100)
					require.NoError(t, err)
					for _, l := range ls {
						require.NoError(t, db.Done(ctx, l, gone(stage), at))
					}
					at = at.Add(time.Minute)
				}

				require.Zero(t, count(t, db, `SELECT count(*) FROM coldseam.subscriber WHERE state <> 'confirmed'`))
				on, e, err := db.Switch(ctx, store.MassRefusal)
				require.NoError(t, err)
				require.True(t, on)
				require.Contains(t, e.Why, "no such user")
				require.NoError(t, db.Release(ctx, chief))
				ls, err := db.Claim(ctx, "w", at.Add(3*time.Minute), time.Minute, 100)
				require.NoError(t, err)
				require.Len(t, ls, n, "every mail waits")
			})
		}
	}
}

// Reports that come back are as little believed as replies.
func TestReportsAboutEverybody(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	for _, s := range club(t, db, 58) {
		_, err := db.RecordBounce(t.Context(), s.ID, store.Bounce{
			At:      morning,
			MailDay: day,
			Code:    550,
			Esc:     "5.1.1",
			Text:    "no such user",
		})
		require.NoError(t, err)
	}
	require.Equal(t, 58, count(t, db, `SELECT count(*) FROM coldseam.subscriber WHERE state = 'confirmed'`))
}

// A dead address or two among many are what they seem, and strangers' false
// addresses stop nobody's mail.
func TestAFewAreSuppressed(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	subs := club(t, db, 20)
	queue(t, db, coldseam.MailMorning, morning, subs[:3]...)
	var strangers []coldseam.Subscriber
	for i := range 10 {
		s, _, err := db.AddSubscriber(ctx, fmt.Sprintf("s%d@two.example", i), "", prefs)
		require.NoError(t, err)
		strangers = append(strangers, s)
	}

	queue(t, db, coldseam.MailConfirm, morning, strangers...)
	ls, err := db.Claim(ctx, "w", morning, time.Minute, 100)
	require.NoError(t, err)
	require.Len(t, ls, 13)
	for _, l := range ls {
		require.NoError(t, db.Done(ctx, l, gone("rcpt"), morning))
	}
	require.Equal(t, 13, count(t, db, `SELECT count(*) FROM coldseam.subscriber WHERE state = 'suppressed'`))
}

// Who left and is entered by a stranger is not a member, whatever happens next.
func TestWhoLeftIsNotPutBackAsMember(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()

	for name, back := range map[string]func(id int64) error{
		"one": func(id int64) error { return db.Unsuppress(ctx, id) },
		"all": func(int64) error { _, err := db.UnsuppressSince(ctx, t0); return err },
	} {
		s := subscriber(t, db, name+"@one.example")
		require.NoError(t, db.Unsubscribe(ctx, s.ID))
		_, known, err := db.AddSubscriber(ctx, s.Email, "", prefs)
		require.NoError(t, err)
		require.True(t, known)
		require.NoError(t, db.Suppress(ctx, s.ID, "5.1.1 gone"))
		require.NoError(t, back(s.ID))
		s, err = db.Subscriber(ctx, s.ID)
		require.NoError(t, err)
		require.Equal(t, store.SubPending, s.State, name)
	}
}

// An address that few relays can reach, or that looks like another, is refused
// when it is entered and not each morning.
func TestAddressesThatWouldFailAreRefused(t *testing.T) {
	t.Parallel()
	for _, s := range []string{"j\u00f6rg@one.example", "\u0430nn@one.example", "ann@\u043ene.example",
		"ann@b\u00fccher.example", "ann\u200b@one.example", "ann@one"} {
		require.ErrorIs(t, store.CheckEmail(s), coldseam.ErrInvalid, "%q", s)
	}
	for _, s := range []string{"ann@one.example", "o'brien+river@one.example", "ann@xn--bcher-kva.example"} {
		require.NoError(t, store.CheckEmail(s), s)
	}
}
