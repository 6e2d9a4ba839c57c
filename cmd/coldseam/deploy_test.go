package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The units are what systemd's own verifier accepts, with a program that is there
// in place of ours.
func TestUnitsPassTheVerifier(t *testing.T) {
	t.Parallel()
	verify, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("no systemd-analyze: the units are not verified")
	}
	dir := t.TempDir()
	files, err := filepath.Glob("../../deploy/coldseam*.[st]*r*") // .service and .timer
	require.NoError(t, err)
	require.Len(t, files, 3, "%v", files)
	args := []string{"verify", "--man=no"}
	for _, f := range files {
		text, err := os.ReadFile(f)
		require.NoError(t, err)
		to := filepath.Join(dir, filepath.Base(f))
		require.NoError(t, os.WriteFile(to, []byte(strings.ReplaceAll(string(text), "/usr/local/bin/coldseam", "/bin/true")), 0o600))
		args = append(args, to)
	}
	run := func() (string, error) {
		out, err := exec.Command(verify, args...).CombinedOutput()
		return string(out), err
	}
	out, err := run()
	require.NoError(t, err, out)
	require.NotContains(t, out, "Unknown")

	// The verifier is no yes-man here.
	broken, err := os.ReadFile(args[2])
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(args[2], append(broken, "\n[Service]\nRestart=perhaps\nFriend=yes\n"...), 0o600))
	out, _ = run()
	require.Contains(t, out, "Friend")
}
