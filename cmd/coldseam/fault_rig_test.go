package main

import (
	"bytes"
	"context"
	"fmt"
	"net/mail"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/pprof"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/notify/sink"
	"example.org/coldseam/store/localpg"
	"example.org/coldseam/store/storetest"
)

// TestMain lets the binary be one server of a club (servers_test.go).
func TestMain(m *testing.M) {
	switch os.Getenv(childEnv) {
	case "":
	case "command": // the program itself
		main()
	default:
		os.Exit(serverChild())
	}
	code := m.Run()
	readyTown.drop()
	os.Exit(code)
}

// townTemplate is a database with years of history, fitted models and the
// briefs of the morning, made once by the first test that needs it: fits take
// seconds, a clone a tenth.
type townTemplate struct {
	once        sync.Once
	admin, name string
	n           atomic.Int64
}

var readyTown townTemplate

// other is the connection string of another database on the same server.
func other(t testing.TB, dbURL, name string) string {
	t.Helper()
	u, err := url.Parse(dbURL)
	require.NoError(t, err)
	u.Path = "/" + name
	return u.String()
}

func (x *townTemplate) exec(sql string) error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	c, err := pgx.Connect(ctx, x.admin)
	if err != nil {
		return err
	}
	defer c.Close(ctx)
	_, err = c.Exec(ctx, sql)
	return err
}

func (x *townTemplate) drop() {
	if x.name != "" {
		_ = x.exec(`DROP DATABASE IF EXISTS ` + x.name + ` WITH (FORCE)`)
	}
}

