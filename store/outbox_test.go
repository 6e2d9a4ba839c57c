package store_test

import (
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

var (
	morning = time.Date(2026, 3, 20, 10, 0, 0, 0, time.UTC) // 05:00 in Chicago
	day     = coldseam.Date{Year: 2026, Month: 3, Day: 20}
	prefs   = coldseam.Preferences{Zone: "America/Chicago", SendAt: "04:45", Reaches: []coldseam.ReachID{"bend"}}
)

func subscriber(t testing.TB, db *store.DB, email string) coldseam.Subscriber {
	t.Helper()
	s, _, err := db.AddSubscriber(t.Context(), email, "Ada", prefs)
	require.NoError(t, err)
	require.NoError(t, db.Confirm(t.Context(), s.ID))
	s, err = db.Subscriber(t.Context(), s.ID)
	require.NoError(t, err)
	return s
}

func queue(t testing.TB, db *store.DB, kind coldseam.MailKind, at time.Time, subs ...coldseam.Subscriber) int {
	t.Helper()
	e := store.NewMailing{Kind: kind, MadeAt: at, MailDomain: "club.example"}
	for _, s := range subs {
		e.Messages = append(e.Messages, store.NewMessage{
			Subscriber: s.ID,
			LocalDate:  day,
			Deadline:   at.Add(5 * time.Hour),
			Payload:    []byte(`{"a":1}`),
		})
	}
	_, n, err := db.QueueMailing(t.Context(), e)
	require.NoError(t, err)
	return n
}

func TestMorningGoesOutOnce(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	ada, bo := subscriber(t, db, "ada@one.example"), subscriber(t, db, "bo@two.example")

	due, err := db.Due(ctx, morning)
	require.NoError(t, err)
	require.Len(t, due, 2)
	require.Equal(t, day, due[0].LocalDate)
	require.Equal(t, time.Date(2026, 3, 20, 15, 0, 0, 0, time.UTC), due[0].Deadline, "10:00 local")

	require.Equal(t, 2, queue(t, db, coldseam.MailMorning, morning, ada, bo))
	require.Zero(t, queue(t, db, coldseam.MailMorning, morning.Add(time.Minute), ada, bo),
		"a second run queues nothing")
	due, err = db.Due(ctx, morning.Add(time.Minute))
	require.NoError(t, err)
	require.Empty(t, due)
	require.Equal(t, 2, count(t, db, `SELECT count(*) FROM river.river_job WHERE kind = 'mail'`), "one job per domain")
	require.Equal(t, 1, count(t, db, `SELECT count(*) FROM coldseam.edition`), "an edition without rows is not kept")

	ls, err := db.Claim(ctx, "w1", morning, time.Minute, 10)
	require.NoError(t, err)
	require.Len(t, ls, 2)
	require.Equal(t, "ada@one.example", ls[0].Subscriber.Email)
	require.Equal(t, "one.example", ls[0].Domain)
	require.Equal(t, fmt.Sprintf("<20260320.%d.%d@club.example>", ada.ID, ls[0].Mailing), ls[0].MessageID)
	require.Equal(t, morning, ls[0].CreatedAt)
	require.JSONEq(t, `{"a":1}`, string(ls[0].Payload))
	again, err := db.Claim(ctx, "w2", morning, time.Minute, 10)
	require.NoError(t, err)
	require.Empty(t, again)

	ok, err := db.InData(ctx, ls[0], morning, morning.Add(20*time.Minute))
	require.NoError(t, err)
	require.True(t, ok)
	require.NoError(t, db.Done(ctx, ls[0], coldseam.Outcome{
		State: coldseam.MailSent,
		Stage: "sent",
		Code:  250,
		Reply: "2.0.0 ok",
	}, morning))
	require.ErrorIs(t, db.Done(ctx, ls[0], coldseam.Outcome{State: coldseam.MailFailed}, morning), coldseam.ErrStale,
		"a recorded outcome stands")

	// The other leaves between claim and transmission.
	require.NoError(t, db.Unsubscribe(ctx, bo.ID))
	ok, err = db.InData(ctx, ls[1], morning, morning.Add(20*time.Minute))
	require.NoError(t, err)
	require.False(t, ok)
	sw, err := db.Sweep(ctx, morning.Add(2*time.Minute))
	require.NoError(t, err)
	require.Equal(t, store.Swept{Returned: 1}, sw)
	rest, err := db.Claim(ctx, "w1", morning.Add(2*time.Minute), time.Minute, 10)
	require.NoError(t, err)
	require.Empty(t, rest)
	n, err := db.MailCounts(ctx, coldseam.MailMorning, day)
	require.NoError(t, err)
	require.Equal(t, map[coldseam.MailState]int{coldseam.MailSent: 1, coldseam.MailSkipped: 1}, n)
}

func count(t testing.TB, db *store.DB, sql string, args ...any) int {
	t.Helper()
	var n int
	require.NoError(t, db.Pool().QueryRow(t.Context(), sql, args...).Scan(&n))
	return n
}

func TestDoneGuardsAndFollowUps(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	ada := subscriber(t, db, "ada@one.example")
	queue(t, db, coldseam.MailMorning, morning, ada)
	claim := func(at time.Time) coldseam.OutboxMessage {
		ls, err := db.Claim(ctx, "w", at, time.Minute, 1)
		require.NoError(t, err)
		require.Len(t, ls, 1)
		return ls[0]
	}
	l := claim(morning)
	require.NoError(t, db.Done(ctx, l, coldseam.Outcome{State: coldseam.MailDeferred, Stage: "rcpt", Code: 451},
		morning))

	none, err := db.Claim(ctx, "w", morning.Add(30*time.Second), time.Minute, 1)
	require.NoError(t, err)
	require.Empty(t, none, "the wait is a minute, less 20 % at most")
	l2 := claim(morning.Add(90 * time.Second))
	require.Equal(t, 2, l2.Attempt)
	require.Equal(t, l.MessageID, l2.MessageID)
	require.ErrorIs(t, db.Done(ctx, l, coldseam.Outcome{State: coldseam.MailSent}, morning), coldseam.ErrStale,
		"an old attempt cannot speak for the new one")

	// No answer after the dot: unknown, a late answer still counts.
	at := morning.Add(2 * time.Minute)
	ok, err := db.InData(ctx, l2, at, at.Add(10*time.Minute))
	require.NoError(t, err)
	require.True(t, ok)
	sw, err := db.Sweep(ctx, at.Add(10*time.Minute))
	require.NoError(t, err)
	require.Equal(t, store.Swept{Unknown: 1}, sw)
	require.NoError(t, db.Done(ctx, l2, coldseam.Outcome{State: coldseam.MailSent, Code: 250},
		at.Add(10*time.Minute+time.Second)))
	sw, err = db.Sweep(ctx, at.Add(20*time.Minute))
	require.NoError(t, err)
	require.Zero(t, sw)
}

// The lease of a row in transmission is lengthened as long as its worker lives,
// also while sending is held; when the worker is gone the row is another's
// within two minutes of its last sign of life.
func TestLeaseOfARowInTransmission(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	queue(t, db, coldseam.MailMorning, morning, subscriber(t, db, "ada@one.example"))
	ls, err := db.Claim(ctx, "w", morning, time.Minute, 1)
	require.NoError(t, err)

	now := morning
	for range 60 { // ten minutes of a slow reply
		ok, err := db.InData(ctx, ls[0], now, now.Add(40*time.Second))
		require.NoError(t, err)
		require.True(t, ok)
		if now.Sub(morning) == 2*time.Minute {
			require.NoError(t, db.Hold(ctx, store.Edit{Who: "admin", Why: "a try"}))
		}
		now = now.Add(10 * time.Second)
		s, err := db.Sweep(ctx, now)
		require.NoError(t, err)
		require.Zero(t, s)
	}

	require.NoError(t, db.Release(ctx, store.Edit{Who: "admin", Why: "tried"}))
	died := now.Add(-10 * time.Second)
	for { // ticks, at the worst place between lease and minute
		now = now.Add(59 * time.Second)
		_, err := db.Sweep(ctx, now)
		require.NoError(t, err)
		again, err := db.Claim(ctx, "w2", now, time.Minute, 1)
		require.NoError(t, err)
		require.LessOrEqual(t, now.Sub(died), 2*time.Minute+10*time.Second)
		if len(again) == 1 {
			break
		}
	}

	require.LessOrEqual(t, now.Sub(died), 2*time.Minute)
	ok, err := db.InData(ctx, ls[0], now, now.Add(time.Minute))
	require.NoError(t, err)
	require.False(t, ok, "a worker that comes back lengthens nothing")
	require.ErrorIs(t, db.Done(ctx, ls[0], coldseam.Outcome{State: coldseam.MailSent, Code: 250}, now),
		coldseam.ErrStale)
}

func TestUnknownPolicies(t *testing.T) {
	t.Parallel()

	for _, hold := range []bool{false, true} {
		t.Run(fmt.Sprintf("hold=%v", hold), func(t *testing.T) {
			t.Parallel()
			db := storetest.NewWith(t, store.Options{HoldUnknown: hold})
			ctx := t.Context()
			queue(t, db, coldseam.MailMorning, morning, subscriber(t, db, "ada@one.example"))
			ls, err := db.Claim(ctx, "w", morning, time.Minute, 1)
			require.NoError(t, err)
			_, err = db.InData(ctx, ls[0], morning, morning.Add(time.Minute))
			require.NoError(t, err)

			_, err = db.Sweep(ctx, morning.Add(2*time.Minute))
			require.NoError(t, err)
			_, err = db.Sweep(ctx, morning.Add(4*time.Minute))
			require.NoError(t, err)
			again, err := db.Claim(ctx, "w2", morning.Add(4*time.Minute), time.Minute, 1)
			require.NoError(t, err)
			if hold {
				require.Empty(t, again)
				return
			}

			require.Len(t, again, 1)
			require.Equal(t, ls[0].MessageID, again[0].MessageID)
			_, err = db.Sweep(ctx, morning.Add(6*time.Hour))
			require.NoError(t, err)
			_, err = db.Sweep(ctx, morning.Add(6*time.Hour))
			require.NoError(t, err)
			require.Equal(t, 1, count(t, db, `SELECT count(*) FROM coldseam.outbox WHERE state = 'expired'`))
		})
	}
}

// Neither a relay that is away for hours nor a server that dies over and over
// uses a mail up: the deadline alone ends it. A relay that loses the reply to
// one mail again and again gets it 12 times.
func TestNoNumberOfAttemptsLosesAMail(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name  string
		fault func(t *testing.T, db *store.DB, l coldseam.OutboxMessage, now time.Time)
		tries int
		ends  bool
	}{
		{name: "relay away", tries: 40, fault: func(t *testing.T, db *store.DB, l coldseam.OutboxMessage, now time.Time) {
			require.NoError(t, db.Done(t.Context(), l, coldseam.Outcome{State: coldseam.MailDeferred, Stage: "dial",
				NextAt: now.Add(time.Minute)}, now))
		}},
		{name: "server dies with the claim", tries: 40, fault: func(*testing.T, *store.DB, coldseam.OutboxMessage,
			time.Time) {
		}},
		{name: "server dies in transmission", tries: 40, fault: func(t *testing.T, db *store.DB, l coldseam.OutboxMessage,
			now time.Time) {
			ok, err := db.InData(t.Context(), l, now, now.Add(40*time.Second))
			require.NoError(t, err)
			require.True(t, ok)
		}},
		{
			name:  "reply lost",
			tries: 12,
			ends:  true,
			fault: func(t *testing.T, db *store.DB, l coldseam.OutboxMessage, now time.Time) {
				ok, err := db.InData(t.Context(), l, now, now.Add(40*time.Second))
				require.NoError(t, err)
				require.True(t, ok)
				require.NoError(t, db.Done(t.Context(), l, coldseam.Outcome{State: coldseam.MailUnknown, Stage: "dot"},
					now))
			},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			db := storetest.New(t)
			queue(t, db, coldseam.MailMorning, morning, subscriber(t, db, "ada@one.example"))
			now := morning
			for i := range c.tries {
				ls, err := db.Claim(t.Context(), fmt.Sprintf("w%d", i), now, 50*time.Second, 1)
				require.NoError(t, err)
				require.Len(t, ls, 1, "try %d", i+1)
				c.fault(t, db, ls[0], now)
				now = now.Add(2 * time.Minute)
				for range 2 {
					_, err = db.Sweep(t.Context(), now)
					require.NoError(t, err)
				}
			}

			ls, err := db.Claim(t.Context(), "last", now, 50*time.Second, 1)
			require.NoError(t, err)
			if c.ends {
				require.Empty(t, ls)
				require.Equal(t, 1, count(t, db, `SELECT count(*) FROM coldseam.outbox WHERE state = 'unknown'`))
				return
			}
			require.Len(t, ls, 1)
		})
	}
}

