package env

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// A file that others could read is closed before anything is written into it.
func TestWriteClosedClosesWhatWasThere(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "preview.txt")
	require.NoError(t, os.WriteFile(path, []byte("a longer text of before"), 0o644))
	require.NoError(t, WriteClosed(path, []byte("to keeper@club.example.org")))
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, "to keeper@club.example.org", string(b))
	st, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), st.Mode().Perm())
}

// What root writes into a service's directory is the service's.
func TestFilesOfRootAreOfTheOwnerOfTheirDirectory(t *testing.T) {
	t.Parallel()
	if os.Getuid() != 0 {
		t.Skip("needs root: another's directory")
	}
	const service = 12345
	dir := t.TempDir()
	require.NoError(t, os.Chown(dir, service, service))
	made, err := WriteNew(filepath.Join(dir, "new"), nil, 0o600)
	require.NoError(t, err)
	require.True(t, made)
	require.NoError(t, WriteClosed(filepath.Join(dir, "closed"), nil))
	for _, name := range []string{"new", "closed"} {
		st, err := os.Stat(filepath.Join(dir, name))
		require.NoError(t, err)
		require.EqualValues(t, service, st.Sys().(*syscall.Stat_t).Uid, name)
		require.EqualValues(t, service, st.Sys().(*syscall.Stat_t).Gid, name)
	}
}
