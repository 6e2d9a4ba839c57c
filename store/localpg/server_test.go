package localpg_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store/localpg"
)

// stateDir is a directory that the database user can enter: testing's own
// temporary directories are closed.
func stateDir(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "coldseam-localpg-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o711))
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func need(t *testing.T) string {
	t.Helper()
	bin, err := localpg.Find()
	if err != nil && os.Getenv("CI") == "" {
		t.Skipf("no private Postgres: %v", err)
	}
	require.NoError(t, err)
	return bin
}

// made is a cluster made once: most tests are not about making one, and a copy
// is cheaper.
var made struct {
	once sync.Once
	dir  string
	err  error
}

// copied puts a copy of the made cluster into a state directory.
func copied(t *testing.T, dir string) string {
	t.Helper()
	need(t)
	made.once.Do(func() {
		if made.dir, made.err = os.MkdirTemp("", "coldseam-localpg-made-"); made.err != nil {
			return
		}
		if made.err = os.Chmod(made.dir, 0o711); made.err != nil {
			return
		}
		var s *localpg.Server
		if s, made.err = localpg.Start(context.Background(),
			localpg.Options{Dir: made.dir, Fast: true}); made.err == nil {
			made.err = s.Stop()
		}
	})

	require.NoError(t, made.err)
	require.NoError(t, os.MkdirAll(dir, 0o711))
	out, err := exec.Command("cp", "-a", filepath.Join(made.dir, "pg"), dir).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return dir
}

func start(t *testing.T, o localpg.Options) *localpg.Server {
	t.Helper()
	need(t)
	o.Fast = true
	s, err := localpg.Start(t.Context(), o)
	require.NoError(t, err)
	t.Cleanup(func() { s.Stop() })
	return s
}

func query(t *testing.T, url, sql string) string {
	t.Helper()
	c, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer c.Close(context.Background())
	var out string
	require.NoError(t, c.QueryRow(t.Context(), sql).Scan(&out))
	return out
}

func exec1(t *testing.T, url, sql string) {
	t.Helper()
	c, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer c.Close(context.Background())
	_, err = c.Exec(t.Context(), sql)
	require.NoError(t, err)
}

// A process that asked for a signal at the end of the thread that began it
// outlives a server that used the same thread later: thirty-two threads begin a
// process each and go back to the runtime before the server takes one of them.
func TestStopEndsNoOtherProcess(t *testing.T) {
	dir := copied(t, stateDir(t))
	var begun, back sync.WaitGroup
	others := make([]*exec.Cmd, 32)
	begun.Add(len(others))
	for i := range others {
		others[i] = exec.Command("sleep", "600")
		others[i].SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
		back.Go(func() {
			runtime.LockOSThread()
			defer runtime.UnlockOSThread()
			assert.NoError(t, others[i].Start())
			begun.Done()
			begun.Wait() // no thread is used twice
		})
	}
	back.Wait()
	t.Cleanup(func() {
		for _, c := range others {
			_ = c.Process.Kill()
			_ = c.Wait()
		}
	})

	require.NoError(t, start(t, localpg.Options{Dir: dir}).Stop())
	time.Sleep(100 * time.Millisecond) // the thread ends after its goroutine
	for _, c := range others {
		stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", c.Process.Pid))
		require.NoError(t, err)
		require.NotContains(t, string(stat), ") Z ", "another process ended with the server")
	}
}

func TestStartStopStart(t *testing.T) {
	t.Parallel()
	dir := stateDir(t)
	s := start(t, localpg.Options{Dir: dir})
	require.Equal(t, "", query(t, s.URL(""), `SHOW listen_addresses`), "no network")
	require.Equal(t, "on", query(t, s.URL(""), `SHOW data_checksums`))
	require.Equal(t, "coldseam", query(t, s.URL(""), `SELECT current_database()`))
	exec1(t, s.URL(""), `CREATE TABLE kept AS SELECT 'here'::text AS v`)

	_, err := localpg.Start(t.Context(), localpg.Options{Dir: dir})
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.ErrorContains(t, err, "in use by another process")

	require.NoError(t, s.Stop())
	require.NoError(t, s.Stop(), "a second stop does nothing")
	began := time.Now()
	s = start(t, localpg.Options{Dir: dir})
	t.Logf("later start %v", time.Since(began))
	require.Equal(t, "here", query(t, s.URL(""), `SELECT v FROM kept`))
	st, err := os.Stat(filepath.Join(dir, "run"))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o700), st.Mode().Perm())
	require.NoDirExists(t, filepath.Join(dir, "pg.tmp"))
}