func TestSuppressBreakerHoldAndOrder(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	ada, bo := subscriber(t, db, "ada@one.example"), subscriber(t, db, "bo@two.example")
	queue(t, db, coldseam.MailMorning, morning, ada, bo)
	queue(t, db, coldseam.MailCorrection, morning, bo)
	ls, err := db.Claim(ctx, "w", morning, time.Minute, 1)
	require.NoError(t, err)
	require.Equal(t, coldseam.MailCorrection, ls[0].Kind, "corrections go first")
	require.Regexp(t, `^<20260320\.\d+\.\d+@club\.example>$`, ls[0].InReplyTo)

	require.NoError(t, db.Hold(ctx, store.Edit{Who: "admin", Why: "test"}))
	ok, err := db.InData(ctx, ls[0], morning, morning.Add(time.Minute))
	require.NoError(t, err)
	require.False(t, ok, "held between claim and transmission")
	none, err := db.Claim(ctx, "w", morning, time.Minute, 10)
	require.NoError(t, err)
	require.Empty(t, none)
	held, _, e, err := db.Held(ctx)
	require.NoError(t, err)
	require.True(t, held)
	require.Equal(t, "admin", e.Who)
	require.NoError(t, db.Release(ctx, store.Edit{Who: "admin", Why: "done"}))

	ls, err = db.Claim(ctx, "w", morning, time.Minute, 1)
	require.NoError(t, err)
	require.NoError(t, db.Done(ctx, ls[0], coldseam.Outcome{
		State:    coldseam.MailFailed,
		Code:     550,
		Esc:      "5.1.1",
		Suppress: "5.1.1 no such user",
	}, morning))
	s, err := db.Subscriber(ctx, ls[0].Subscriber.ID)
	require.NoError(t, err)
	require.Equal(t, store.SubSuppressed, s.State)

	ls, err = db.Claim(ctx, "w", morning, time.Minute, 1)
	require.NoError(t, err)
	require.Len(t, ls, 1)
	require.NoError(t, db.Done(ctx, ls[0], coldseam.Outcome{
		State:   coldseam.MailDeferred,
		Code:    550,
		Esc:     "5.7.1",
		Breaker: true,
		Reply:   "blocked",
	}, morning))
	none, err = db.Claim(ctx, "w", morning.Add(time.Hour), time.Minute, 1)
	require.NoError(t, err)
	require.Empty(t, none, "the edition is stopped")
	tr, err := db.MailTroubles(ctx, day)
	require.NoError(t, err)
	require.NotEmpty(t, tr)
}

