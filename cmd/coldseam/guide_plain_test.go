//go:build !race

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/ingest"
)

// guideElsewhere are the blocks of the guide that want the world outside, by their
// first line, and what runs them.
var guideElsewhere = map[string]string{
	"apt-get install -y ./bin/coldseam.deb":               ".ci/deb.sh",
	"apt-get install -y postgresql libnss-systemd":        ".ci/unit.sh",
	"mkdir -p secrets && openssl rand -hex 24":            ".ci/compose.sh",
	"coldseam migrate --readers-sql | psql -U postgres":   ".ci/postgres.sh, as the superuser",
	"systemd-run --pipe -p DynamicUser=yes":               ".ci/unit.sh",
	"coldseam check --reconcile --mail-log":               "TestReconcile, with a log of its own",
	"coldseam verify\ncoldseam hindcast --issued":         "tests of recap and season: a spring takes minutes",
	"coldseam backup --dir /var/backups/coldseam":         "the tests of backup, elsewhere than /var",
	"coldseam import --rating --site provider:code":       "the tests of import, with a gauge that there is",
	"coldseam site add --lat 45.3 --lon -92.7\ncoldseam ": "TestFirstEveningIsShort: it lives two seasons",
}

// What a block wants to find, and the commands for which another stands in: they
// do not end, or read twelve years of kept documents.
var (
	guideFiles = map[string]string{
		"paper.csv": "reach,date,hours,anglers,fish\ntamsen-bend,2026-04-02,3,1,2\n",
		"sheet.csv": "Date fished,River,Weather\n4/3/2026,the bend,grey\n",
	}
	guideStandIn = `serve* | "recap --sql"* | "fetch --replay"*`
)

// Every command block of the guide runs as written on the invented club, or is
// named with what runs it.
func TestGuideBlocksRunAsWritten(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	base := v.Config.Profiles[0].BaseURL
	dir := t.TempDir()
	var profiles bytes.Buffer
	require.NoError(t, toml.NewEncoder(&profiles).Encode(map[string][]ingest.Profile{"profile": v.Config.Profiles}))
	head := fmt.Sprintf("database_url = %q\nstate_dir = %q\n", clubtest.Ready.URL(t), filepath.Join(dir, "state"))
	club := strings.Replace(democlub.TOML, "[mail]", fmt.Sprintf("[mail]\nsmtp = %q", v.Sink.Addr()), 1)
	write := func(name, text string, mode os.FileMode) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), mode))
	}
	// What is not set is left out, as in a file that a person wrote.
	set := regexp.MustCompile(`(?m)^\s*\w+ = (0|0\.0|"0s"|""|false)\n`).ReplaceAllString(profiles.String(), "")
	require.Contains(t, set, base)
	write("coldseam.toml", head+club+"\n"+set, 0o600)

	guide, err := os.ReadFile("../../deploy/ADMIN.md")
	require.NoError(t, err)
	self, err := os.Executable()
	require.NoError(t, err)
	require.NoError(t, os.CopyFS(filepath.Join(dir, "deploy"), os.DirFS("../../deploy"))) // recap --run writes there
	require.NoError(t, os.Mkdir(filepath.Join(dir, "bin"), 0o755))
	page, err := os.ReadFile("../../deploy/cookbook.md")
	require.NoError(t, err)
	write("our-page.md", string(page), 0o600) // a club's own book
	for name, text := range guideFiles {
		write(name, text, 0o600)
	}
	m := regexp.MustCompile("(?s)```toml\n(date = .*?)```").FindSubmatch(guide)
	require.NotNil(t, m, "the map of the sheet")
	write("map.toml", string(m[1]), 0o600)
	write("bin/coldseam", fmt.Sprintf(`#!/bin/sh
case "$*" in %s) echo "0 $*" >>commands; exit 0 ;; esac
%s=1 %s=%s %s "$@"
status=$?
echo "$status $*" >>commands
exit $status
`, guideStandIn, childEnv, childClock, v.Now().Add(3*time.Hour).Format(time.RFC3339), self), 0o755)

	seen := map[string]bool{}
	ran := 0
	for _, block := range regexp.MustCompile("(?s)```sh\n(.*?)```").FindAllSubmatch(guide, -1) {
		text := string(block[1])
		if first := elsewhere(text); first != "" {
			seen[first] = true
			continue
		}
		c := exec.CommandContext(t.Context(), "bash", "-c", text)
		c.Dir, c.Env = dir, append(os.Environ(), "PATH="+filepath.Join(dir, "bin")+":"+os.Getenv("PATH"))
		out, err := c.CombinedOutput()
		commands, rerr := os.ReadFile(filepath.Join(dir, "commands"))
		require.NoError(t, rerr, "%s%s", text, out)
		for _, l := range strings.Split(strings.TrimSpace(string(commands)), "\n") {
			if !strings.HasPrefix(l, "0 ") && !regexp.MustCompile(`^[12] check`).MatchString(l) {
				t.Errorf("%s\nends with %s\n%s\n%v", text, l, out, err)
			}
			ran++
		}
		require.NoError(t, os.Remove(filepath.Join(dir, "commands")))
	}

	require.Len(t, seen, len(guideElsewhere), "blocks that are named and not there")
	t.Logf("%d commands of the guide ran as written; %d blocks are run elsewhere", ran, len(seen))
}

func elsewhere(block string) string {
	for first := range guideElsewhere {
		if strings.HasPrefix(block, first) {
			return first
		}
	}
	return ""
}