func TestLongPathMovesTheSocket(t *testing.T) {
	t.Parallel()
	dir := copied(t, filepath.Join(stateDir(t), strings.Repeat("deep/", 30)))
	s := start(t, localpg.Options{Dir: dir})
	require.Equal(t, "1", query(t, s.URL(""), `SELECT '1'`))
	sock := query(t, s.URL(""), `SHOW unix_socket_directories`)
	require.NotContains(t, sock, "deep")
	require.NoError(t, s.Stop())
	require.NoDirExists(t, sock, "the temporary directory goes with the server")
}

func TestOtherMajorIsRefusedAndKept(t *testing.T) {
	t.Parallel()
	dir := copied(t, stateDir(t))
	s := start(t, localpg.Options{Dir: dir})
	major := s.Major()
	require.NoError(t, s.Stop())
	version := filepath.Join(dir, "pg", "PG_VERSION")
	require.NoError(t, os.WriteFile(version, []byte(strconv.Itoa(major-1)+"\n"), 0o600))
	before, err := os.ReadDir(filepath.Join(dir, "pg"))
	require.NoError(t, err)

	_, err = localpg.Start(t.Context(), localpg.Options{Dir: dir})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, fmt.Sprintf("was made by Postgres %d", major-1))
	require.ErrorContains(t, err, "dump it")
	after, err := os.ReadDir(filepath.Join(dir, "pg"))
	require.NoError(t, err)
	require.Len(t, after, len(before), "nothing is deleted")
	require.NoError(t, os.WriteFile(version, []byte(strconv.Itoa(major)+"\n"), 0o600))
	s = start(t, localpg.Options{Dir: dir})
	require.NoError(t, s.Ready())

	// A directory of somebody else is not ours to fill.
	odd := stateDir(t)
	require.NoError(t, os.MkdirAll(filepath.Join(odd, "pg", "photos"), 0o755))
	_, err = localpg.Start(t.Context(), localpg.Options{Dir: odd})
	require.ErrorContains(t, err, "without PG_VERSION")
}

func TestClosedParentIsNamed(t *testing.T) {
	t.Parallel()
	need(t)
	if os.Getuid() != 0 {
		t.Skip("only root changes the user")
	}
	dir := stateDir(t)
	closed := filepath.Join(dir, "closed")
	require.NoError(t, os.MkdirAll(filepath.Join(closed, "a", "b"), 0o755))
	require.NoError(t, os.Chmod(closed, 0o700))
	_, err := localpg.Start(t.Context(), localpg.Options{Dir: filepath.Join(closed, "a", "b")})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "cannot enter "+closed+",")
}

func TestHalfInitdbIsMadeAnew(t *testing.T) {
	t.Parallel()
	dir := stateDir(t)
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "pg.tmp", "base"), 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "pg.tmp", "PG_VERSION"), []byte("15\n"), 0o600))
	s := start(t, localpg.Options{Dir: dir})
	require.Equal(t, "1", query(t, s.URL(""), `SELECT '1'`))
}