func TestPace(t *testing.T) {
	t.Parallel()
	db := storetest.NewWith(t, store.Options{DomainRate: 1, TotalRate: 5})
	ctx := t.Context()
	var subs []coldseam.Subscriber
	for i := range 40 {
		subs = append(subs, subscriber(t, db, fmt.Sprintf("a%d@one.example", i)))
	}
	queue(t, db, coldseam.MailMorning, morning, subs...)

	sent := 0
	for s := 0; s <= 20; s++ {
		at := morning.Add(time.Duration(s) * time.Second)
		ls, err := db.Claim(ctx, "w", at, time.Minute, 50)
		require.NoError(t, err)
		for _, l := range ls {
			sent++
			require.NoError(t, db.Done(ctx, l, coldseam.Outcome{State: coldseam.MailSent}, at))
		}
		require.LessOrEqual(t, sent, s+10, "never more than a claim ahead of a mail a second")
	}
	require.GreaterOrEqual(t, sent, 20)

	// A worker told to come back at the right time need not guess.
	at := morning.Add(20*time.Second + 500*time.Millisecond)
	next, err := db.Paced(ctx, at)
	require.NoError(t, err)
	require.True(t, next.After(at) && next.Before(at.Add(11*time.Second)), next)
	require.NoError(t, db.Hold(ctx, chief))
	next, err = db.Paced(ctx, at)
	require.NoError(t, err)
	require.Zero(t, next, "held, not paced")

	free := storetest.New(t)
	a := subscriber(t, free, "a@slow.example")
	b := subscriber(t, free, "b@slow.example")
	queue(t, free, coldseam.MailMorning, morning, a, b)
	ls, err := free.Claim(ctx, "w", morning, time.Minute, 50)
	require.NoError(t, err)
	require.Len(t, ls, 2, "no rate, no bound")
	require.NoError(t, free.Done(ctx, ls[0], coldseam.Outcome{State: coldseam.MailDeferred, Code: 421, Esc: "4.3.2"},
		morning))
	require.Equal(t, 1, count(t, free,
		`SELECT count(*) FROM coldseam.pace WHERE domain = 'slow.example' AND rate_hz = 0.5`))
}

