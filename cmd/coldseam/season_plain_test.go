//go:build !race

package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/season"
)

// inventedRecord writes a smooth daily record of two years and a half.
func inventedRecord(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("date,flow_m3s,water_c,air_c\n")
	for i := range 880 {
		d := coldseam.Date{Year: 2023, Month: 1, Day: 1}.Add(i)
		s := math.Sin(2 * math.Pi * float64(d.YearDay()-40) / 365)
		wobble := math.Sin(float64(i)*.7) + math.Sin(float64(i)*.23)
		fmt.Fprintf(&b, "%s,%.2f,%.2f,%.2f\n", d, 60+25*s+4*wobble, max(4+9*s+.6*wobble, 0), 6+14*s+2*wobble)
	}
	path := filepath.Join(t.TempDir(), "record.csv")
	require.NoError(t, os.WriteFile(path, []byte(b.String()), 0o600))
	return path
}

// A daily file is enough: strip and counts for people, JSON for machines, a page,
// and what changed against an earlier run.
func TestSeasonOfADailyFile(t *testing.T) {
	t.Parallel()
	record := inventedRecord(t)
	dir := t.TempDir()
	base := []string{"season", "--csv", record, "--lat", "45", "--lon", "-92", "--from", "2025-02-01", "--to",
		"2025-02-02"}

	counts := filepath.Join(dir, "counts.csv")
	require.NoError(t, os.WriteFile(counts, []byte("date,count\n2025-02-01,4\n2025-02-02,\n2024-02-01,7\n"), 0o600))
	code, out, errs := call(t, append(base, "--json", "--html", filepath.Join(dir, "page.html"), "--counts", counts)...)
	require.Zero(t, code, errs)
	var r coldseam.Replay
	require.NoError(t, json.Unmarshal([]byte(out), &r))
	require.Equal(t, coldseam.ReachID("record"), r.Reach)
	require.Len(t, r.Cells, 2)
	page, err := os.ReadFile(filepath.Join(dir, "page.html"))
	require.NoError(t, err)
	require.Contains(t, string(page), "<svg")
	require.Contains(t, string(page), "No evidence yet: ")
	require.Equal(t, 1, r.Value.Known)

	old := filepath.Join(dir, "old.json")
	r.Cells[0].Word = coldseam.NoCall
	raw, err := json.Marshal(r)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(old, raw, 0o600))
	code, out, errs = call(t, append(base, "--compare", old)...)
	require.Zero(t, code, errs)
	require.Contains(t, out, "1 of 2 mornings changed their word")
}

// The reach's own limits and rules come from its table.
func TestSeasonOfAReachFile(t *testing.T) {
	t.Parallel()
	reach := filepath.Join(t.TempDir(), "reach.toml")
	require.NoError(t, os.WriteFile(reach, []byte(`[[reach]]
id = "tamsen-bend"
river = "Tamsen"
zone = "America/Chicago"
species = ["walleye"]
max_flow_m3s = 20.0
`), 0o600))
	code, out, errs := call(t, "season", "--csv", inventedRecord(t), "--lat", "45", "--lon", "-92", "--reach", reach,
		"--from", "2025-02-01", "--to", "2025-02-01", "--units", "metric")
	require.Zero(t, code, errs)
	require.Contains(t, out, "tamsen-bend, 2025-02-01")
	require.Contains(t, out, "flow limit 20.0 m3/s")
	require.Contains(t, out, ", over the flow limit 1\n")
	require.NotContains(t, out, "one deep hole")
}

func TestSeasonRefusals(t *testing.T) {
	t.Parallel()
	record := inventedRecord(t)
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--csv", record, "--from", "2025-02-01", "--to", "2025-02-02"}, "want the place of the record"},
		{[]string{"--csv", record, "--lat", "45", "--lon", "-92", "--from", "1.2.2025", "--to", "2025-02-02"},
			"want a day as YYYY-MM-DD"},
		{[]string{"--csv", record, "--lat", "45", "--lon", "-92", "--from", "2025-02-03", "--to", "2025-02-02"},
			"want the first day first"},
		{[]string{"--from", "2025-02-01", "--to", "2025-02-02"}, "want either --csv FILE"},
		{[]string{"--csv", record, "--lat", "45", "--lon", "-92", "--from", "2025-02-01", "--to", "2025-02-02",
			"--counts", record}, "4 columns, want date,count"},
	} {
		code, _, errs := call(t, append([]string{"season"}, c.args...)...)
		require.Equal(t, 2, code)
		require.Contains(t, errs, c.want)
	}
}

// A lived morning is exactly what was issued at that hour; one before the first
// fetch is made of the daily means and names the stops that it lacks.
func TestSeasonOfTheDatabase(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	issued, err := v.DB.Brief(t.Context(), "tamsen-bend", clubtest.Saturday)
	require.NoError(t, err)
	// what is known is what the brief knew
	v.Config.Club.SendAt = issued.Issued.In(env.Zone(issued.Zone)).Add(time.Minute).Format("15:04")
	r, err := v.DB.Reach(t.Context(), "tamsen-bend")
	require.NoError(t, err)
	src, err := morning.NewPastMornings(t.Context(), v.Morning, r, season.AirClimatology)
	require.NoError(t, err)
	_, notReplayed, err := src.Morning(clubtest.Saturday.Add(-30))
	require.NoError(t, err)
	require.Equal(t, []string{"weather", "alerts", "season_rule", "stage"}, notReplayed)

	src.LiveFrom = src.LiveFrom.AddDate(-1, 0, 0)
	f, notReplayed, err := src.Morning(clubtest.Saturday)
	require.NoError(t, err)
	require.Empty(t, notReplayed)
	again := forecast.Make(f).Brief
	require.Equal(t, issued.Verdict, again.Verdict, "%v", again.Reasons)
}
