package ice

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// record reads a public daily series into days of the latch; unset data skips.
func record(t testing.TB, name string) []Day {
	t.Helper()
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: no public records to test against")
	}
	rows := table(t, filepath.Join(root, "series", name))

	var out []Day
	for _, r := range rows {
		d, err := coldseam.ParseDate(r[0])
		require.NoError(t, err)
		for len(out) > 0 && out[len(out)-1].Date.Add(1) != d {
			out = append(out, day(out[len(out)-1].Date.Add(1)))
		}
		x := day(d)
		x.FlowM3S, x.WaterC, x.AirC = number(r[1]), number(r[2]), number(r[3])
		out = append(out, x)
	}

	return out
}

func table(t testing.TB, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

func number(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

func day(d coldseam.Date) Day {
	nan := math.NaN()
	return Day{Date: d, At: d.Add(1).UTC(), WaterC: nan, LowC: nan, AirC: nan, FlowM3S: nan}
}

// mornings is the state at each dawn: days up to the one before, and the newest
// water, for which the mean of both days stands in.
func mornings(days []Day, newest bool) []Record {
	full := Run(River{}, Record{}, days)
	out := make([]Record, len(days))
	for i := range days {
		if i == 0 {
			out[0] = Record{Day: days[0].Date, Since: days[0].Date, Cause: CauseStart}
			continue
		}
		now := day(days[i].Date)
		now.Partial, now.At = true, days[i].Date.UTC().Add(5*time.Hour)
		if newest {
			now.LowC = (days[i-1].WaterC + days[i].WaterC) / 2
		}
		view := append(append([]Day(nil), days[max(i-20, 0):i]...), now)
		got := Run(River{}, full[i-1], view)
		out[i] = got[len(got)-1]
	}
	return out
}

func names(t testing.TB, dir string) []string {
	root := os.Getenv("COLDSEAM_REAL_DATA")
	got, err := filepath.Glob(filepath.Join(root, "series", dir, "*.csv"))
	require.NoError(t, err)
	sort.Strings(got)
	for i := range got {
		got[i] = filepath.Join(dir, filepath.Base(got[i]))
	}
	return got
}

func spell(ms []Record, from, to string) string {
	var b strings.Builder
	for _, m := range ms {
		if s := m.Day.String(); s >= from && s <= to {
			b.WriteString(map[State]string{Unknown: "?", Open: ".", Ice: "#", Breakup: "B"}[m.State])
		}
	}
	return b.String()
}

// TestStLouisSprings replays two springs of break-up. What the mornings fished
// by are the days before, and for the newest reading the mean of both days.
func TestStLouisSprings(t *testing.T) {
	ms := mornings(record(t, "greatlakes/stlouis.csv"), true)
	assert.Equal(t, "#"+"BBBBB"+"####################"+"BBBB"+"..", spell(ms, "2013-04-01", "2013-05-02"))
	april := spell(ms, "2014-04-01", "2014-04-23")
	assert.NotContains(t, april[:21], ".")
	assert.Equal(t, "..", april[21:])
}

// TestNoOpenMorningAt33F: four rivers, 15 February to 31 May.
func TestNoOpenMorningAt33F(t *testing.T) {
	cold, warm, stopped := 0, 0, 0

	for _, river := range []string{"stlouis", "fox", "saginaw", "vermilion"} {
		days := record(t, "greatlakes/"+river+".csv")
		ms := mornings(days, true)
		for i := 1; i < len(days); i++ {
			d := days[i].Date
			if k := int(d.Month)*100 + d.Day; k < 215 || k > 531 {
				continue
			}
			newest := (days[i-1].WaterC + days[i].WaterC) / 2
			if newest <= ColdC {
				cold++
				assert.NotEqual(t, Open, ms[i].State, "%s %s, water %.2f", river, d, newest)
			}

			if newest >= coldseam.C(36) {
				warm++
				if ms[i].State != Open {
					stopped++
				}
			}
		}
	}

	t.Logf("%d mornings at 33 F or below, none open; %d of %d at 36 F or above stopped", cold, stopped, warm)
	assert.Greater(t, cold, 300)
	assert.LessOrEqual(t, float64(stopped), .015*float64(warm))
}

// tally is what the latch did on one river or on all.
type tally struct {
	seasons, cold, stopped, stoppedNow, clear, clearStopped int
	delays                                                  []float64
}

func (x *tally) add(o tally) {
	x.seasons, x.cold, x.stopped, x.stoppedNow = x.seasons+o.seasons, x.cold+o.cold, x.stopped+o.stopped, x.stoppedNow+
		o.stoppedNow
	x.clear, x.clearStopped, x.delays = x.clear+o.clear, x.clearStopped+o.clearStopped, append(x.delays, o.delays...)
}

func (x tally) row(name string) string {
	share := func(n int) float64 { return 100 * float64(n) / float64(max(x.cold, 1)) }
	q := func(p float64) float64 { return coldseam.Quantile(x.delays, p) }
	return fmt.Sprintf("%-40s %4d %6d %6.1f %6.1f %8.2f  %3.0f %3.0f %3.0f", strings.TrimSuffix(name, ".csv"),
		x.seasons, x.cold,
		share(x.stopped), share(x.stoppedNow), float64(x.clearStopped)/float64(max(x.seasons, 1)), q(.5), q(.9), q(1))
}

// judge counts: frozen days (mean <= 0.3 C) stopped, clear days (the middle of
// three of 1.5 C and above) stopped, and the days from a spring's last mean at
// 33 F to the first open morning; the earliest possible is three.
func judge(days []Day) tally {
	var x tally
	plain, newest := mornings(days, false), mornings(days, true)
	seen, last := map[int]int{}, map[int]int{}

	for i := 1; i+1 < len(days); i++ {
		w := days[i].WaterC
		if !known(w) {
			continue
		}
		year, n := winter(days[i].Date, false)
		seen[year]++

		if w <= .3 {
			x.cold++
			if plain[i].State != Open {
				x.stopped++
			}
			if newest[i].State != Open {
				x.stoppedNow++
			}
		}

		if w <= ColdC && n > midwinter {
			last[year] = i
		}
		if min(days[i-1].WaterC, w, days[i+1].WaterC) >= 1.5 {
			x.clear++
			if plain[i].State != Open {
				x.clearStopped++
			}
		}
	}

	for _, n := range seen {
		if n >= 60 {
			x.seasons++
		}
	}

	for _, i := range last {
		for k := i + 1; k < len(days) && known(days[k].WaterC); k++ {
			if plain[k].State == Open {
				x.delays = append(x.delays, float64(k-i))
				break
			}
		}
	}

	return x
}

// TestCostOnRiversWithWater is the price of the latch and what it catches.
func TestCostOnRiversWithWater(t *testing.T) {
	record(t, "greatlakes/stlouis.csv")
	var all tally
	t.Logf("%-40s %4s %6s %6s %6s %8s  %s", "river", "seas", "frozen", "stop%", "+now%", "clear/s",
		"delay d p50 p90 max")
	for _, dir := range []string{"greatlakes", "alaska", "alaska_more"} {
		for _, name := range names(t, dir) {
			x := judge(record(t, name))
			t.Log(x.row(name))
			if x.cold > 0 {
				all.add(x)
			}
		}
	}
	t.Log(all.row("all rivers with frozen days"))
	assert.GreaterOrEqual(t, float64(all.stopped), .985*float64(all.cold))
	assert.GreaterOrEqual(t, float64(all.stoppedNow), .99*float64(all.cold))
	assert.LessOrEqual(t, all.clearStopped, all.seasons, "one clear day a season")
	assert.LessOrEqual(t, coldseam.Quantile(all.delays, .5), 5.)
}

// TestPagwachuanWithoutThermometerOrAir: the agency's own ice marks teach the
// usual dates and are then hidden.
func TestPagwachuanWithoutThermometerOrAir(t *testing.T) {
	days := record(t, "flow/wsc_04JD005_pagwachuan.csv")
	mark := map[string]bool{}
	for _, r := range table(t, filepath.Join(os.Getenv("COLDSEAM_REAL_DATA"),
		"series/flow/wsc_04JD005_pagwachuan_symbols.csv")) {
		mark[r[0]] = r[1] == "B"
	}
	marked := append([]Day(nil), days...)
	for i, d := range days {
		if mark[d.Date.String()] {
			marked[i].MarkAt = d.At
		}
	}

	usual := UsualOf(false, marked)
	require.NotNil(t, usual)

	full := Run(River{Usual: usual}, Record{}, days)
	ice, stopped, unmarked := 0, 0, 0
	last, opened := map[int]int{}, map[int]int{}

	for i := 1; i < len(days); i++ {
		year, n := winter(days[i].Date, false)
		closed := full[i-1].State != Open
		switch {
		case mark[days[i].Date.String()]:
			ice++
			last[year] = n
			if closed {
				stopped++
			}
		case closed:
			unmarked++
		}

		if n > 200 && !closed && opened[year] == 0 {
			opened[year] = n
		}
	}

	var delays []float64
	for year, n := range last {
		if n > 200 && opened[year] > 0 {
			delays = append(delays, float64(opened[year]-n))
		}
	}

	q := func(p float64) float64 { return coldseam.Quantile(delays, p) }
	winters := len(last)
	t.Logf("%d winters, usual days %d to %d after 1 July: %.1f %% of %d ice days stopped, %.1f other days a winter, opens %.0f d after the last mark (p10 %.0f, p90 %.0f)",
		winters, usual.First, usual.Last, 100*float64(stopped)/float64(ice), ice, float64(unmarked)/float64(winters),
		q(.5), q(.1), q(.9))
	assert.GreaterOrEqual(t, float64(stopped), .98*float64(ice))
	assert.LessOrEqual(t, unmarked, 20*winters)
	assert.InDelta(t, 4, q(.5), 3)

	// With the marks in, no ice day is open.
	for i, r := range Run(River{Usual: usual}, Record{}, marked) {
		if mark[days[i].Date.String()] {
			assert.NotEqual(t, Open, r.State, "%s", r.Day)
		}
	}
}