// The state machine under any order of claims, crashes, late answers, sweeps
// and time: at most one acknowledged send, and no row in a state without end.
func TestOutboxNeverSendsTwiceAcknowledged(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	round := 0

	rapid.Check(t, func(rt *rapid.T) {
		round++
		_, err := db.Pool().Exec(ctx,
			`DELETE FROM coldseam.outbox; DELETE FROM coldseam.edition; DELETE FROM coldseam.subscriber; DELETE FROM coldseam.pace`)
		require.NoError(rt, err)
		s, _, err := db.AddSubscriber(ctx, "ada@one.example", "", prefs)
		require.NoError(rt, err)
		require.NoError(rt, db.Confirm(ctx, s.ID))
		_, _, err = db.QueueMailing(ctx, store.NewMailing{
			Kind:       coldseam.MailMorning,
			MadeAt:     morning,
			MailDomain: "club.example",
			Messages:   []store.NewMessage{{Subscriber: s.ID, LocalDate: day, Deadline: morning.Add(4 * time.Hour)}},
		})
		require.NoError(rt, err)
		now := morning
		var open []coldseam.OutboxMessage
		acked := 0

		for range rapid.IntRange(1, 25).Draw(rt, "steps") {
			switch rapid.SampledFrom([]string{"claim", "data", "done", "sweep", "time"}).Draw(rt, "step") {
			case "claim":
				ls, err := db.Claim(ctx, fmt.Sprintf("w%d", len(open)), now, time.Minute, 5)
				require.NoError(rt, err)
				open = append(open, ls...)
			case "data":
				if len(open) > 0 {
					_, err := db.InData(ctx, rapid.SampledFrom(open).Draw(rt, "l"), now, now.Add(11*time.Minute))
					require.NoError(rt, err)
				}
			case "done":
				if len(open) > 0 {
					st := rapid.SampledFrom([]coldseam.MailState{coldseam.MailSent, coldseam.MailDeferred,
						coldseam.MailUnknown}).Draw(rt, "outcome")
					err := db.Done(ctx, rapid.SampledFrom(open).Draw(rt, "l"), coldseam.Outcome{State: st}, now)
					if err == nil && st == coldseam.MailSent {
						acked++
					} else if err != nil {
						require.ErrorIs(rt, err, coldseam.ErrStale)
					}
				}
			case "sweep":
				_, err := db.Sweep(ctx, now)
				require.NoError(rt, err)
			case "time":
				now = now.Add(time.Duration(rapid.IntRange(1, 900).Draw(rt, "s")) * time.Second)
			}

			require.LessOrEqual(rt, acked, 1)
		}

		now = morning.Add(24 * time.Hour)
		for range 3 {
			_, err := db.Sweep(ctx, now)
			require.NoError(rt, err)
		}
		require.Equal(rt, 1, count(t, db,
			`SELECT count(*) FROM coldseam.outbox WHERE state IN ('sent', 'expired', 'unknown', 'failed')`))
		if acked == 1 {
			require.Equal(rt, 1, count(t, db, `SELECT count(*) FROM coldseam.outbox WHERE state = 'sent'`))
		}
	})
}

