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
		require.NoError(t, os.WriteFile(to,
			[]byte(strings.ReplaceAll(string(text), "/usr/local/bin/coldseam", "/bin/true")), 0o600))
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

// Both units are closed to what they do not need [proposal: an exposure of 2.0 at
// most, by systemd's own measure].
func TestUnitsAreClosed(t *testing.T) {
	t.Parallel()
	analyze, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("no systemd-analyze: the exposure is not measured")
	}
	for _, unit := range []string{"coldseam.service", "coldseam-backup.service"} {
		out, err := exec.Command(analyze, "security", "--offline=true", "--threshold=20", "--no-pager", "../../deploy/"+
			unit).CombinedOutput()
		require.NoError(t, err, "%s: %s", unit, out)
	}
}

// Addresses of pages hold tokens: no example of a proxy writes them down.
func TestProxiesLogNoAddress(t *testing.T) {
	t.Parallel()
	nginx, err := os.ReadFile("../../deploy/proxy-nginx.conf")
	require.NoError(t, err)
	require.Equal(t, strings.Count(string(nginx), "server {"), strings.Count(string(nginx), "access_log off;"))
	require.Contains(t, string(nginx), "error_log /var/log/nginx/coldseam-error.log crit;")
	caddy, err := os.ReadFile("../../deploy/proxy-caddy.conf")
	require.NoError(t, err)
	require.Contains(t, string(caddy), "request>uri delete")
	require.NotContains(t, string(caddy), "\tlog {\n\t\toutput", "requests are not logged")
}

// Debian keeps Postgres' server programs out of the PATH: whoever has them there is
// not told that the package is missing.
func TestNeedFindsPostgresOutsideThePath(t *testing.T) {
	t.Parallel()
	installed, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	require.NoError(t, err)
	if len(installed) == 0 {
		t.Skip("no Debian Postgres on this machine")
	}
	tools := t.TempDir()
	for _, name := range []string{"go", "id", "ls"} {
		program, err := exec.LookPath(name)
		require.NoError(t, err)
		require.NoError(t, os.Symlink(program, filepath.Join(tools, name)))
	}

	need := exec.Command("/bin/sh", "../../deploy/need.sh", "postgres")
	need.Env = []string{"PATH=" + tools}
	out, err := need.CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Empty(t, string(out))
}
