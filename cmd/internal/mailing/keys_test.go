package mailing

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/notify"
)

func TestKeyIsMadeOnceAndKept(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "sub", "token.key")
	a, err := EnsureKey(path)
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(a), 32)
	b, err := EnsureKey(path)
	require.NoError(t, err)
	require.Equal(t, a, b)
	st, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), st.Mode().Perm())
	require.NoError(t, os.WriteFile(path, []byte("short"), 0o600))
	_, err = EnsureKey(path)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

// A changed key leaves links that were sent before at work.
func TestPreviousTokenKey(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	write := func(name, key string) string {
		p := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(p, []byte(key+"\n"), 0o600))
		return p
	}
	old := write("old", strings.Repeat("o", 40))
	m := config.Mail{ListID: "morning.example.org", TokenKeyFile: old}
	before, err := tokensOf(m, nil)
	require.NoError(t, err)

	link := before.Sign(notify.Claim{Purpose: notify.ForUnsubscribe, Subscriber: 7})
	m.TokenKeyFile, m.TokenKeyPrev = write("new", strings.Repeat("n", 40)), old
	after, err := tokensOf(m, nil)
	require.NoError(t, err)
	require.NoError(t, after.Check())
	c, err := after.Verify(link, notify.ForUnsubscribe, democlub.Start)
	require.NoError(t, err)
	require.EqualValues(t, 7, c.Subscriber)
	m.TokenKeyPrev = ""

	gone, err := tokensOf(m, nil)
	require.NoError(t, err)
	_, err = gone.Verify(link, notify.ForUnsubscribe, democlub.Start)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	m.TokenKeyPrev = filepath.Join(dir, "none")
	_, err = tokensOf(m, nil)
	require.ErrorContains(t, err, "token_key_previous_file")
	m.TokenKeyPrev = m.TokenKeyFile
	_, err = tokensOf(m, nil)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}
