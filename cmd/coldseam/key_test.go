package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestKeyIsMadeOnceAndKept(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "sub", "token.key")
	a, err := ensureKey(path)
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(a), 32)
	b, err := ensureKey(path)
	require.NoError(t, err)
	require.Equal(t, a, b)
	st, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), st.Mode().Perm())
	require.NoError(t, os.WriteFile(path, []byte("short"), 0o600))
	_, err = ensureKey(path)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}