// url is a clone of the ready town's database, dropped with the test.
func (x *townTemplate) url(t *testing.T) string {
	t.Helper()
	x.once.Do(func() {
		src := storetest.URL(t)
		x.admin = other(t, src, "postgres")
		v := newTownOn(t, src, nil)
		v.history(t)
		_, err := v.MakeAll(t.Context(), saturday)
		require.NoError(t, err)
		v.App.DB.Close()
		u, err := url.Parse(src)
		require.NoError(t, err)
		name := fmt.Sprintf("t_town_%d", os.Getpid())
		require.NoError(t, x.exec(`CREATE DATABASE `+name+` TEMPLATE `+u.Path[1:]))
		x.name = name
	})
	require.NotEmpty(t, x.name, "the ready town was not built")
	name := fmt.Sprintf("t_%d_c%d", os.Getpid(), x.n.Add(1))
	require.NoError(t, x.exec(`CREATE DATABASE `+name+` TEMPLATE `+x.name))
	t.Cleanup(func() { _ = x.exec(`DROP DATABASE IF EXISTS ` + name + ` WITH (FORCE)`) })
	return other(t, x.admin, name)
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

// newReadyTown is a town whose briefs for Saturday are made.
func newReadyTown(t *testing.T, script sink.Script) *town {
	t.Helper()
	return newTownOn(t, readyTown.url(t), script)
}

// query reads one value from a town's database.
func query[T any](t testing.TB, dbURL, sql string, args ...any) T {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	c, err := pgx.Connect(ctx, dbURL)
	require.NoError(t, err)
	defer c.Close(ctx)
	var v T
	require.NoError(t, c.QueryRow(ctx, sql, args...).Scan(&v))
	return v
}

// count is query for counts, on the town's own pool.
func (v *town) count(t testing.TB, sql string, args ...any) int {
	t.Helper()
	var n int
	require.NoError(t, v.DB.Pool().QueryRow(context.Background(), sql, args...).Scan(&n))
	return n
}

// sendAll lets one worker empty the outbox.
func (v *town) sendAll(t *testing.T) {
	t.Helper()
	_, err := v.Sender("test").Run(t.Context(), 1000)
	require.NoError(t, err)
}

// byMessage counts what the sink accepted by recipient and Message-ID: a mail
// twice is one key with two.
func byMessage(t testing.TB, s *sink.Server) map[string]int {
	t.Helper()
	out := map[string]int{}
	for _, m := range s.Mails() {
		x, err := mail.ReadMessage(bytes.NewReader(m.Data))
		require.NoError(t, err)
		out[m.To[0]+" "+x.Header.Get("Message-Id")]++
	}
	return out
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
func invariants(t testing.TB, v *town, doubles int, lasting ...trouble) {
	t.Helper()
	extra := 0
	for _, n := range byMessage(t, v.sink) {
		extra += n - 1
	}
	require.LessOrEqual(t, extra, doubles, "I1: copies beyond the bound of lost replies")
	require.Zero(t, v.count(t, `
		SELECT count(*) FROM (
		  SELECT FROM coldseam.outbox WHERE state = 'sent'
		  GROUP BY subscriber_id, admin_email, local_date, kind, reach_id HAVING count(*) > 1) d`), "I1: two rows for one mail")
	require.Zero(t, v.count(t, `
		SELECT count(*) FROM coldseam.outbox
		WHERE deadline < $1::timestamptz - interval '30 minutes' AND state IN ('pending', 'claimed', 'deferred', 'in_data')`, v.Now()), "I2: rows that nobody explains")
	require.Zero(t, v.count(t, `
		SELECT count(*) FROM coldseam.outbox o JOIN coldseam.subscriber s USING (subscriber_id)
		WHERE o.state = 'sent' AND s.state IN ('unsubscribed', 'suppressed') AND s.email LIKE 'left%'`), "I3: mail to who left")
	// I4: the versions before lie before the one that stands.
	require.Zero(t, v.count(t, `
		SELECT count(*) FROM coldseam.observation_revision r
		LEFT JOIN coldseam.observation o ON o.series_id = r.series_id AND o.valid_at = r.valid_at
		WHERE o.series_id IS NULL OR o.known_at <= r.known_at`), "I4: a revision without its successor")
	for _, m := range v.sink.Mails() {
		x, err := mail.ReadMessage(bytes.NewReader(m.Data))
		require.NoError(t, err)
		for _, bad := range []string{"NaN", "<nil>", "%!"} {
			require.NotContains(t, x.Header.Get("Subject"), bad)
		}
	}
	v.nothingLeft(t)
	v.healthAnswers(t)
	if len(lasting) > 0 {
		v.checkNames(t, lasting)
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
func (v *town) nothingLeft(t testing.TB) {
	t.Helper()
	require.Eventually(t, func() bool { return v.DB.Pool().Stat().AcquiredConns() == 0 }, 15*time.Second, 20*time.Millisecond, "I5: connections in use")
	require.LessOrEqual(t, v.count(t, `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND backend_type = 'client backend'`), spareSessions, "I5: sessions")
	require.Zero(t, v.count(t, `SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND state LIKE 'idle in transaction%' AND state_change < clock_timestamp() - interval '3 minutes'`), "I5: sessions that hold a transaction open")
	if !assertEventually(15*time.Second, func() bool { return goroutinesOf(v.label) <= v.atRest+spareGoroutines }) {
		var b bytes.Buffer
		_ = pprof.Lookup("goroutine").WriteTo(&b, 1)
		require.Failf(t, "I5: goroutines", "%d, at rest %d\n%s", goroutinesOf(v.label), v.atRest, &b)
	}
}

func assertEventually(limit time.Duration, ok func() bool) bool {
	for end := time.Now().Add(limit); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			return false
		}
	}
	return true
}

// goroutinesOf counts the goroutines under a label.
func goroutinesOf(label string) int {
	var b bytes.Buffer
	_ = pprof.Lookup("goroutine").WriteTo(&b, 1)
	n, group := 0, 0
	for _, l := range strings.Split(b.String(), "\n") {
		if k, _, ok := strings.Cut(l, " @ "); ok {
			group, _ = strconv.Atoi(k)
		}
		if strings.HasPrefix(l, "# labels: ") && strings.Contains(l, strconv.Quote(label)) {
			n += group
		}
	}
	return n
}

// healthAnswers is I6 within one process: well or not, the answer comes in time.
func (v *town) healthAnswers(t testing.TB) {
	t.Helper()
	began := time.Now()
	_ = v.Healthy(context.Background())
	require.Less(t, time.Since(began), mailing.HealthTimeout+2*time.Second, "I6: the health page hangs")
}

// checkNames is I7.
func (v *town) checkNames(t testing.TB, lasting []trouble) {
	t.Helper()
	k := &checker{cfg: v.Config, app: v.Parts, now: v.Now, offline: true, net: netOf(), space: env.DiskSpace}
	k.all(context.Background())
	for _, x := range lasting {
		require.True(t, slices.ContainsFunc(k.lines, func(l line) bool {
			return l.Level != levelOK && slices.ContainsFunc(x.keys, func(key string) bool { return strings.HasPrefix(l.Key, key) })
		}), "I7: check does not name %q; it says %v", x.what, k.lines)
	}
}

// morningAt is a clock time of Saturday in Chicago.
func morningAt(hh, mm int) time.Time {
	return saturday.In(env.Zone("America/Chicago")).Add(time.Duration(hh)*time.Hour + time.Duration(mm)*time.Minute)
}

// flood is a warning for Tamsen that was sent just before now.
func flood(provider string, now time.Time) coldseam.Alert {
	return coldseam.Alert{Provider: provider, Sender: "northgauge", Identifier: "planted", Sent: now.Add(-time.Minute),
		Status: "Actual", MsgType: "Alert", Event: "Flood Warning", Severity: "Severe", Urgency: "Immediate", Certainty: "Observed", From: now.Add(-time.Minute),
		End: now.Add(24 * time.Hour), GaugeCodes: []string{"TAMX1"}, KnownAt: now.Add(-time.Second)}
}
