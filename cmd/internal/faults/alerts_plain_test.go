//go:build !race

package faults

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/notify/smtptest"
	"example.org/coldseam/store"
	"example.org/coldseam/store/backup"
	"example.org/coldseam/store/localpg"
	"example.org/coldseam/store/storetest"
)

// Each alert rule is fired by its fault: a server of the club is scraped by
// Prometheus, whose alertmanager tells a webhook. Only how long a fault must last
// is cut, to seconds. .ci/alerts.sh, which keeps the figures.
func TestAlertsReachSomebody(t *testing.T) {
	out := os.Getenv("COLDSEAM_ALERTS")
	if out == "" {
		t.Skip("long, wants prometheus: .ci/alerts.sh")
	}
	var refuse atomic.Bool
	zone := env.Zone("America/Chicago")
	world, err := simagency.Generate(1, coldseam.DateOf(time.Now().In(zone)))
	require.NoError(t, err)
	dbURL := storetest.URL(t)
	v := clubtest.NewIn(t, dbURL, func(smtptest.Event) smtptest.Fault {
		if refuse.Load() {
			return smtptest.Fault{Code: 451, Text: "not now"}
		}
		return smtptest.Fault{}
	}, time.Now(), world, democlub.TOML)
	for i := range 20 {
		v.Join(t, fmt.Sprintf("angler%d@home%d.example", i, i%7), coldseam.Preferences{})
	}
	pipe := newMutePipe(t, dialerOf(t, dbURL))
	disk := smallDisk(t, 64)
	bin, err := localpg.FindClient()
	require.NoError(t, err)
	_, err = backup.Make(t.Context(), v.DB, backup.Options{Dir: filepath.Join(disk, "backup"), Bin: bin})
	require.NoError(t, err)

	v.Agency.Revive("NG-1003") // the story of the demo has a silent gauge
	w := &watch{metrics: freePort(t), firing: map[string]bool{}}
	agency, err := url.Parse(v.Config.Profiles[0].BaseURL)
	require.NoError(t, err)
	var s *server
	start := func(ahead time.Duration) {
		t.Helper()
		now := time.Now()
		w.ahead.Store(int64(ahead))
		s = startServer(t, append(swiftClock{now.Add(ahead), now, 1}.env(agency.Scheme+"://"+agency.Host, v.Sink.Addr()),
			"COLDSEAM_CHILD_DB="+pipe.through(t, dbURL), "COLDSEAM_CHILD_METRICS="+w.metrics, "TMPDIR="+disk)...)
	}
	kill := func() {
		require.NoError(t, s.cmd.Process.Kill())
		<-s.done
	}
	sql := func(text string) {
		t.Helper()
		_, err := v.DB.Pool().Exec(t.Context(), text)
		require.NoError(t, err)
	}
	start(0)
	require.Eventually(t, func() bool {
		return v.Count(t, `SELECT count(DISTINCT profile) FROM coldseam.raw_fetch WHERE status = 200`) >= 4
	}, 2*time.Minute, time.Second, "the feeds are read")
	w.begin(t)
	w.scraped(t, 4)
	require.Empty(t, w.told(), "a club in good order")

	w.fires(t, func() { require.NoError(t, v.DB.Hold(t.Context(), store.Edit{Who: "keeper", Why: "a look"})) }, "MailHeld")
	require.NoError(t, v.DB.Release(t.Context(), store.Edit{Who: "keeper", Why: "looked"}))
	w.fires(t, func() { fillDisk(t, disk) }, "DiskFull")
	require.NoError(t, os.Remove(filepath.Join(disk, "ballast")))
	w.fires(t, func() {
		sql(`UPDATE river.river_queue SET paused_at = now()`)
		sql(`INSERT INTO river.river_job (kind, queue, args, state, max_attempts, scheduled_at, created_at)
			VALUES ('upkeep', 'stuck', '{}', 'available', 1, now() - interval '11 minutes', now() - interval '11 minutes')`)
	}, "QueueStuck")
	sql(`DELETE FROM river.river_job WHERE queue = 'stuck'`)
	sql(`UPDATE river.river_queue SET paused_at = NULL`)
	w.fires(t, func() { pipe.muted.Store(true) }, "DatabaseDown")
	pipe.muted.Store(false)
	w.fires(t, kill, "NotRunning")
	w.fires(t, func() {
		start(0)
		for range 2 {
			w.scraped(t, 2)
			kill()
			start(0)
		}
	}, "Restarting")

	// The agency and the relay go, and the next mornings with them.
	kill()
	require.NoError(t, v.Agency.Close())
	refuse.Store(true)
	day := coldseam.DateOf(time.Now().In(zone)).Add(3)
	clock, err := coldseam.ParseClock(v.Config.Club.Deadline)
	require.NoError(t, err)
	w.fires(t, func() { start(time.Until(day.At(clock, zone).Add(2 * time.Minute))) },
		"MorningMissing", "GaugeSilent", "WeatherOld", "WarningsOld", "BackupOld")
	require.ElementsMatch(t, w.rules, w.told(), "every rule")
	require.NoError(t, os.WriteFile(out, []byte(strings.Join(w.notes, "\n")+"\n"), 0o644))
}