func TestServerIsRestarted(t *testing.T) {
	t.Parallel()
	s := start(t, localpg.Options{Dir: copied(t, stateDir(t)), Settings: map[string]string{"synchronous_commit": "on"}})
	exec1(t, s.URL(""), `CREATE TABLE kept AS SELECT 'here'::text AS v`)
	old := s.Pid()
	require.NoError(t, syscall.Kill(old, syscall.SIGKILL))
	require.Eventually(t, func() bool {
		return s.Ready() == nil && s.Pid() != old && s.Pid() != 0
	}, 20*time.Second, 20*time.Millisecond)
	require.Equal(t, 1, min(s.Restarts(), 1))
	require.Equal(t, "here", query(t, s.URL(""), `SELECT v FROM kept`))
	require.NoError(t, s.Stop())
	require.Error(t, s.Ready())
}

func TestBadSettingNamesTheReason(t *testing.T) {
	t.Parallel()
	dir := copied(t, stateDir(t))
	require.NoError(t, start(t, localpg.Options{Dir: dir}).Stop())
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
	defer cancel()
	_, err := localpg.Start(ctx, localpg.Options{Dir: dir, Fast: true,
		Settings: map[string]string{"shared_buffers": "lots"}})
	require.ErrorContains(t, err, "shared_buffers")
}

// TestMain lets the binary be its own child: a process that holds a server and
// is killed.
func TestMain(m *testing.M) {
	if dir := os.Getenv("LOCALPG_CHILD"); dir != "" {
		s, err := localpg.Start(context.Background(), localpg.Options{Dir: dir, Fast: true})
		if err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
		fmt.Println("pid", s.Pid())
		select {}
	}
	code := m.Run()
	if made.dir != "" {
		os.RemoveAll(made.dir)
	}
	os.Exit(code)
}

// child starts this binary as another process, as the given user when uid > 0.
func child(t *testing.T, dir string, uid int) (*exec.Cmd, string) {
	t.Helper()
	cmd := exec.Command("/proc/self/exe")
	cmd.Env = append(os.Environ(), "LOCALPG_CHILD="+dir)
	if uid > 0 {
		exe := filepath.Join(filepath.Dir(dir), "child.test")
		b, err := os.ReadFile("/proc/self/exe")
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(exe, b, 0o755))
		cmd.Path = exe
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(uid)}}
	}

	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	return cmd, strings.TrimSpace(line)
}

func TestServerEndsWithItsProcess(t *testing.T) {
	t.Parallel()
	need(t)
	dir := copied(t, stateDir(t))
	cmd, line := child(t, dir, 0)
	pid, err := strconv.Atoi(strings.TrimPrefix(line, "pid "))
	require.NoError(t, err, line)
	require.NoError(t, cmd.Process.Kill())
	require.Eventually(t, func() bool {
		stat, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "stat"))
		return err != nil || strings.Contains(string(stat), ") Z ") // dead, and nobody collects it
	}, 10*time.Second, 10*time.Millisecond, "the server outlived its process")
	s := start(t, localpg.Options{Dir: dir})
	require.NoError(t, s.Ready())
}

// A program beside a database elsewhere, as in the image, has the client package alone.
func TestClientProgramsAlone(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"pg_dump", "pg_restore"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), nil, 0o700))
	}
	t.Setenv("PG_BIN", dir)

	found, err := localpg.FindClient()
	require.NoError(t, err)
	require.Equal(t, dir, found)
	_, err = localpg.Find()
	require.ErrorIs(t, err, coldseam.ErrNotFound)
}

func TestOrdinaryUser(t *testing.T) {
	t.Parallel()
	need(t)
	if os.Getuid() != 0 {
		t.Skip("the other tests run as an ordinary user already")
	}
	top := stateDir(t)
	dir := filepath.Join(top, "state")
	require.NoError(t, os.Mkdir(dir, 0o700))
	const nobody = 65534
	require.NoError(t, os.Chown(dir, nobody, nobody))
	_, line := child(t, dir, nobody)
	require.True(t, strings.HasPrefix(line, "pid "), line)
	st, err := os.Stat(filepath.Join(dir, "pg"))
	require.NoError(t, err)
	require.EqualValues(t, nobody, st.Sys().(*syscall.Stat_t).Uid)
}

