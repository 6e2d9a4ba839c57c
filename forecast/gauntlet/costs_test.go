package gauntlet

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/ingest/table"
)

// springDays are the days from March to June.
const springDays = 122

// TestCosts counts what the rules take from clean records: every few hours stand
// for a part of a morning.
func TestCosts(t *testing.T) {
	every := 6 * time.Hour
	if full {
		every = time.Hour
	}

	for _, r := range rivers() {
		kept, still, n, stops := 0, 0, 0, 0
		was := false
		for i := r.rows(8 * 24 * time.Hour); i < len(r.clean.flow); i += r.rows(every) {
			d := r.word(i)
			n++
			if plain(d) && !was {
				stops++
			}
			was = plain(d)
			if !was && !d.Verdict.ShowsOdds() {
				kept++
			}
			if slices.Contains(d.Fired, "gauge_unchanged") {
				still++
			}
		}

		season := func(k int) float64 { return springDays * float64(k) / float64(n) }
		cost(t, "lifting of stops", r.name, season(kept), int(season(stops)*24/every.Hours()))
		cost(t, "still gauge", r.name, season(still), 0)
		mornings := float64(kept) * every.Hours() / 24
		assert.LessOrEqual(t, mornings, .4*float64(stops), "%s: %.2f mornings kept for %d stops", r.name, mornings,
			stops)
	}
}

// TestCostsOfRises counts the spring mornings of daily rivers that rise rules stop
// or cap.
func TestCostsOfRises(t *testing.T) {
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set")
	}

	for _, file := range []string{"greatlakes/stlouis", "greatlakes/fox", "greatlakes/saginaw", "greatlakes/vermilion",
		"flow/wsc_04JD005_pagwachuan", "flow/wsc_08KC001_salmon_prince_george"} {
		f, err := os.Open(filepath.Join(root, "series", file+".csv"))
		require.NoError(t, err)
		all, err := table.Daily(f, 45)
		require.NoError(t, err)
		require.NoError(t, f.Close())

		r := river{daily: true, step: 24 * time.Hour, limit: 1e5, season: verdict.SeasonFlowOf(all)}
		for i, q := range all.FlowM3S {
			if !math.IsNaN(q) {
				at := all.Day(i).Add(1).UTC()
				r.clean.flow = append(r.clean.flow, coldseam.Observation{At: at, KnownAt: at, Value: q,
					Flag: coldseam.Provisional})
			}
		}
		first := max(len(r.clean.flow)-6*366, 0)
		stops, caps, springs := 0, 0, map[int]int{}

		for i := first + 9; i < len(r.clean.flow); i++ {
			at := r.clean.flow[i].At
			if m := at.Month(); m < 3 || m > 6 {
				continue
			}
			springs[at.Year()]++
			in := r.morning(at.Add(5 * time.Hour))
			in.Reach.FloodStageM = nil
			in.Gauge.Discharge = r.clean.flow[max(i-60, 0) : i+1]
			d := verdict.Decide(in)

			rise := func(rs []coldseam.Reason) bool {
				return slices.ContainsFunc(rs, func(x coldseam.Reason) bool {
					return strings.HasPrefix(x.Code, "rise_")
				})
			}
			switch {
			case rise(d.Stops):
				stops++
			case rise(d.Reasons):
				caps++
			}
		}

		name := filepath.Base(file)
		cost(t, "rise rules: STOP", name, float64(stops)/float64(len(springs)), 0)
		cost(t, "rise rules: cap", name, float64(caps)/float64(len(springs)), 0)
	}
}
