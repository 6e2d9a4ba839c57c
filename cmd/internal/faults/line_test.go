package faults

import (
	"fmt"
	"math/rand/v2"
	"net"
	"net/url"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
)

// farRun is a morning of a server whose database and relay are far away: every
// piece takes half the round trip, and of those that are lost each comes when
// it was sent again.
type farRun struct {
	readers int
	trip    time.Duration // there and back
	loss    float64       // share of pieces lost
	again   time.Duration // until a lost piece is sent again
	seed    uint64
	limit   time.Duration
	retried int // mails that may take a second try
}

// delay draws the way of one piece; pipes draw at the same time.
func (x farRun) delay() func() time.Duration {
	var mu sync.Mutex
	rng := rand.New(rand.NewPCG(x.seed, 3))
	return func() time.Duration {
		mu.Lock()
		defer mu.Unlock()
		d := x.trip / 2
		if rng.Float64() < x.loss {
			d += x.again
		}
		return d
	}
}

func (x farRun) run(t *testing.T) {
	dbURL := clubtest.Ready.URL(t)
	v := clubtest.NewOn(t, dbURL, nil)
	for i := range x.readers {
		v.Join(t, fmt.Sprintf("angler%d@home%d.example", i, i%5),
			coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	}
	at, err := url.Parse(v.Config.Profiles[0].BaseURL)
	require.NoError(t, err)

	database := newSlowPipe(t, dialerOf(t, dbURL), x.delay())
	relay := newSlowPipe(t, func() (net.Conn, error) { return net.Dial("tcp", v.Sink.Addr()) }, x.delay())
	clock := swiftClock{base: clubtest.MorningAt(4, 45), origin: time.Now(), speed: 1}
	s := startServer(t, append(clock.env(at.Scheme+"://"+at.Host, relay.l.Addr().String()), "COLDSEAM_CHILD_DB="+
		database.through(t, dbURL))...)
	up := time.Since(clock.origin)
	sent := func() int {
		return v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state = 'sent'`)
	}

	var first time.Time
	require.True(t, clubtest.AssertEventually(x.limit, func() bool {
		n := sent()
		if n > 0 && first.IsZero() {
			first = time.Now()
		}
		return n == x.readers
	}), "all mails within %s: %s\n%s", x.limit, states(t, v), tail(s.logged(t), 3000))
	took := time.Since(first)

	// Slow is no fault: nothing goes twice, the page is well.
	for key, n := range clubtest.ByMessage(t, v.Sink) {
		require.Equal(t, 1, n, key)
	}

	retried := v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND attempt > 1`)
	require.LessOrEqual(t, retried, x.retried, "mails tried again: %s", states(t, v))
	require.True(t, clubtest.HealthOK(s.addr), "well:\n%s", tail(s.logged(t), 3000))
	v.Clock.Forward(clock.now())
	invariants(t, v, 0)
	rate := float64(x.readers-1) / took.Seconds()
	t.Logf("%s there and back, %.0f %% lost: serving after %s; all %d mails after %s, %d of them at a second try; %.1f a second once they went, that is %.0f between 4:45 and 10:00",
		x.trip, 100*x.loss, up.Round(100*time.Millisecond), x.readers, time.Since(clock.origin).Round(time.Second),
		retried, rate, rate*(5*time.Hour+15*time.Minute).Seconds())
}