// A server that outlived its program is asked to stop, not run into.
func TestLeftOverServerIsStopped(t *testing.T) {
	t.Parallel()
	bin := need(t)
	dir := copied(t, stateDir(t))
	s := start(t, localpg.Options{Dir: dir})
	require.NoError(t, s.Stop())
	pg := filepath.Join(dir, "pg")
	st, err := os.Stat(pg)
	require.NoError(t, err)

	cmd := exec.Command(filepath.Join(bin, "postgres"), "-D", pg, "-c", "listen_addresses=", "-c",
		"unix_socket_directories="+filepath.Join(dir, "run"))
	cmd.Dir = "/"
	owner := st.Sys().(*syscall.Stat_t)
	if os.Getuid() == 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: owner.Uid, Gid: owner.Gid}}
	}
	require.NoError(t, cmd.Start())

	ended := make(chan struct{})
	go func() { cmd.Wait(); close(ended) }()
	t.Cleanup(func() { cmd.Process.Kill(); <-ended })
	require.Eventually(t, func() bool {
		b, err := os.ReadFile(filepath.Join(pg, "postmaster.pid"))
		return err == nil && strings.Contains(string(b), "ready")
	}, 20*time.Second, 10*time.Millisecond)
	s = start(t, localpg.Options{Dir: dir})
	require.NotEqual(t, cmd.Process.Pid, s.Pid())

	select {
	case <-ended:
	default:
		t.Fatal("the left-over server still runs")
	}
}

// A full disk is an error that says so, and nothing is lost by it: with room
// again the server answers and has all that was committed.
func TestDiskFull(t *testing.T) {
	t.Parallel()
	need(t)
	if os.Getuid() != 0 {
		t.Skip("only root can mount a small disk")
	}
	top := stateDir(t)
	dir := filepath.Join(top, "small")
	require.NoError(t, os.Mkdir(dir, 0o711))

	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=110m,mode=0711"); err != nil {
		t.Skipf("cannot mount a small disk: %v", err)
	}
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(dir, syscall.MNT_DETACH)) })
	s, err := localpg.Start(t.Context(), localpg.Options{Dir: filepath.Join(dir, "state"),
		Settings: map[string]string{"max_wal_size": "32MB", "min_wal_size": "32MB", "shared_buffers": "16MB"}})
	require.NoError(t, err)
	t.Cleanup(func() { s.Stop() })
	exec1(t, s.URL(""), `CREATE TABLE t (n int, pad text)`)

	rows := 0
	for ; rows < 200; rows++ {
		c, err := pgx.Connect(t.Context(), s.URL(""))
		if err != nil {
			break
		}
		_, err = c.Exec(t.Context(),
			`INSERT INTO t SELECT $1, repeat(md5(i::text), 30) FROM generate_series(1, 1000) i`, rows)
		c.Close(context.Background())
		if err != nil {
			t.Logf("after %d batches: %v", rows, err)
			break
		}
	}

	require.Less(t, rows, 200, "the disk was meant to fill")
	require.Positive(t, rows)
	require.NoError(t, syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT, "size=400m"))
	began := time.Now()
	require.Eventually(t, func() bool {
		c, err := pgx.Connect(t.Context(), s.URL(""))
		if err != nil {
			return false
		}
		defer c.Close(context.Background())
		var batches, n int
		err = c.QueryRow(t.Context(), `SELECT count(DISTINCT n), count(*) FROM t`).Scan(&batches, &n)
		return err == nil && batches >= rows && n == batches*1000
	}, 30*time.Second, 50*time.Millisecond)
	t.Logf("whole again after %v", time.Since(began))
	exec1(t, s.URL(""), `INSERT INTO t VALUES (-1, '')`)
}
