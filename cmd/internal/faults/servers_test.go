package faults

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/club"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/notify/smtptest"
)

// childEnv makes the test binary one server of a club.
const childEnv = "COLDSEAM_SERVER_CHILD"

// swiftClock runs so many times faster than the real one, the same in all
// processes that share base and origin.
type swiftClock struct {
	base, origin time.Time
	speed        int
}

func (c swiftClock) now() time.Time {
	return c.base.Add(time.Since(c.origin) * time.Duration(c.speed))
}

// env tells a child the clock, the agency and the relay.
func (c swiftClock) env(agency, smtp string) []string {
	return []string{"COLDSEAM_CHILD_BASE=" + strconv.FormatInt(c.base.Unix(), 10), "COLDSEAM_CHILD_ORIGIN=" +
		strconv.FormatInt(c.origin.UnixNano(), 10),
		"COLDSEAM_CHILD_SPEED=" + strconv.Itoa(c.speed), "COLDSEAM_CHILD_AGENCY=" + agency, "COLDSEAM_CHILD_SMTP=" +
			smtp}
}

// serverChild serves like `coldseam serve` with another clock, and with a tick
// of its own as often as the clock's minute comes round.
func serverChild() int {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	fail := func(err error) int {
		fmt.Println("error", err)
		return 1
	}
	num := func(k string) int64 { n, _ := strconv.ParseInt(os.Getenv(k), 10, 64); return n }
	clock := swiftClock{time.Unix(num("COLDSEAM_CHILD_BASE"), 0).UTC(), time.Unix(0, num("COLDSEAM_CHILD_ORIGIN")),
		int(num("COLDSEAM_CHILD_SPEED"))}

	conf := democlub.TOML
	if n := int(num("COLDSEAM_CHILD_RIVERS")); n > 0 {
		conf = manyRivers(conf, n)
	}
	cfg, err := config.Parse("demo.toml", conf, simagency.Profiles(os.Getenv("COLDSEAM_CHILD_AGENCY"))...)
	if err != nil {
		return fail(err)
	}

	cfg.Mail.SMTP, cfg.Listen, cfg.MetricsAddr = os.Getenv("COLDSEAM_CHILD_SMTP"), "127.0.0.1:0", os.Getenv("COLDSEAM_CHILD_METRICS")
	cfg.StateDir, cfg.Backup.Dir = os.TempDir(), filepath.Join(os.TempDir(), "backup")
	p, err := parts.Open(ctx, cfg, env.Options{
		Now:      clock.now,
		DBURL:    os.Getenv("COLDSEAM_CHILD_DB"),
		Log:      slog.New(slog.NewJSONHandler(os.Stderr, nil)),
		TokenKey: []byte("a key of the tests that is long enough to sign"),
	})
	if err != nil {
		return fail(err)
	}
	defer p.Close()

	if err := p.Env.SyncRivers(ctx); err != nil {
		return fail(err)
	}
	a := club.New(p)
	if err := a.Start(ctx); err != nil {
		return fail(err)
	}
	fmt.Println("serving", a.Addr())
	every := time.NewTicker(time.Minute / time.Duration(clock.speed))
	defer every.Stop()

	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-every.C:
			a.TickLogged(ctx)
		}
	}
	a.Stop()
	return 0
}

// server is a child process.
type server struct {
	cmd  *exec.Cmd
	addr string
	log  *os.File
	done chan error
}

func startServer(t *testing.T, env ...string) *server {
	t.Helper()
	return startServerIn(t, &cage{}, env...)
}

// startServerIn starts a server within a limit of memory.
func startServerIn(t *testing.T, in *cage, env ...string) *server {
	t.Helper()
	s := &server{cmd: exec.Command("/proc/self/exe"), done: make(chan error, 1)}
	s.cmd.Env = append(append(os.Environ(), childEnv+"=1"), env...)
	s.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	var err error
	s.log, err = os.CreateTemp(t.TempDir(), "log")
	require.NoError(t, err)

	s.cmd.Stderr = s.log
	out, err := s.cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, s.cmd.Start())
	in.put(t, s.cmd.Process.Pid)
	r := bufio.NewReader(out)
	line, err := r.ReadString('\n')

	go func() {
		_, _ = io.Copy(io.Discard, r)
		s.done <- s.cmd.Wait()
	}()
	t.Cleanup(func() { _ = s.cmd.Process.Kill() })
	require.NoError(t, err)
	require.Regexp(t, "^serving ", line)
	s.addr = strings.TrimSpace(strings.TrimPrefix(line, "serving "))
	return s
}