// watch is Prometheus with the rules of deploy/, its alertmanager and who is told.
type watch struct {
	metrics string       // where the server tells its metrics
	ahead   atomic.Int64 // of the club's clock before the machine's
	scrapes atomic.Int64 // that brought something
	rules   []string
	notes   []string
	mu      sync.Mutex
	firing  map[string]bool
}

// stamp is a line of a time, which is told by the club's clock.
var stamp = regexp.MustCompile(`(?m)^(coldseam_\w+_timestamp_seconds(?:\{.*\})?) (\S+)$`)

// begin starts what watches.
func (w *watch) begin(t *testing.T) {
	t.Helper()
	told := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var m struct {
			Status string
			Alerts []struct{ Labels map[string]string }
		}
		if json.NewDecoder(r.Body).Decode(&m) != nil || m.Status != "firing" {
			return
		}
		w.mu.Lock()
		defer w.mu.Unlock()
		for _, a := range m.Alerts {
			w.firing[a.Labels["alertname"]] = true
		}
	}))
	t.Cleanup(told.Close)
	scraped := httptest.NewServer(http.HandlerFunc(w.scrape))
	t.Cleanup(scraped.Close)

	dir, manager := t.TempDir(), freePort(t)
	text, err := os.ReadFile("../../../deploy/alerts.yml")
	require.NoError(t, err)
	for _, m := range regexp.MustCompile(`alert: (\w+)`).FindAllStringSubmatch(string(text), -1) {
		w.rules = append(w.rules, m[1])
	}
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		return path
	}
	write("rules.yml", regexp.MustCompile(`for: \d+m`).ReplaceAllString(string(text), "for: 15s"))
	prometheus := write("prometheus.yml", fmt.Sprintf(`
global: {scrape_interval: 10s, scrape_timeout: 10s, evaluation_interval: 2s}
rule_files: [rules.yml]
alerting: {alertmanagers: [{static_configs: [{targets: ['%s']}]}]}
scrape_configs: [{job_name: club, static_configs: [{targets: ['%s']}]}]
`, manager, strings.TrimPrefix(scraped.URL, "http://")))
	alerts := write("alertmanager.yml", fmt.Sprintf(`
route: {receiver: keeper, group_by: [alertname], group_wait: 0s, group_interval: 1s}
receivers: [{name: keeper, webhook_configs: [{url: '%s'}]}]
`, told.URL))
	run := func(name string, args ...string) {
		log, err := os.Create(filepath.Join(dir, name+".log"))
		require.NoError(t, err)
		cmd := exec.Command(name, args...)
		cmd.Stdout, cmd.Stderr = log, log
		cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
		require.NoError(t, cmd.Start())
		t.Cleanup(func() {
			_ = cmd.Process.Kill()
			_ = cmd.Wait()
			if text, err := os.ReadFile(log.Name()); err == nil && t.Failed() {
				t.Logf("%s", tail(string(text), 2000))
			}
		})
	}
	run("prometheus-alertmanager", "--config.file="+alerts, "--storage.path="+filepath.Join(dir, "am"),
		"--web.listen-address="+manager, "--cluster.listen-address=")
	run("prometheus", "--config.file="+prometheus, "--storage.tsdb.path="+filepath.Join(dir, "tsdb"),
		"--web.listen-address="+freePort(t))
}

// scrape passes the server's metrics on, times shifted from the club's clock to
// the machine's, by which Prometheus counts.
func (w *watch) scrape(out http.ResponseWriter, _ *http.Request) {
	res, err := http.Get("http://" + w.metrics + "/metrics")
	if err != nil {
		http.Error(out, err.Error(), http.StatusBadGateway)
		return
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		http.Error(out, err.Error(), http.StatusBadGateway)
		return
	}
	ahead := time.Duration(w.ahead.Load()).Seconds()
	text := stamp.ReplaceAllStringFunc(string(body), func(line string) string {
		m := stamp.FindStringSubmatch(line)
		x, err := strconv.ParseFloat(m[2], 64)
		if err != nil || x == 0 {
			return line
		}
		return m[1] + " " + strconv.FormatFloat(x-ahead, 'f', -1, 64)
	})
	_, _ = io.WriteString(out, text)
	w.scrapes.Add(1)
}

// scraped waits for so many scrapes.
func (w *watch) scraped(t *testing.T, n int64) {
	t.Helper()
	from := w.scrapes.Load()
	require.Eventually(t, func() bool { return w.scrapes.Load() >= from+n }, 2*time.Minute, 100*time.Millisecond, "scrapes")
}

func (w *watch) told() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	var out []string
	for name := range w.firing {
		out = append(out, name)
	}
	return out
}

// fires brings a fault about and waits until somebody is told of it, who had not
// been before.
func (w *watch) fires(t *testing.T, fault func(), names ...string) {
	t.Helper()
	for _, name := range names {
		require.NotContains(t, w.told(), "Coldseam"+name)
	}
	began := time.Now()
	fault()
	for _, name := range names {
		require.Eventually(t, func() bool { return slices.Contains(w.told(), "Coldseam"+name) }, 2*time.Minute,
			100*time.Millisecond, name)
		w.notes = append(w.notes, fmt.Sprintf("%-15s told %3.0f s after the fault", name, time.Since(began).Seconds()))
		t.Log(w.notes[len(w.notes)-1])
	}
}

// freePort is an address of the loopback that nobody listens at.
func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, l.Close())
	return l.Addr().String()
}
