package web

import (
	"context"
	"encoding/csv"
	"flag"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// update rewrites the golden files: go test ./notify/web -update.
var update = flag.Bool("update", false, "rewrite golden files")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

func TestGoldenRecapText(t *testing.T) {
	t.Parallel()
	for _, units := range []string{"us", "metric"} {
		var b strings.Builder
		require.NoError(t, RecapText(&b, sampleRecap(), units))
		golden(t, "recap-"+units+".txt", b.String())
		for _, l := range strings.Split(b.String(), "\n") {
			require.LessOrEqual(t, len([]rune(l)), 76, l)
		}
	}
}

func TestRecapHTML(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	require.NoError(t, RecapHTML(&b, "Tamsen Valley Walleye Club", sampleRecap(), "us"))
	doc := parse(t, b.String())
	require.Len(t, tags(doc, "h1"), 1)
	require.Empty(t, tags(doc, "script", "link", "nav", "img", "form"), "the file stands alone")
	require.Len(t, tags(doc, "style"), 1)
	require.NotContains(t, text(tags(doc, "style")[0]), "url(", "the style fetches nothing")
	for _, a := range tags(doc, "a") {
		require.False(t, strings.HasPrefix(attr(a, "href"), "/"), "no link that leads nowhere: %s", attr(a, "href"))
	}
	checkTables(t, doc)
	s := text(doc)
	for _, want := range []string{"61", "fewer than 3 anglers, not shown", "GO came true on 9 of 14 mornings", "1,140",
		"This is not a safety clearance", "Meridian water survey", "Sound the middle run"} {
		require.Contains(t, s, want)
	}
	require.NotContains(t, s, "NaN")
}

func TestRecapEmpty(t *testing.T) {
	t.Parallel()
	var h, x, c strings.Builder
	require.NoError(t, RecapHTML(&h, "Club", Recap{Year: 2027}, "us"))
	require.NoError(t, RecapText(&x, Recap{Year: 2027}, "us"))
	require.NoError(t, RecapCSV(&c, Recap{Year: 2027}))
	for _, s := range []string{h.String(), x.String(), c.String()} {
		require.NotContains(t, s, "NaN")
		require.NotContains(t, s, "Inf")
		require.NotContains(t, s, "0 in 10")
	}
}

func TestRecapCSV(t *testing.T) {
	t.Parallel()

	for _, s := range append(corpus(), "+1", "-1", "@SUM(A1)", "=1+1", "\t=1", " =1", "|x", "%x") {
		r := sampleRecap()
		r.River, r.Reach = s, s
		r.Bands[0].Key, r.Stops[0].What, r.Outages[0].Gauge, r.Skill[0].Quantity = s, s, s, s
		var b strings.Builder
		require.NoError(t, RecapCSV(&b, r))
		rows, err := csv.NewReader(strings.NewReader(b.String())).ReadAll()
		require.NoError(t, err)
		require.Equal(t, []string{"section", "item", "measure", "value", "unit"}, rows[0])

		for _, row := range rows[1:] {
			for k, cell := range row {
				if cell == "" || !strings.ContainsRune("=+-@|%\t\r", rune(cell[0])) {
					continue
				}
				_, err := strconv.ParseFloat(cell, 64)
				require.True(t, k == 3 && err == nil, "cell %q could be a formula", cell)
			}
		}
	}
}

func TestGoldenRecapCSV(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	require.NoError(t, RecapCSV(&b, sampleRecap()))
	golden(t, "recap.csv", b.String())
	rows, err := csv.NewReader(strings.NewReader(b.String())).ReadAll()
	require.NoError(t, err)

	find := func(section, item, measure string) string {
		for _, r := range rows {
			if r[0] == section && r[1] == item && r[2] == measure {
				return r[3]
			}
		}
		return "missing"
	}
	require.Equal(t, "55", find("band", "ease", "fish"))
	require.Equal(t, "fewer than 3 anglers", find("band", "drop-back", "hidden"))
	require.Equal(t, "missing", find("band", "drop-back", "fish"), "a hidden cell leaks nothing")
	require.Equal(t, "missing", find("verdict", "STOP", "good"))
	require.Equal(t, "-0.04", find("skill", "flow lead 3", "lo"), "numbers stay numbers")
	require.Equal(t, "9", find("verdict", "GO", "good"))
}

func TestSeasonPaths(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	require.Equal(t, 404, get(h, "/season/1999").Code)
	require.Equal(t, 404, get(h, "/season/abc").Code)
	require.Equal(t, 404, get(h, "/season/2027?river=nobody").Code)
	require.Equal(t, 200, get(h, "/season/2027").Code)
}

type noSeason struct{ *memory }

func (noSeason) Season(context.Context, int, coldseam.ReachID) (Recap, error) {
	return Recap{}, coldseam.ErrNotFound
}

// TestFirstSeason: the link in the head of every page leads somewhere before
// the first trip.
func TestFirstSeason(t *testing.T) {
	t.Parallel()
	cfg := testConfig(nil)
	cfg.Store = noSeason{newMemory()}
	h, err := New(cfg)
	require.NoError(t, err)
	w := get(h, "/season")
	require.Equal(t, 200, w.Code)
	require.Contains(t, w.Body.String(), "No season on record yet")
	require.Equal(t, 404, get(h, "/season/2020").Code)
}
