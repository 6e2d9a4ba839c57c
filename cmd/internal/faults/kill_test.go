package faults

import (
	"fmt"
	"math/rand/v2"
	"net/url"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify/smtptest"
)

// killsRun kills the service or its Postgres at random moments of the morning,
// day after day, and looks at the invariants after each.
type killsRun struct {
	kills, perDay, readers int
	seed                   uint64
}

// reconnect bounds how long the service may be without its database after
// Postgres is up again, on a machine that is busy with other tests; the figure
// of an idle one is in the log.
const reconnect = 30 * time.Second

func (x killsRun) run(t *testing.T) {
	slow := func(e smtptest.Event) smtptest.Fault {
		if e.Stage == "dot" {
			time.Sleep(150 * time.Millisecond) // so that kills hit mails under way
		}
		return smtptest.Fault{}
	}
	rng := rand.New(rand.NewPCG(x.seed, 2))
	pg, dbURL := ownPostgres(t, clubtest.Ready.URL(t))
	v := clubtest.NewOn(t, dbURL, slow)
	for i := range x.readers {
		v.Join(t, fmt.Sprintf("angler%d@home%d.example", i, i%7),
			coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	}

	at, err := url.Parse(v.Config.Profiles[0].BaseURL)
	require.NoError(t, err)
	var s *server
	var vars []string
	start := func() { s = startServer(t, vars...) }
	killServer := func() {
		require.NoError(t, s.cmd.Process.Signal(syscall.SIGKILL))
		<-s.done
	}

	sent := func() int {
		return v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state = 'sent'`)
	}
	well := func() {
		t.Helper()
		require.True(t, clubtest.AssertEventually(reconnect, func() bool {
			return pg.Ready() == nil && clubtest.HealthOK(s.addr)
		}), "recovers\n%s", tail(s.logged(t), 3000))
		v.DB.Pool().Reset() // the test's own sessions went as well
	}
	var worst, sum time.Duration
	ofPostgres, ofServer, days := 0, 0, 0

	for n := 0; n < x.kills; {
		// A new morning; the clock of one morning goes on through its kills.
		day := clubtest.Saturday.Add(days).In(env.Zone("America/Chicago"))
		v.Clock.Forward(day.Add(4*time.Hour + 40*time.Minute))
		clock := swiftClock{base: day.Add(4*time.Hour + 44*time.Minute), origin: time.Now(), speed: 10}
		vars = append(clock.env(at.Scheme+"://"+at.Host, v.Sink.Addr()), "COLDSEAM_CHILD_DB="+dbURL)
		start()
		require.True(t, clubtest.AssertEventually(2*time.Minute, func() bool {
			return sent() > days*x.readers
		}), "first mails of day %d: %s\n%s", days+1, states(t, v), tail(s.logged(t), 3000))

		for k := 0; k < x.perDay && n < x.kills; k++ {
			time.Sleep(time.Duration(50+rng.IntN(1200)) * time.Millisecond)

			if rng.IntN(2) == 0 {
				ofPostgres++
				pid, began := pg.Pid(), time.Now()
				require.NoError(t, syscall.Kill(pid, syscall.SIGKILL))
				require.True(t, clubtest.AssertEventually(reconnect, func() bool {
					return pg.Pid() != pid && pg.Ready() == nil
				}), "Postgres comes back")
				well()
				took := time.Since(began)
				worst, sum = max(worst, took), sum+took
			} else {
				ofServer++
				killServer()
				start()
				well()
			}

			n++
			invariants(t, v, 4*n)
		}

		days++
		require.True(t, clubtest.AssertEventually(4*time.Minute, func() bool {
			return sent() == days*x.readers
		}), "all mails of day %d: %s\n%s", days, states(t, v), tail(s.logged(t), 3000))
		require.NoError(t, s.cmd.Process.Signal(syscall.SIGTERM))
		require.NoError(t, <-s.done)
	}

	copies := 0
	for _, n := range clubtest.ByMessage(t, v.Sink) {
		copies += n - 1
	}
	t.Logf("%d kills of Postgres and %d of the service on %d mornings: invariants after each, %d of %d mails sent, %d copies (bound %d); well again after %s on average, %s at worst, counted from the kill of Postgres",
		ofPostgres, ofServer, days, sent(), days*x.readers, copies, 4*x.kills,
		(sum / time.Duration(max(ofPostgres, 1))).Round(10*time.Millisecond), worst.Round(10*time.Millisecond))
}
