package localpg_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store/localpg"
)

func TestRunningIsFoundAndGone(t *testing.T) {
	t.Parallel()
	need(t)
	dir := copied(t, stateDir(t))
	_, ok := localpg.Running(dir)
	require.False(t, ok, "nothing there yet")

	s := start(t, localpg.Options{Dir: dir})
	_, err := localpg.Start(t.Context(), localpg.Options{Dir: dir})
	require.ErrorIs(t, err, coldseam.ErrUnavailable, "the directory has an owner")
	dsn, ok := localpg.Running(dir)
	require.True(t, ok)
	require.Equal(t, "1", query(t, dsn, "SELECT 1"))
	require.NoError(t, s.Stop())
	_, ok = localpg.Running(dir)
	require.False(t, ok)

	// A file left over by a machine that lost power names no live server.
	require.NoError(t, os.WriteFile(filepath.Join(dir, "pg", "postmaster.pid"),
		[]byte("999999\n/x\n1\n5432\n/nowhere\n\n0\nready\n"), 0o600))
	_, ok = localpg.Running(dir)
	require.False(t, ok)
}
