package localpg_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store/localpg"
)

// asOwner lets a command run as the owner of a directory.
func asOwner(t *testing.T, cmd *exec.Cmd, dir string) *exec.Cmd {
	t.Helper()
	st, err := os.Stat(dir)
	require.NoError(t, err)
	if owner := st.Sys().(*syscall.Stat_t); os.Getuid() == 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: owner.Uid, Gid: owner.Gid}}
	}
	return cmd
}

// After a hard kill of everything, the number in postmaster.pid and in the lock of
// the socket may be that of any other process of the database's user.
func TestNumberOfAnotherProcessIsNoServer(t *testing.T) {
	t.Parallel()
	need(t)
	dir := copied(t, stateDir(t))
	s := start(t, localpg.Options{Dir: dir})
	exec1(t, s.URL(""), `CREATE TABLE kept AS SELECT 'here'::text AS v`)
	file := filepath.Join(dir, "pg", "postmaster.pid")
	old, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, s.Stop())

	other := asOwner(t, exec.Command("sleep", "600"), filepath.Join(dir, "pg"))
	require.NoError(t, other.Start())
	t.Cleanup(func() { other.Process.Kill(); other.Wait() })
	_, rest, _ := strings.Cut(string(old), "\n")
	number := fmt.Sprintln(other.Process.Pid)
	require.NoError(t, os.WriteFile(file, []byte(number+rest), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "run", ".s.PGSQL.5432.lock"), []byte(number+rest), 0o600))

	for _, f := range []string{file, filepath.Join(dir, "run", ".s.PGSQL.5432.lock")} {
		st, err := os.Stat(filepath.Join(dir, "pg"))
		require.NoError(t, err)
		owner := st.Sys().(*syscall.Stat_t)
		require.NoError(t, os.Chown(f, int(owner.Uid), int(owner.Gid)))
	}
	s = start(t, localpg.Options{Dir: dir})
	require.Equal(t, "here", query(t, s.URL(""), `SELECT v FROM kept`))
	require.NoError(t, other.Process.Signal(syscall.Signal(0)), "and the other process lives")
}

// What an initdb that outlived its start is still doing is ended before the next
// one makes its own directory.
func TestInitdbLeftOverIsEnded(t *testing.T) {
	t.Parallel()
	need(t)
	dir := stateDir(t)
	tmp := filepath.Join(dir, "pg.tmp")
	require.NoError(t, os.Mkdir(tmp, 0o755))
	left := exec.Command("sleep", "600")
	left.Dir = tmp
	require.NoError(t, left.Start())

	ended := make(chan struct{})
	go func() { left.Wait(); close(ended) }()
	t.Cleanup(func() { left.Process.Kill(); <-ended })
	s := start(t, localpg.Options{Dir: dir})
	require.NoError(t, s.Ready())
	select {
	case <-ended:
	case <-time.After(10 * time.Second):
		t.Fatal("it still works in the directory")
	}
}

// Names that mean something else in a list of hosts or sockets.
func TestStateDirectoriesWithOddNames(t *testing.T) {
	t.Parallel()
	need(t)
	for _, name := range []string{"with space", "a,b", "it's", `qu"ote`, "100%", "a+b=c&d", "back\\slash", "ünï",
		"#$!*", strings.Repeat("long", 40)} {
		dir := copied(t, filepath.Join(stateDir(t), name))
		s := start(t, localpg.Options{Dir: dir})
		require.Equal(t, "1", query(t, s.URL(""), `SELECT '1'`), name)
		dsn, ok := localpg.Running(dir)
		require.True(t, ok, name)
		require.Equal(t, "1", query(t, dsn, `SELECT '1'`), name)
		require.NoError(t, s.Stop())
	}
	for _, name := range []string{"line\nbreak", "car\rriage", "bad\xffbyte"} {
		dir := filepath.Join(stateDir(t), name)
		_, err := localpg.Start(t.Context(), localpg.Options{Dir: dir})
		require.ErrorIs(t, err, coldseam.ErrInvalid, "%q", name)
		require.NoDirExists(t, dir, "refused before anything was made")
	}
}

// Not parallel: TMPDIR is of the whole process.
func TestTemporaryDirectoryThatCannotBeUsed(t *testing.T) {
	need(t)
	deep := copied(t, filepath.Join(stateDir(t), strings.Repeat("deep/", 30)))
	closed := filepath.Join(stateDir(t), "closed")
	require.NoError(t, os.Mkdir(closed, 0o700))
	for _, tmp := range []string{closed, filepath.Join(t.TempDir(), strings.Repeat("long", 30)), "/nowhere",
		filepath.Join(stateDir(t), "a,b")} {
		if tmp != "/nowhere" {
			require.NoError(t, os.MkdirAll(tmp, 0o700))
		}
		t.Setenv("TMPDIR", tmp)
		s, err := localpg.Start(t.Context(), localpg.Options{Dir: deep, Fast: true})
		require.NoError(t, err, tmp)
		require.Equal(t, "1", query(t, s.URL(""), `SELECT '1'`), tmp)
		require.NoError(t, s.Stop())
	}
}
