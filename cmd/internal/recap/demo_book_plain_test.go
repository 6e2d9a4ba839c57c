//go:build !race

package recap_test

import (
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
	"example.org/coldseam/cmd/internal/recap"
	"example.org/coldseam/store"
)

// update rewrites the golden files: make golden.
var update = flag.Bool("update", false, "rewrite golden files")

// changing are the parts of the cookbook's answers that hang on the second of an
// issue.
var changing = regexp.MustCompile(`(?s)<svg.*?</svg>|\d+\.\d+`)

// demoTown is what make demo leaves behind: the club with its past season, on
// the morning after.
func demoTown(t *testing.T) *clubtest.Harness {
	t.Helper()
	v := clubtest.New(t, nil)
	past, err := democlub.PastSeason()
	require.NoError(t, err)
	require.NoError(t, past.Enter(t.Context(), v.DB))
	v.History(t)
	v.Join(t, "all@club.example.org", coldseam.Preferences{})
	_, err = v.Morning.MakeAll(t.Context(), clubtest.Saturday)
	require.NoError(t, err)
	v.Send(t, "04:45")
	require.NoError(t, v.App.MaintenanceJob(t.Context(), store.MaintenanceArgs{Day: clubtest.Saturday}))
	return v
}

// Every question of both books has an answer on the demo. Those of the cookbook
// stand in deploy/cookbook.md, so that a reader sees real ones; -update writes it
// anew.
func TestGoldenCookbookOfTheDemo(t *testing.T) {
	t.Parallel()
	v := demoTown(t)
	dir := t.TempDir()
	run := func() (cookbook, yearbook string) {
		out := recapText(t, v.Recap, recap.Command{Season: 2025, Reach: "tamsen-bend", Out: dir})
		files := strings.Fields(out)
		require.Len(t, files, 2)
		y, err := os.ReadFile(files[0])
		require.NoError(t, err)
		c, err := os.ReadFile(files[1])
		require.NoError(t, err)
		return string(c), string(y)
	}
	got, year := run()
	again, yearAgain := run()
	require.Equal(t, got, again, "again changes nothing")
	require.Equal(t, year, yearAgain)

	path := filepath.Join("..", "..", "..", "deploy", "cookbook.md")
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, changing.ReplaceAllString(string(want), "x"), changing.ReplaceAllString(got, "x"))

	parts := strings.Split(got, "\n## ")[1:]
	require.GreaterOrEqual(t, len(parts), 40)
	parts = append(parts, strings.Split(year, "<h2")[1:]...)
	for _, p := range parts {
		name, rest, _ := strings.Cut(p, "\n")
		require.Equal(t, 1, strings.Count(rest, "<!-- answer -->"), name)
		require.NotContains(t, rest, "No rows.", name)
		require.NotContains(t, rest, "No answer", name)
	}
	require.NotContains(t, got+year, "NaN")
	for _, who := range []string{"north bank", "red canoe", "thermos"} {
		require.NotContains(t, got+year, who)
	}
}
