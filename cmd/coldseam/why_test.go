package main

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
)

var update = flag.Bool("update", false, "write the golden files anew")

func TestWhyNamesEverything(t *testing.T) {
	t.Parallel()
	zone := time.FixedZone("river", -6*3600)
	at := func(h, m int) time.Time { return time.Date(2026, 3, 20, h, m, 0, 0, zone) }
	table := verdict.DefaultTable()
	require.NoError(t, table.Set("wind_mph", 28, "sheltered gorge"))

	b := coldseam.Brief{
		River:     "Tamsen",
		ReachName: "Bend reach",
		Day:       coldseam.Date{Year: 2026, Month: 3, Day: 20},
		Verdict:   coldseam.TossUp,
		Inputs: []coldseam.Input{
			{Key: "discharge", State: "good", At: at(4, 45), Age: 5 * time.Minute, Limit: 6 * time.Hour, Safety: true},
			{Key: "alerts", State: "none", At: at(4, 46), Age: 4 * time.Minute, Limit: time.Hour, Safety: true},
		},
		Reasons: []coldseam.Reason{{Code: "hazards_unsurveyed", Kind: verdict.KindCap, Source: "club rule"}},
		Windows: []coldseam.Window{{Start: at(7, 0), End: at(10, 30), Odds: .6, OddsOK: true,
			Spread: [2]float64{.6, .6},
			Caps:   []coldseam.Reason{{Code: "hazards_unsurveyed"}}}},
	}
	text := strings.Join(whyLines(b, table, zone), "\n")

	for _, want := range []string{
		"Tamsen Bend reach, 2026-03-20: TOSS-UP",
		"discharge: good, 20 Mar 04:45, age 5 min, limit 6 h, safety",
		"alerts: none, 20 Mar 04:46, age 4 min, limit 1 h, safety",
		"cap hazards_unsurveyed: hazards not surveyed (club rule)",
		"07:00-10:30: odds 0.600, p10-p90 0.60-0.60, held at TOSS-UP by hazards_unsurveyed, the best window",
		"wind_mph = 28 mph: sustained wind [proposal]; default 25; reason: sheltered gorge",
	} {
		require.Contains(t, text, want)
	}

	for _, r := range verdict.Thresholds() {
		require.Contains(t, text, "  "+r.Key+" = ")
	}
}

// thresholdsText is the table of all limits as Markdown, kept as
// forecast/verdict/thresholds.md.
func thresholdsText() string {
	var b strings.Builder
	b.WriteString("# Limits of the morning decision\n\nEvery limit is a row a club may change: stricter freely, looser only with a written reason. ")
	b.WriteString("`coldseam brief --why` prints them with the values in use.\n\n| key | what | default | stricter | allowed | source |\n|---|---|---|---|---|---|\n")
	for _, r := range verdict.Thresholds() {
		way := map[int]string{-1: "lower", 1: "higher"}[r.Tighter]
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %g to %g | %s |\n", r.Key, r.Name, withUnit(r.Default, r.Unit), way,
			r.Min, r.Max, r.Source)
	}
	return b.String()
}

// TestThresholdsFile keeps the printed table in step with the code.
func TestThresholdsFile(t *testing.T) {
	t.Parallel()
	const path = "../../forecast/verdict/thresholds.md"
	text := thresholdsText()
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	}
	have, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, text, string(have), "run go test ./cmd/coldseam -run Thresholds -update")
}
