package store_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// kills is 3 in the ordinary run; COLDSEAM_SOAK_KILLS=200 is the long one.
func kills() int {
	if n, err := strconv.Atoi(os.Getenv("COLDSEAM_SOAK_KILLS")); err == nil && n > 0 {
		return n
	}
	return 3
}

// mailbox is the other side: what it accepted, by Message-ID.
type mailbox struct {
	mu  sync.Mutex
	got map[string]int
}

func (m *mailbox) accept(id string) {
	m.mu.Lock()
	m.got[id]++
	m.mu.Unlock()
}

// Postgres is killed in the middle of the work, again and again. Afterwards
// every row that was reported stored is there with its history, no mail was
// acknowledged twice, and every mail is sent or honestly unknown.
func TestPostgresKilledInTheMiddle(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds per kill")
	}
	t.Parallel()
	durable.mu.Lock()
	s := newDurable(t) // of its own: it is killed
	durable.mu.Unlock()

	db := durableDB(t, s)
	mails := min(30*kills(), 2000)
	e := store.NewMailing{Kind: coldseam.MailMorning, MadeAt: morning, MailDomain: "club.example"}
	for i := range mails {
		sub, _, err := db.AddSubscriber(t.Context(), fmt.Sprintf("a%d@one.example", i), "", prefs)
		require.NoError(t, err)
		require.NoError(t, db.Confirm(t.Context(), sub.ID))
		e.Messages = append(e.Messages, store.NewMessage{Subscriber: sub.ID, LocalDate: day,
			Deadline: morning.Add(24 * time.Hour)})
	}

	_, _, err := db.QueueMailing(t.Context(), e)
	require.NoError(t, err)
	hold, err := store.Open(t.Context(), db.Pool().Config().ConnString(), store.Options{HoldUnknown: true})
	require.NoError(t, err)
	defer hold.Close()

	began := time.Now()
	clock := func() time.Time { return morning.Add(time.Since(began)) }
	ctx, stop := context.WithCancel(t.Context())
	var work sync.WaitGroup
	box := &mailbox{got: map[string]int{}}
	for w := range 3 {
		work.Add(1)
		go func() { defer work.Done(); sendUntil(ctx, hold, box, fmt.Sprintf("w%d", w), clock) }()
	}

	stored := make(chan int, 1)
	work.Add(1)
	go func() { defer work.Done(); stored <- storeUntil(ctx, db) }()

	rng := rand.New(rand.NewPCG(1, 2))
	var worst time.Duration
	for range kills() {
		time.Sleep(time.Duration(100+rng.IntN(400)) * time.Millisecond) // somewhere in the middle of the work
		began := time.Now()
		old := s.Pid()
		require.NoError(t, syscall.Kill(old, syscall.SIGKILL))
		require.Eventually(t, func() bool {
			return s.Pid() != old && s.Ready() == nil && db.Ping(t.Context()) == nil
		}, 40*time.Second, 10*time.Millisecond)
		worst = max(worst, time.Since(began))
	}

	require.Eventually(t, func() bool {
		n, err := db.MailCounts(t.Context(), coldseam.MailMorning, day)
		return err == nil && n[coldseam.MailSent]+n[coldseam.MailUnknown] == mails
	}, 60*time.Second, 50*time.Millisecond, "every mail is sent or unknown")
	stop()
	work.Wait()
	t.Logf("%d kills, longest until it answered again %v", kills(), worst)

	box.mu.Lock()
	defer box.mu.Unlock()
	for id, n := range box.got {
		require.Equal(t, 1, n, "%s was accepted %d times", id, n)
	}
	require.Equal(t, 0, count(t, db,
		`SELECT count(*) FROM coldseam.outbox WHERE state = 'sent' AND NOT message_id = ANY($1)`, keys(box.got)))

	// Round i stored value i over value i-1 at ten times.
	n := <-stored
	require.Positive(t, n)
	require.GreaterOrEqual(t, count(t, db, `SELECT min(value)::int FROM coldseam.observation`), n,
		"what was reported stored is there")
	last := count(t, db, `SELECT max(value)::int FROM coldseam.observation`)
	require.Equal(t, last*10, count(t, db, `SELECT count(*) FROM coldseam.observation_revision`),
		"every change has its revision")
	checkSummaries(t, t, db, flow.Site)
	require.Zero(t, count(t, db,
		`SELECT count(*) FROM pg_stat_database WHERE datname = current_database() AND checksum_failures > 0`))
}

func keys(m map[string]int) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	return out
}

// sendUntil claims, transmits and records until stopped, through every loss of
// the database.
func sendUntil(ctx context.Context, db *store.DB, box *mailbox, worker string, clock func() time.Time) {
	for round := 0; ctx.Err() == nil; round++ {
		now := clock()
		db.Sweep(ctx, now) // its failures show in the end: rows would stay open
		ls, err := db.Claim(ctx, fmt.Sprintf("%s-%d", worker, round), now, 2*time.Second, 3)
		if err != nil || len(ls) == 0 {
			time.Sleep(10 * time.Millisecond)
		}

		for _, l := range ls {
			ok, err := db.InData(ctx, l, clock(), clock().Add(3*time.Second))
			if err != nil || !ok {
				continue
			}

			box.accept(l.MessageID)
			for ctx.Err() == nil {
				err := db.Done(ctx, l, coldseam.Outcome{State: coldseam.MailSent, Code: 250}, clock())
				if err == nil || errors.Is(err, coldseam.ErrStale) {
					break
				}
				time.Sleep(10 * time.Millisecond)
			}
		}
	}
}

// storeUntil stores round after round over the same ten times and returns the
// last round that was reported stored.
func storeUntil(ctx context.Context, db *store.DB) int {
	n := -1
	for i := 0; ctx.Err() == nil; {
		var os []coldseam.Observation
		for h := range 10 {
			os = append(os, obs(float64(h), float64(i), t0.Add(time.Duration(i)*time.Second), 0))
		}
		if _, _, err := db.UpsertSeries(ctx, 0, []coldseam.Series{{SeriesKey: flow, Obs: os}}); err != nil {
			time.Sleep(10 * time.Millisecond)
			continue
		}
		n = i
		i++
	}
	return n
}
