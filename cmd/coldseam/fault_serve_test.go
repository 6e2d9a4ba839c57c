package main

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/store/storetest"
)

// childEnv makes the test binary the program itself.
const childEnv = "COLDSEAM_COMMAND_CHILD"

// childClock is the moment from which the child's clock runs.
const childClock = "COLDSEAM_COMMAND_CLOCK"

func TestMain(m *testing.M) {
	if os.Getenv(childEnv) != "" {
		if at, err := time.Parse(time.RFC3339, os.Getenv(childClock)); err == nil {
			os.Exit(executeAt(context.Background(), democlub.NewClock(at).Now, os.Args[1:], os.Stdout, os.Stderr))
		}
		main()
	}
	clubtest.Main(m)
}

// freePort is a port that was free a moment ago.
func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// writeConfig is a club without a river: enough to serve.
func writeConfig(t *testing.T, listen string) (path, state string) {
	t.Helper()
	dir := t.TempDir()
	for _, d := range []string{filepath.Dir(dir), dir} { // run as root, the database has a user of its own
		require.NoError(t, os.Chmod(d, 0o711))
	}
	state = filepath.Join(dir, "state")
	require.NoError(t, os.Mkdir(state, 0o755))
	path = filepath.Join(dir, "coldseam.toml")

	key := filepath.Join(dir, "token.key")
	require.NoError(t, os.WriteFile(key, []byte(strings.Repeat("k", 40)), 0o600))
	require.NoError(t, os.WriteFile(path, []byte(fmt.Sprintf(`
state_dir = %q
listen = %q
public_url = "http://club.example.org"
[club]
name = "Tamsen Valley Walleye Club"
zone = "America/Chicago"
[mail]
smtp = "127.0.0.1:1"
tls = "none"
from = "Club <morning@club.example.org>"
list_id = "morning.club.example.org"
token_key_file = %q
`, state, listen, key)), 0o600))
	return path, state
}

// spawn runs the program's own command line in a process of its own.
func spawn(t *testing.T, env []string, args ...string) (*exec.Cmd, *bytes.Buffer) {
	t.Helper()
	cmd := exec.Command("/proc/self/exe", args...)
	cmd.Env = append(append(os.Environ(), childEnv+"=1"), env...)
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	var errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &errs, &errs
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	return cmd, &errs
}

// The service on its private Postgres: Postgres is killed under it, twice, and
// each time the health page recovers within seconds; SIGTERM ends it with
// status 0.
func TestServeOutlivesItsPostgres(t *testing.T) {
	t.Parallel()
	_ = storetest.URL(t) // skips where there is no Postgres
	addr := freePort(t)
	conf, state := writeConfig(t, addr)
	cmd, errs := spawn(t, []string{"COLDSEAM_DATABASE_URL="}, "serve", "--config", conf)
	done := make(chan error, 1)
	go func() { done <- cmd.Wait() }()

	require.Eventually(t, func() bool { return clubtest.HealthOK(addr) }, 60*time.Second, 50*time.Millisecond, "%s", errs)
	pid := func() int {
		b, err := os.ReadFile(filepath.Join(state, "database", "pg", "postmaster.pid"))
		if err != nil {
			return 0
		}
		n, _ := strconv.Atoi(strings.SplitN(string(b), "\n", 2)[0])
		return n
	}

	for range 2 {
		old := pid()
		require.Positive(t, old, "the pid of the Postgres that this service started")
		began := time.Now()
		require.NoError(t, syscall.Kill(old, syscall.SIGKILL))
		require.Eventually(t, func() bool {
			p := pid()
			return p != 0 && p != old && clubtest.HealthOK(addr)
		}, 30*time.Second, 50*time.Millisecond)
		t.Logf("recovered after %s", time.Since(began).Round(10*time.Millisecond))
	}

	require.NoError(t, cmd.Process.Signal(syscall.SIGTERM))
	select {
	case err := <-done:
		require.NoError(t, err, "%s", errs)
	case <-time.After(40 * time.Second):
		t.Fatal("the service does not end on SIGTERM")
	}
	require.Zero(t, pid(), "its Postgres ends with it")
}

// An old program refuses a newer schema and says what to do.
func TestServeRefusesNewerSchema(t *testing.T) {
	t.Parallel()
	dbURL := storetest.URL(t)
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	c, err := pgx.Connect(ctx, dbURL)
	require.NoError(t, err)
	_, err = c.Exec(ctx, `UPDATE coldseam.schema_version SET version = version + 1`)
	require.NoError(t, err)
	require.NoError(t, c.Close(ctx))

	conf, _ := writeConfig(t, freePort(t))
	for _, args := range [][]string{{"serve", "--config", conf}, {"fetch", "--config", conf}} {
		cmd, errs := spawn(t, []string{"COLDSEAM_DATABASE_URL=" + dbURL}, args...)
		err := cmd.Wait()
		var exit *exec.ExitError
		require.ErrorAs(t, err, &exit, "%v: %s", args, errs)
		require.Contains(t, errs.String(), "is newer than this program")
		require.NotContains(t, errs.String(), "goroutine ", "no stack")
	}
}