func (s *server) logged(t *testing.T) string {
	t.Helper()
	b, err := os.ReadFile(s.log.Name())
	require.NoError(t, err)
	return string(b)
}

// mutePipe is a proxy before Postgres that can stop passing bytes while all
// connections stay open: a machine that is cut off.
type mutePipe struct {
	l     net.Listener
	to    func() (net.Conn, error)
	muted atomic.Bool
	delay func() time.Duration // of each piece that passes, one way; nil = none
	mu    sync.Mutex
	conns []net.Conn
}

func newMutePipe(t *testing.T, to func() (net.Conn, error)) *mutePipe {
	t.Helper()
	return newSlowPipe(t, to, nil)
}

// newSlowPipe is a proxy that keeps each piece back for a while.
func newSlowPipe(t *testing.T, to func() (net.Conn, error), delay func() time.Duration) *mutePipe {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	p := &mutePipe{l: l, to: to, delay: delay}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go p.serve(c)
		}
	}()
	t.Cleanup(p.close)
	return p
}

func (p *mutePipe) close() {
	_ = p.l.Close()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.conns {
		_ = c.Close()
	}
}

func (p *mutePipe) serve(c net.Conn) {
	d, err := p.to()
	if err != nil {
		_ = c.Close()
		return
	}

	p.mu.Lock()
	p.conns = append(p.conns, c, d)
	p.mu.Unlock()

	pass := func(dst, src net.Conn) {
		buf := make([]byte, 32<<10)
		for {
			n, err := src.Read(buf)
			if p.delay != nil && n > 0 {
				time.Sleep(p.delay())
			}
			for p.muted.Load() { // what was read waits as in a cable that is out
				time.Sleep(20 * time.Millisecond)
			}

			if n > 0 {
				if _, werr := dst.Write(buf[:n]); werr != nil {
					err = werr
				}
			}

			if err != nil {
				_, _ = dst.Close(), src.Close()
				return
			}
		}
	}

	go pass(c, d)
	go pass(d, c)
}

// dialerOf opens the byte stream behind a connection string.
func dialerOf(t *testing.T, dbURL string) func() (net.Conn, error) {
	t.Helper()
	c, err := pgx.ParseConfig(dbURL)
	require.NoError(t, err)
	if strings.HasPrefix(c.Host, "/") {
		return func() (net.Conn, error) { return net.Dial("unix", fmt.Sprintf("%s/.s.PGSQL.%d", c.Host, c.Port)) }
	}
	return func() (net.Conn, error) { return net.Dial("tcp", net.JoinHostPort(c.Host, strconv.Itoa(int(c.Port)))) }
}

// through is DBURL by way of the proxy.
func (p *mutePipe) through(t *testing.T, dbURL string) string {
	t.Helper()
	c, err := pgx.ParseConfig(dbURL)
	require.NoError(t, err)
	q := url.Values{"sslmode": {"disable"}}
	u := url.URL{
		Scheme:   "postgres",
		Host:     p.l.Addr().String(),
		Path:     "/" + c.Database,
		User:     url.UserPassword(c.User, c.Password),
		RawQuery: q.Encode(),
	}
	return u.String()
}

// serversRun is one morning of three servers on a Postgres of its own: one is
// killed, one is cut off, Postgres is killed and comes back.
type serversRun struct {
	readers int
	speed   int
	dot     time.Duration // how long the relay takes for a mail, so that faults hit mails under way
	limit   time.Duration // real, for the whole morning
}

// takeOver bounds how long the rows of a lost server may lie, in the real time
// of leases and locks.
const takeOver = 2 * time.Minute