// One morning mail per subscriber and local date whatever the clocks do.
func TestDueOverClockChanges(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	zones := []struct{ zone, sendAt string }{
		{"America/Chicago", "02:30"}, {"America/Chicago", "01:30"}, {"Asia/Beirut", "00:15"},
		{"Australia/Lord_Howe", "02:10"},
		{"Asia/Kathmandu", "04:45"}, {"America/St_Johns", "00:05"}, {"Pacific/Apia", "04:45"},
		{"Europe/Berlin", "02:00"},
		{"Africa/Casablanca", "02:30"}, {"America/Santiago", "00:00"},
	}
	for i, z := range zones {
		s, _, err := db.AddSubscriber(ctx, fmt.Sprintf("z%d@one.example", i), "",
			coldseam.Preferences{Zone: z.zone, SendAt: z.sendAt})
		require.NoError(t, err)
		require.NoError(t, db.Confirm(ctx, s.ID))
	}

	// The days around every change of 2026 at a quarter of an hour.
	spans := [][2]time.Time{
		{time.Date(2026, 3, 6, 0, 0, 0, 0, time.UTC), time.Date(2026, 3, 11, 0, 0, 0, 0, time.UTC)},
		{time.Date(2026, 3, 27, 0, 0, 0, 0, time.UTC), time.Date(2026, 4, 7, 0, 0, 0, 0, time.UTC)},
		{time.Date(2026, 10, 2, 0, 0, 0, 0, time.UTC), time.Date(2026, 10, 6, 0, 0, 0, 0, time.UTC)},
		{time.Date(2026, 10, 23, 0, 0, 0, 0, time.UTC), time.Date(2026, 11, 3, 0, 0, 0, 0, time.UTC)},
	}
	if os.Getenv("COLDSEAM_SOAK") != "" { // three years, quarter by quarter
		spans = [][2]time.Time{{time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC),
			time.Date(2029, 1, 1, 0, 0, 0, 0, time.UTC)}}
	}
	got := map[string]int{}

	for _, sp := range spans {
		for now := sp[0]; now.Before(sp[1]); now = now.Add(15 * time.Minute) {
			due, err := db.Due(ctx, now)
			require.NoError(t, err)
			e := store.NewMailing{Kind: coldseam.MailMorning, MadeAt: now, MailDomain: "club.example"}
			for _, d := range due {
				got[fmt.Sprintf("%s %s %s", d.Prefs.Zone, d.Prefs.SendAt, d.LocalDate)]++
				require.True(t, d.Deadline.After(now))
				loc, err := time.LoadLocation(d.Prefs.Zone)
				require.NoError(t, err)
				require.Equal(t, coldseam.DateOf(now.In(loc)), d.LocalDate)
				e.Messages = append(e.Messages, store.NewMessage{Subscriber: d.ID, LocalDate: d.LocalDate,
					Deadline: d.Deadline})
			}

			_, _, err = db.QueueMailing(ctx, e)
			require.NoError(t, err)
		}
	}

	for _, sp := range spans {
		for _, z := range zones {
			loc, err := time.LoadLocation(z.zone)
			require.NoError(t, err)
			first, last := coldseam.DateOf(sp[0].In(loc)).Add(1), coldseam.DateOf(sp[1].In(loc)).Add(-1)
			for d := first; d.Before(last); d = d.Add(1) {
				require.Equal(t, 1, got[fmt.Sprintf("%s %s %s", z.zone, z.sendAt, d)], "%s %s %s", z.zone, z.sendAt, d)
			}
		}
	}
}

