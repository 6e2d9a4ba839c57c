package faults

import (
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/notify/smtptest"
	"example.org/coldseam/store/storetest"
)

// manyRivers is the demo's configuration with n reaches more: each is the bend
// of the Tamsen under another name.
func manyRivers(conf string, n int) string {
	i := strings.Index(conf, "[[reach]]")
	j := i + 1 + strings.Index(conf[i+1:], "\n[[reach]]\n")
	bend := conf[i:j]
	var b strings.Builder
	b.WriteString(conf)
	for k := range n {
		id := fmt.Sprintf("river-%02d", k)
		b.WriteString("\n" + strings.NewReplacer(`"tamsen-bend"`, strconv.Quote(id), `"Tamsen"`,
			strconv.Quote(fmt.Sprintf("River %02d", k))).Replace(bend))
	}
	return b.String()
}

// cage limits the memory of a process by a control group, as a service manager
// does. Without the right to make one it only reads what the process used.
type cage struct{ dir string }

func newCage(t *testing.T, limit int) *cage {
	t.Helper()
	for _, g := range []struct{ root, key string }{{"/sys/fs/cgroup/memory", "memory.limit_in_bytes"},
		{"/sys/fs/cgroup", "memory.max"}} {
		dir := filepath.Join(g.root, fmt.Sprintf("coldseam_test_%d", os.Getpid()))
		if os.Mkdir(dir, 0o755) != nil {
			continue
		}
		if os.WriteFile(filepath.Join(dir, g.key), []byte(strconv.Itoa(limit)), 0o644) == nil {
			t.Cleanup(func() { _ = os.Remove(dir) })
			return &cage{dir}
		}
		_ = os.Remove(dir)
	}
	t.Log("no control group may be made here: the peak is measured, not enforced")
	return &cage{}
}

func (c *cage) put(t *testing.T, pid int) {
	t.Helper()
	if c.dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(c.dir, "cgroup.procs"), []byte(strconv.Itoa(pid)), 0o644))
	}
}

// peak is the most memory that a process held at once, in bytes.
func peak(t *testing.T, pid int) int {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	require.NoError(t, err)
	for _, l := range strings.Split(string(b), "\n") {
		if v, ok := strings.CutPrefix(l, "VmHWM:"); ok {
			kb, err := strconv.Atoi(strings.Fields(v)[0])
			require.NoError(t, err)
			return kb << 10
		}
	}
	t.Fatal("no VmHWM")
	return 0
}

// memoryRun is a morning within a limit of memory.
type memoryRun struct {
	readers, rivers int
	limit           int // bytes of the service; Postgres is another process
	within          time.Duration
}

func (x memoryRun) run(t *testing.T) {
	_ = storetest.URL(t) // skips where there is no Postgres
	_, dbURL := ownPostgres(t, clubtest.Ready.URL(t))
	v := clubtest.NewOn(t, dbURL, nil)
	out, err := smtptest.Start(smtptest.Config{Discard: true})
	require.NoError(t, err)
	t.Cleanup(func() { _ = out.Close() })

	// A tenth wants every river, the others three of them; several homes.
	_, err = v.DB.Pool().Exec(t.Context(), `
		INSERT INTO coldseam.subscriber (email, name, state, prefs, zone, send_at, created_at, confirmed_at)
		SELECT 'angler' || i || '@home' || i % 40 || '.example', '', 'confirmed', p, 'America/Chicago', '04:45', $3, $3
		FROM generate_series(1, $1::int) i
		CROSS JOIN LATERAL (SELECT jsonb_build_object('zone', 'America/Chicago', 'send_at', '04:45', 'reaches', CASE WHEN i % 10 = 0 THEN '[]'::jsonb
		  ELSE jsonb_build_array('tamsen-bend', 'river-' || lpad((i % $2::int)::text, 2, '0'), 'river-' || lpad(((i + 7) % $2::int)::text, 2, '0')) END) AS p) x`,
		x.readers, x.rivers, democlub.Start)
	require.NoError(t, err)

	at, err := url.Parse(v.Config.Profiles[0].BaseURL)
	require.NoError(t, err)
	clock := swiftClock{base: clubtest.MorningAt(4, 44).Add(30 * time.Second), origin: time.Now(), speed: 1}
	c := newCage(t, x.limit)
	s := startServerIn(t, c, append(clock.env(at.Scheme+"://"+at.Host, out.Addr()), "COLDSEAM_CHILD_DB="+dbURL,
		"COLDSEAM_CHILD_RIVERS="+strconv.Itoa(x.rivers),
		"GOMEMLIMIT="+strconv.Itoa(x.limit*8/10))...)
	until := time.Now().Add(x.within)
	var first, queued time.Time
	sent := func() int {
		return v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state = 'sent'`)
	}

	for n := 0; n < x.readers; n = sent() {
		select {
		case err := <-s.done:
			t.Fatalf("the service ended: %v\n%s", err, tail(s.logged(t), 3000))
		case <-time.After(200 * time.Millisecond):
		}

		if queued.IsZero() && v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning'`) == x.readers {
			queued = time.Now()
		}
		if first.IsZero() && n > 0 {
			first = time.Now()
		}
		if time.Now().After(until) {
			t.Fatalf("%d of %d sent within %s; peak %d MB; %s\n%s", n, x.readers, x.within,
				peak(t, s.cmd.Process.Pid)>>20, states(t, v), tail(s.logged(t), 3000))
		}
	}

	took, top := time.Since(first), peak(t, s.cmd.Process.Pid)
	require.Less(t, top, x.limit, "peak of resident memory")
	require.NoError(t, s.cmd.Process.Signal(syscall.SIGTERM))
	require.NoError(t, <-s.done)
	payload := v.Count(t, `SELECT sum(length(payload)) / count(*) FROM coldseam.outbox WHERE kind = 'morning'`)
	t.Logf("%d mails of %d rivers: peak of resident memory %.0f MB of %d allowed, sent within %s of the first (%.0f/s), payload of a mail %.1f kB",
		x.readers, x.rivers, float64(top)/(1<<20), x.limit>>20, took.Round(time.Second),
		float64(x.readers)/took.Seconds(), float64(payload)/1e3)
}

func tail(s string, n int) string { return s[max(0, len(s)-n):] }