func (x serversRun) run(t *testing.T) {
	slow := func(e smtptest.Event) smtptest.Fault {
		if e.Stage == "dot" {
			time.Sleep(x.dot)
		}
		return smtptest.Fault{}
	}
	pg, dbURL := ownPostgres(t, clubtest.Ready.URL(t))
	v := clubtest.NewOn(t, dbURL, slow)
	for i := range x.readers {
		v.Join(t, fmt.Sprintf("angler%d@home%d.example", i, i%30),
			coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	}

	at, err := url.Parse(v.Config.Profiles[0].BaseURL)
	require.NoError(t, err)
	base := at.Scheme + "://" + at.Host
	pipe := newMutePipe(t, dialerOf(t, dbURL))
	clock := swiftClock{base: clubtest.MorningAt(4, 44), origin: time.Now(), speed: x.speed}
	env := clock.env(base, v.Sink.Addr())
	dead := startServer(t, append(env, "COLDSEAM_CHILD_DB="+dbURL)...)
	mute := startServer(t, append(env, "COLDSEAM_CHILD_DB="+pipe.through(t, dbURL))...)
	well := startServer(t, append(env, "COLDSEAM_CHILD_DB="+dbURL)...)

	until := time.Now().Add(x.limit)
	wait := func(what string, ok func() bool) time.Duration {
		t.Helper()
		began := time.Now()
		for !ok() {
			if time.Now().After(until) {
				t.Fatalf("%s: not within %s; %d mails; states %s\n%s\n%s", what, x.limit, v.Sink.Count(), states(t, v),
					well.logged(t), mute.logged(t))
			}
			time.Sleep(30 * time.Millisecond)
		}
		return time.Since(began)
	}

	// open are the rows that a server holds.
	open := func(s *server) int {
		return v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE worker LIKE '%-' || $1::int || '-%' AND state IN ('claimed', 'in_data', 'unknown')`, s.cmd.Process.Pid)
	}
	wait("first mails", func() bool { return v.Sink.Count() >= x.readers/8 && open(dead) > 0 })
	require.NoError(t, dead.cmd.Process.Signal(syscall.SIGKILL))
	killed, killedAt := clock.now(), time.Now()
	ofDead := open(dead)

	// The other goes while there is mail to send: two servers would be through
	// with it before the rows of the first are taken over.
	wait("mails of the server to be cut off", func() bool { return open(mute) > 0 })
	pipe.muted.Store(true)
	cut, cutAt := clock.now(), time.Now()
	ofMute := open(mute)

	var afterKill, afterCut time.Duration
	wait("take-over from both", func() bool {
		if afterKill == 0 && open(dead) == 0 {
			afterKill = time.Since(killedAt)
		}
		if afterCut == 0 && open(mute) == 0 {
			afterCut = time.Since(cutAt)
		}
		return afterKill > 0 && afterCut > 0
	})
	t.Logf("taken over: %d rows of the killed server after %s, %d of the cut-off one after %s (real time)", ofDead,
		afterKill.Round(100*time.Millisecond), ofMute, afterCut.Round(100*time.Millisecond))
	require.LessOrEqual(t, max(afterKill, afterCut), takeOver, "take-over")

	wait("half of the mails", func() bool { return v.Sink.Count() >= x.readers/2 })
	require.NoError(t, syscall.Kill(pg.Pid(), syscall.SIGKILL))
	afterCrash := wait("Postgres back and a server on it", func() bool {
		return pg.Restarts() > 0 && pg.Ready() == nil && clubtest.HealthOK(well.addr)
	})

	// The test's own sessions went as well: a query that fails is asked again.
	sent := func() (n int) {
		if err := v.DB.Pool().QueryRow(t.Context(),
			`SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state = 'sent'`).Scan(&n); err != nil {
			return -1
		}
		return n
	}
	wait("all mails", func() bool { return sent() == x.readers })
	require.Equal(t, x.readers, v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning'`))

	// A server that is cut off says so, and comes back when the cable does.
	res, err := (&http.Client{Timeout: mailing.HealthTimeout + 5*time.Second}).Get("http://" + mute.addr + "/healthz")
	require.NoError(t, err, "the health page answers in time")
	_ = res.Body.Close()
	require.NotEqual(t, http.StatusOK, res.StatusCode)
	pipe.muted.Store(false)
	wait("the cut-off server comes back", func() bool { return clubtest.HealthOK(mute.addr) })

	got := map[string]int{}
	for _, m := range v.Sink.Mails() {
		if strings.HasPrefix(m.To[0], "angler") { // the admin hears of a silent gauge
			got[m.To[0]]++
		}
	}

	require.Len(t, got, x.readers, "no mail is lost")
	extra := 0
	for _, n := range got {
		extra += n - 1
	}

	// Of each lost server at most what its four connections had in transmission,
	// and the same of those that had no database for a moment.
	const bound = 4 + 4 + 8
	retried := v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND attempt > 1`)
	require.LessOrEqual(t, extra, min(bound, retried), "copies beyond the replies that were lost")
	invariants(t, v, bound)
	x.once(t, v, clock)

	for _, s := range []*server{mute, well} {
		require.NoError(t, s.cmd.Process.Signal(syscall.SIGTERM))
		select {
		case err := <-s.done:
			require.NoError(t, err, "SIGTERM ends a server with status 0:\n%s", s.logged(t))
		case <-time.After(30 * time.Second):
			t.Fatal("a server does not end on SIGTERM")
		}
		require.NotContains(t, s.logged(t), "@home", "no address in the log")
	}

	t.Logf("%d mails; one server killed at %s, one cut off at %s (club's clock, %d times the real one), Postgres killed and back after %s: %d tried again, %d copies",
		x.readers, killed.Format("15:04:05"), cut.Format("15:04:05"), x.speed, afterCrash.Round(10*time.Millisecond),
		retried, extra)
}

// once: what the servers share was done once each. A job of a lost server or a
// lost database is done again, and no other.
func (x serversRun) once(t *testing.T, v *clubtest.Harness, clock swiftClock) {
	t.Helper()
	count := func(kind string) (jobs, tries int) {
		require.NoError(t, v.DB.Pool().QueryRow(t.Context(),
			`SELECT count(*), COALESCE(sum(attempt), 0) FROM river.river_job WHERE kind = $1`, kind).Scan(&jobs,
			&tries))
		return jobs, tries
	}
	jobs, tries := count("fetch")
	require.Positive(t, jobs)
	require.LessOrEqual(t, tries, jobs+3*4, "fetches: again only what was under way at a fault, four workers a server")

	// The answers of one feed's slot are stored once a try.
	asked := v.Count(t, `
		SELECT COALESCE(max(n), 0) FROM (
		  SELECT count(*) AS n FROM coldseam.raw_fetch
		  WHERE fetched_at >= $1 AND url NOT LIKE '%metadata%'
		  GROUP BY profile, url, date_bin('5 minutes', fetched_at, $1)) d`, clock.base)
	briefs, again := count("brief")
	require.Positive(t, briefs)
	require.LessOrEqual(t, again, briefs+3, "briefs: one worker a server")
	require.LessOrEqual(t, v.Count(t, `SELECT count(*) FROM coldseam.brief WHERE issued_at >= $1 AND NOT replay`,
		clock.base), again, "a brief a job")
	t.Logf("%d fetch jobs in %d tries, %d brief jobs in %d; at most %d answers of one address in five minutes", jobs,
		tries, briefs, again, asked)
}

func states(t *testing.T, v *clubtest.Harness) string {
	rows, err := v.DB.Pool().Query(context.Background(), `
		SELECT state || ' ' || count(*) FROM coldseam.outbox GROUP BY state
		UNION ALL SELECT kind || ' held: ' || held_why FROM coldseam.edition WHERE held
		UNION ALL SELECT DISTINCT 'deferred: ' || last_stage || ' ' || reply FROM coldseam.outbox WHERE state = 'deferred'`)
	require.NoError(t, err)
	out, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	return strings.Join(out, ", ")
}