func TestQueueEditionIsAllOrNothing(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ada := subscriber(t, db, "ada@one.example")
	_, err := db.Pool().Exec(t.Context(), `ALTER TABLE river.river_job ADD CONSTRAINT broken CHECK (kind <> 'mail')`)
	require.NoError(t, err)
	_, _, err = db.QueueMailing(t.Context(), store.NewMailing{
		Kind:       coldseam.MailMorning,
		MadeAt:     morning,
		MailDomain: "club.example",
		Messages:   []store.NewMessage{{Subscriber: ada.ID, LocalDate: day}},
	})
	require.Error(t, err)
	require.Zero(t, count(t, db, `SELECT count(*) FROM coldseam.outbox`))
	require.Zero(t, count(t, db, `SELECT count(*) FROM coldseam.edition`))
	for _, bad := range []string{"", "a b", "x\r\nBcc: y"} {
		_, _, err = db.QueueMailing(t.Context(), store.NewMailing{Kind: coldseam.MailMorning, MadeAt: morning,
			MailDomain: bad})
		require.ErrorIs(t, err, coldseam.ErrInvalid)
	}
}

// TestInDataNeedsALiveClaim: a worker whose lease ran out, or whose mail is past
// its deadline, sends no text, also before any sweep has seen it.
func TestInDataNeedsALiveClaim(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	queue(t, db, coldseam.MailMorning, morning, subscriber(t, db, "ada@one.example")) // until 5 h later

	for _, c := range []struct {
		name  string
		lease time.Duration
		at    time.Duration
		want  bool
	}{
		{"lease over", time.Minute, time.Minute, false},
		{"deadline passed", 6 * time.Hour, 5 * time.Hour, false},
		{"both to come", 6 * time.Hour, 5*time.Hour - time.Second, true},
	} {
		_, err := db.Pool().Exec(ctx, `UPDATE coldseam.outbox SET state = 'pending', worker = '', lease_until = NULL`)
		require.NoError(t, err)
		ls, err := db.Claim(ctx, "w", morning, c.lease, 1)
		require.NoError(t, err)
		require.Len(t, ls, 1)
		ok, err := db.InData(ctx, ls[0], morning.Add(c.at), morning.Add(c.at+time.Minute))
		require.NoError(t, err)
		require.Equal(t, c.want, ok, c.name)
	}
}

// TestMorningDeadlineIsCapped: a mail may go until the member's window begins, at
// ten at the latest, and always for half an hour after its send time.
func TestMorningDeadlineIsCapped(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	want := map[string]string{}
	for email, c := range map[string]struct{ from, to, send, until string }{
		"early@one.example": {"06:00", "09:00", "04:45", "06:00"},
		"late@one.example":  {"14:00", "18:00", "04:45", "10:00"},
		"short@one.example": {"05:00", "09:00", "04:45", "05:15"},
	} {
		p := prefs
		p.WindowFrom, p.WindowTo, p.SendAt = c.from, c.to, c.send
		s, _, err := db.AddSubscriber(t.Context(), email, "Ada", p)
		require.NoError(t, err)
		require.NoError(t, db.Confirm(t.Context(), s.ID))
		want[email] = c.until
	}

	due, err := db.Due(t.Context(), morning)
	require.NoError(t, err)
	got := map[string]string{}
	zone, err := time.LoadLocation(prefs.Zone)
	require.NoError(t, err)
	for _, d := range due {
		got[d.Email] = d.Deadline.In(zone).Format("15:04")
	}
	require.Equal(t, want, got)
}
