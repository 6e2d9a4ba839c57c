//go:build !race

package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// A real river, imported and replayed: only what was published before that
// morning counts, and the word is NO CALL.
func TestImportAndReplayOfARealMorning(t *testing.T) {
	t.Parallel()
	file := filepath.Join(realData(t), "series", "greatlakes", "stlouis.csv")
	conf := smallConfig(t)
	args := []string{"import", "--config", conf, "--site", "survey:04024000", "--zone", "America/Chicago", "--lat",
		"46.7", "--lon", "-92.4", file}
	code, out, errs := call(t, args...)
	require.Zero(t, code, errs)
	require.Contains(t, out, "3 series")
	require.NotContains(t, out, " 0 new")
	code, out, errs = call(t, args...)
	require.Zero(t, code, errs)
	require.Contains(t, out, "; 0 new, 0 revised", "the same file again stores nothing")

	code, out, errs = call(t, "brief", "--config", conf, "--as-of", "2013-05-06", "--site", "survey:04024000")
	require.Zero(t, code, errs)
	require.Contains(t, out, "REPLAY, REVISED DATA")
	require.Contains(t, out, "NO CALL")
	require.Contains(t, out, "rule of thumb alone would have said")
	require.Contains(t, out, "stops not replayed:\n       weather forecast, warnings, season rule")
	require.Contains(t, out, "WATER  11,000 cfs")
	require.NotContains(t, out, "weather 4:45", "what is assumed was not read")
	require.NotContains(t, out, "no weight without the gauge", "the gauge read that morning")

	code, _, errs = call(t, "brief", "--config", conf, "--as-of", "6 May", "--site", "survey:04024000")
	require.Equal(t, 2, code)
	require.Contains(t, errs, "want YYYY-MM-DD")
	code, _, errs = call(t, "brief", "--config", conf, "--site", "survey:nothing")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "not found")
}

// Nothing after the morning may change its replay.
func TestReplayDoesNotSeeTheFuture(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()

	write := func(name string, spring float64) string {
		p := filepath.Join(dir, name)
		var b bytes.Buffer
		b.WriteString("date,flow_m3s,water_c,air_c\n")
		day := coldseam.Date{Year: 2021, Month: time.January, Day: 1}
		for day.Before(coldseam.Date{Year: 2024, Month: time.May, Day: 20}) {
			x := float64(day.YearDay())
			w := max(0, (x-90)/6)
			if x > 200 {
				w = max(0, (310-x)/6)
			}
			if !day.Before(coldseam.Date{Year: 2024, Month: time.May, Day: 5}) {
				w = spring
			}
			b.WriteString(day.String() + "," + jsonNumber(40+x/20) + "," + jsonNumber(w) + "," + jsonNumber(w-1) + "\n")
			day = day.Add(1)
		}

		require.NoError(t, os.WriteFile(p, b.Bytes(), 0o600))
		return p
	}

	var briefs []string
	for _, spring := range []float64{2, 25} {
		conf := smallConfig(t)
		code, _, errs := call(t, "import", "--config", conf, "--site", "own:1", "--zone", "America/Chicago", "--lat",
			"45", write("x.csv", spring))
		require.Zero(t, code, errs)
		code, out, errs := call(t, "brief", "--config", conf, "--as-of", "2024-05-05", "--site", "own:1", "--json")
		require.Zero(t, code, errs)
		briefs = append(briefs, out)
	}

	require.JSONEq(t, briefs[0], briefs[1])
}

func TestHindcastCommand(t *testing.T) {
	t.Parallel()
	file := filepath.Join(realData(t), "series", "greatlakes", "genesee.csv")
	dir := t.TempDir()
	members := filepath.Join(dir, "m.csv")
	code, out, errs := call(t, "hindcast", "--csv", file, "--air", "climatology", "--no-dates", "--members", members,
		"--plot", dir, "--json")
	require.Zero(t, code, errs)
	var r map[string]any
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	for _, k := range []string{"site", "quantity", "air", "n", "leads", "cold", "all"} {
		require.Contains(t, r, k)
	}

	require.Contains(t, errs, "fold 1 of")
	rows, err := os.ReadFile(members)
	require.NoError(t, err)
	require.Contains(t, string(rows[:80]), "series,issued,variable,mode,model,lead_d,observed,members")
	pngs, err := filepath.Glob(filepath.Join(dir, "*.png"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(pngs), 3)
	code, _, errs = call(t, "hindcast", "--json")
	require.Equal(t, 2, code)
	require.Contains(t, errs, "want either --csv FILE or --site ID")
}
