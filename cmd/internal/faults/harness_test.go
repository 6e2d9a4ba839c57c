// Package faults breaks what a running club stands on and watches the mails:
// processes are killed, disks fill, lines are slow or cut, relays and databases
// hang. It holds tests alone, in a short form, and with COLDSEAM_SOAK in a long
// one.
package faults

import (
	"bytes"
	"context"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/pprof"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/doctor"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/store/localpg"
)

// soak asks for the long form of each test.
var soak = os.Getenv("COLDSEAM_SOAK") != ""

// TestMain lets the binary be one server of a club (servers_test.go).
func TestMain(m *testing.M) {
	if os.Getenv(childEnv) != "" {
		os.Exit(serverChild())
	}
	clubtest.Main(m)
}

// ownPostgres is a private Postgres of the test, which it may kill, with a copy
// of a database.
func ownPostgres(t *testing.T, from string) (*localpg.Server, string) {
	t.Helper()
	dir, err := os.MkdirTemp("", "coldseam-pg")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o711))
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	return ownPostgresIn(t, from, localpg.Options{Dir: filepath.Join(dir, "db")})
}

// ownPostgresIn is the same in a directory and with settings of the test.
func ownPostgresIn(t *testing.T, from string, o localpg.Options) (*localpg.Server, string) {
	t.Helper()
	pg, err := localpg.Start(context.Background(), o)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, pg.Stop()) })
	to := pg.URL(localpg.User)
	dump := exec.Command(filepath.Join(pg.Bin(), "pg_dump"), "-Fc", "--dbname", from)
	load := exec.Command(filepath.Join(pg.Bin(), "pg_restore"), "--no-owner", "--no-privileges", "--dbname", to)
	load.Stdin, err = dump.StdoutPipe()
	require.NoError(t, err)
	var dumped, loaded bytes.Buffer
	dump.Stderr, load.Stderr = &dumped, &loaded
	require.NoError(t, dump.Start())
	require.NoError(t, load.Run(), "%s", &loaded)
	require.NoError(t, dump.Wait(), "%s", &dumped)
	return pg, to
}

// trouble is what `check` should say while a fault lasts: a line of one of these
// keys that is not ok.
type trouble struct {
	what string
	keys []string
}

// invariants checks what must hold after every fault.
//
// I1 at most one acknowledged send per subscriber, date, kind (and reach):
// extra copies in the sink are those of rows that were tried more than once
// after a reply got lost, and no more than allowed. I2 every row of a past
// deadline is sent, expired or explained. I3 nothing to who left. I4 a changed
// observation has its revision. I5 no goroutine and no connection is left over.
// I6 the health page answers. I7 check names the faults that last.
func invariants(t testing.TB, v *clubtest.Harness, doubles int, lasting ...trouble) {
	t.Helper()
	extra := 0
	for _, n := range clubtest.ByMessage(t, v.Sink) {
		extra += n - 1
	}

	require.LessOrEqual(t, extra, doubles, "I1: copies beyond the bound of lost replies")
	require.Zero(t, v.Count(t, `
		SELECT count(*) FROM (
		  SELECT FROM coldseam.outbox WHERE state = 'sent'
		  GROUP BY subscriber_id, admin_email, local_date, kind, reach_id HAVING count(*) > 1) d`), "I1: two rows for one mail")
	require.Zero(t, v.Count(t, `
		SELECT count(*) FROM coldseam.outbox
		WHERE deadline < $1::timestamptz - interval '30 minutes' AND state IN ('pending', 'claimed', 'deferred', 'in_data')`, v.Now()), "I2: rows that nobody explains")
	require.Zero(t, v.Count(t, `
		SELECT count(*) FROM coldseam.outbox o JOIN coldseam.subscriber s USING (subscriber_id)
		WHERE o.state = 'sent' AND s.state IN ('unsubscribed', 'suppressed') AND s.email LIKE 'left%'`), "I3: mail to who left")

	// I4: the versions before lie before the one that stands.
	require.Zero(t, v.Count(t, `
		SELECT count(*) FROM coldseam.observation_revision r
		LEFT JOIN coldseam.observation o ON o.series_id = r.series_id AND o.valid_at = r.valid_at
		WHERE o.series_id IS NULL OR o.known_at <= r.known_at`), "I4: a revision without its successor")

	for _, m := range v.Sink.Mails() {
		x, err := mail.ReadMessage(bytes.NewReader(m.Data))
		require.NoError(t, err)
		for _, bad := range []string{"NaN", "<nil>", "%!"} {
			require.NotContains(t, x.Header.Get("Subject"), bad)
		}
	}

	nothingLeft(t, v)
	healthAnswers(t, v)
	if len(lasting) > 0 {
		checkNames(t, v, lasting)
	}
}

// spareGoroutines and spareSessions are what keep-alive links and the pools of a
// town may hold at rest.
const (
	spareGoroutines = 40
	spareSessions   = 12 + 4*12 // the town's pool and those of up to four servers
)

// nothingLeft is I5: what a fault had started ends. Goroutines of this town are
// known by a label that they inherit.
func nothingLeft(t testing.TB, v *clubtest.Harness) {
	t.Helper()
	require.Eventually(t, func() bool {
		return v.DB.Pool().Stat().AcquiredConns() == 0
	}, 15*time.Second, 20*time.Millisecond, "I5: connections in use")
	require.LessOrEqual(t, v.Count(t,
		`SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND backend_type = 'client backend'`),
		spareSessions, "I5: sessions")
	require.Zero(t, v.Count(t,
		`SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND state LIKE 'idle in transaction%' AND state_change < clock_timestamp() - interval '3 minutes'`), "I5: sessions that hold a transaction open")
	if !clubtest.AssertEventually(15*time.Second, func() bool {
		return clubtest.GoroutinesOf(v.Label) <= v.AtRest+spareGoroutines
	}) {
		var b bytes.Buffer
		_ = pprof.Lookup("goroutine").WriteTo(&b, 1)
		require.Failf(t, "I5: goroutines", "%d, at rest %d\n%s", clubtest.GoroutinesOf(v.Label), v.AtRest, &b)
	}
}

// healthAnswers is I6 within one process: well or not, the answer comes in time.
func healthAnswers(t testing.TB, v *clubtest.Harness) {
	t.Helper()
	began := time.Now()
	_ = v.Mail.Healthy(context.Background())
	require.Less(t, time.Since(began), mailing.HealthTimeout+2*time.Second, "I6: the health page hangs")
}

// checkNames is I7.
func checkNames(t testing.TB, v *clubtest.Harness, lasting []trouble) {
	t.Helper()
	lines := doctor.RunChecks(context.Background(), v.Parts, true)
	for _, x := range lasting {
		require.True(t, slices.ContainsFunc(lines, func(l doctor.Line) bool {
			return l.Level != doctor.LevelOK && slices.ContainsFunc(x.keys, func(key string) bool {
				return strings.HasPrefix(l.Key, key)
			})
		}), "I7: check does not name %q; it says %v", x.what, lines)
	}
}
