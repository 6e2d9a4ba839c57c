//go:build !race

package recap_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/recap"
	"example.org/coldseam/cmd/internal/triplog"
	"example.org/coldseam/store"
)

// update rewrites the golden files: make golden.
var update = flag.Bool("update", false, "rewrite golden files")

// livedDays is how many mornings before the demo's the fixture lives through.
const livedDays = 14

// liveHarness lives through a fortnight before the demo's morning: each morning
// the feeds are fetched, the log of the day before is entered and the briefs are
// made from what is known then: the Tamsen's for the whole fortnight, all three
// for the last days, to save the tests' time. Rivers, club and log are the demo's inventions.
func liveHarness(t *testing.T) *clubtest.Harness {
	t.Helper()
	v := clubtest.NewAt(t, democlub.Start.AddDate(0, 0, -livedDays))
	v.Join(t, "all@club.example.org", coldseam.Preferences{})
	_, err := v.Feeds.Backfill(t.Context(), democlub.Start.AddDate(-12, 0, 0), 20*env.Day, nil)
	require.NoError(t, err)

	for i := range livedDays + 1 {
		morning := clubtest.Saturday.Add(i - livedDays)
		v.Clock.Forward(democlub.Start.AddDate(0, 0, i-livedDays))
		_, err = triplog.Enter(t.Context(), v.Env, demoLogUntil(morning))
		require.NoError(t, err)
		_, err = v.Feeds.FetchAll(t.Context())
		require.NoError(t, err)
		if i >= livedDays-4 {
			_, err = v.Morning.MakeAll(t.Context(), morning)
			require.NoError(t, err)
			continue
		}

		r, err := v.DB.Reach(t.Context(), "tamsen-bend")
		require.NoError(t, err)
		_, err = v.Morning.MakeBrief(t.Context(), r, morning)
		require.NoError(t, err)
	}

	v.Send(t, "04:45")
	return v
}

// demoLogUntil is the club's log before a morning.
func demoLogUntil(morning coldseam.Date) string {
	lines := strings.Split(democlub.Log, "\n")
	out := lines[0] + "\n"
	for _, l := range lines[1:] {
		if f := strings.SplitN(l, ",", 3); len(f) == 3 && f[1] < morning.String() {
			out += l + "\n"
		}
	}
	return out
}

// recapText is the recap as text, by the command.
func recapText(t *testing.T, a *recap.Season, c recap.Command) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, c.With(t.Context(), &env.Streams{Out: &out, Err: &out}, a))
	return out.String()
}

// changing are the parts of the cookbook's answers that hang on the second of an
// issue.
var changing = regexp.MustCompile(`(?s)<svg.*?</svg>|\d+\.\d+`)

// checkCookbook runs every question of the club on the lived fortnight. The
// answers stand in deploy/cookbook.md, so that a reader sees real ones;
// -update writes it anew.
func checkCookbook(t *testing.T, a *recap.Season) {
	path := filepath.Join("..", "..", "..", "deploy", "cookbook.md")
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	if !*update {
		path = filepath.Join(t.TempDir(), "cookbook.md")
		require.NoError(t, os.WriteFile(path, want, 0o600))
	}
	run := func() string {
		recapText(t, a, recap.Command{RunNotebook: path, Season: 2026, Reach: "tamsen-bend"})
		got, err := os.ReadFile(path)
		require.NoError(t, err)
		return string(got)
	}

	got := run()
	if !*update {
		// Decimals hang on the seconds of each issue; everything else must stand.
		require.Equal(t, changing.ReplaceAllString(string(want), "x"), changing.ReplaceAllString(got, "x"))
	}
	require.Equal(t, got, run(), "again changes nothing")
	require.NotContains(t, got, "No answer")
	require.Contains(t, got, "<svg")

	parts := strings.Split(got, "\n## ")[1:]
	require.GreaterOrEqual(t, len(parts), 25)
	for _, p := range parts {
		name, rest, _ := strings.Cut(p, "\n")
		require.Equal(t, 1, strings.Count(rest, "<!-- answer -->"), name)
		if strings.Contains(rest, "No rows.") {
			// A quiet fortnight: no word was changed, no single day had three anglers.
			require.Contains(t, []string{"Changed words", "Odds kept", "Best mornings", "Coldest fish"}, name)
		}
	}
}

// Whatever is given to psql, it connects as the reader or not at all.
func TestRecapSQLIsAlwaysTheReader(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	if _, err := v.Recap.FindPsql(); err != nil {
		t.Skip("no psql")
	}
	const who = `SELECT current_user`
	ask := func(args ...string) (string, error) {
		var out, errs bytes.Buffer
		err := (&recap.Command{SQL: true, Args: args}).Psql(t.Context(), &env.Streams{Out: &out, Err: &errs}, v.Recap)
		return out.String(), err
	}

	for _, args := range [][]string{
		{"-Atc", who}, {"-At", "-c", who}, {"--no-align", "--tuples-only", "--command", who}, {"-AtvX=1", "-c", who},
		{"--expanded", "coldseam", "-Atc", who}, {"-AtF", ",", "-c", who}, {"-AtP", "null=none", "--command=" + who},
	} {
		out, err := ask(args...)
		require.NoError(t, err, args)
		require.Contains(t, out, store.Reader, args)
	}

	for _, args := range [][]string{
		{"-d", "user=coldseam"}, {"-d", "user=coldseam", "-c", who}, {"-duser=coldseam"}, {"-Atd", "user=coldseam"},
		{"--dbname", "user=coldseam"},
		{"--dbname=user=coldseam"}, {"--dbn=user=coldseam"}, {"-U", "coldseam"}, {"-Ucoldseam"}, {"-AtUcoldseam"},
		{"--username=coldseam"},
		{"--user", "coldseam"}, {"-h", "/tmp"}, {"--host=db"}, {"-p", "1"}, {"--port=1"}, {"-W"}, {"-w"},
		{"--password"}, {"--no-password"},
		{"coldseam"}, {"coldseam", "coldseam"}, {"postgres:///coldseam?user=coldseam"}, {"user=coldseam"},
		{"--", "user=coldseam"},
		{"-c", `\c - coldseam`}, {"-c", `\connect user=coldseam`}, {"-Atc", ` \C - coldseam`},
		{`--command=\c - coldseam`}, {"--command", `\c - coldseam`},
		{"-v", "x=1", "coldseam"}, {"-l", "-U", "coldseam"},
	} {
		out, err := ask(args...)
		require.ErrorContains(t, err, "always season_reader", args)
		require.Empty(t, out, args)
	}
}
