//go:build !race

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/run"
)

// clockFile writes daily values from 1 January 2023 with blank flow.
func clockFile(t *testing.T, n int, water func(day int) string) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("date,flow_m3s,water_c\n")
	for i := range n {
		fmt.Fprintf(&b, "%s,,%s\n", time.Date(2023, 1, 1+i, 0, 0, 0, 0, time.UTC).Format(time.DateOnly), water(i+1))
	}
	return clockText(t, b.String())
}

func clockText(t *testing.T, text string) string {
	t.Helper()
	p := filepath.Join(t.TempDir(), "days.csv")
	require.NoError(t, os.WriteFile(p, []byte(text), 0o600))
	return p
}

func runclock(t *testing.T, c runclockCmd) (string, error) {
	t.Helper()
	var out, errs bytes.Buffer
	if c.Lat == 0 {
		c.Lat = 45
	}
	if c.Species == "" {
		c.Species = "walleye"
	}
	err := c.Run(&env.Streams{Out: &out, Err: &errs})
	return out.String(), err
}

func TestRunclockJSON(t *testing.T) {
	t.Parallel()
	file := clockFile(t, 120, func(int) string { return "3" })
	text, err := runclock(t, runclockCmd{CSV: file, Noise: "off", JSON: true})
	require.NoError(t, err)
	var got struct {
		Species string
		Days    []map[string]any
	}
	require.NoError(t, json.Unmarshal([]byte(text), &got))
	require.Equal(t, "walleye", got.Species)
	require.Len(t, got.Days, 120)

	for _, k := range []string{"date", "r", "arrivals", "arrived", "holding", "gravel", "dropping_back", "spawned",
		"stage", "p_wave"} {
		require.Contains(t, got.Days[0], k)
	}
	require.Equal(t, "2023-04-30", got.Days[119]["date"])
	require.InDelta(t, .930, got.Days[119]["arrived"], .01)
	require.InDelta(t, .641, got.Days[119]["spawned"], .01)
	again, err := runclock(t, runclockCmd{CSV: file, Noise: "on", JSON: true, Seed: 5})
	require.NoError(t, err)
	twice, err := runclock(t, runclockCmd{CSV: file, Noise: "on", JSON: true, Seed: 5})
	require.NoError(t, err)
	require.Equal(t, again, twice)
	require.NotEqual(t, text, again)
}

func TestRunclockTable(t *testing.T) {
	t.Parallel()
	text, err := runclock(t, runclockCmd{CSV: clockFile(t, 110, func(int) string { return "4" }), Noise: "off",
		Species: "sauger"})
	require.NoError(t, err)
	require.Contains(t, text, "sauger (uncalibrated), shares of the run in percent")
	require.Contains(t, text, "days before the first fish left out")
	require.Contains(t, text, "2023-04-20")
}

func TestRunclockRefusals(t *testing.T) {
	t.Parallel()
	good := clockFile(t, 100, func(int) string { return "3" })

	for _, r := range []struct {
		name string
		cmd  runclockCmd
		is   error
		want string
	}{
		{"no file", runclockCmd{CSV: good + "x"}, os.ErrNotExist, "no such file"},
		{"species", runclockCmd{CSV: good, Species: "carp"}, coldseam.ErrNotFound,
			`species "carp": have walleye, sauger`},
		{"latitude", runclockCmd{CSV: good, Lat: 91}, coldseam.ErrInvalid, "latitude 91"},
		{"year", runclockCmd{CSV: good, Year: 2021}, coldseam.ErrUnavailable, "no water temperature since 2021-01-01"},
		{"header", runclockCmd{CSV: clockText(t, "day,water\n")}, coldseam.ErrInvalid,
			`header "day,water" has no column date`},
		{"cell", runclockCmd{CSV: clockText(t, "date,flow_m3s,water_c\n2023-01-01,,3\n2023-01-02,,39F\n")},
			coldseam.ErrInvalid, `line 3: water_c "39F", want a number from -5 to 45 or blank`},
		{"date", runclockCmd{CSV: clockText(t, "date,flow_m3s,water_c\n1/1/2023,,3\n")}, coldseam.ErrInvalid,
			`line 2: date "1/1/2023"`},
		{"order", runclockCmd{CSV: clockText(t, "date,flow_m3s,water_c\n2023-01-02,,3\n2023-01-01,,3\n")},
			coldseam.ErrInvalid, "want rising dates"},
		{"empty", runclockCmd{CSV: clockText(t, "date,flow_m3s,water_c\n")}, coldseam.ErrInvalid, "no days"},
		{"no clock", runclockCmd{CSV: good, Species: "steelhead"}, coldseam.ErrUnavailable, "no clock for this run"},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			text, err := runclock(t, r.cmd)
			require.ErrorIs(t, err, r.is)
			require.ErrorContains(t, err, r.want)
			require.Empty(t, text)
		})
	}
}

// A gap ends what the clock says from its sixth day on, not the spring.
func TestRunclockEndsAtAGap(t *testing.T) {
	t.Parallel()
	text, err := runclock(t, runclockCmd{CSV: clockFile(t, 110, func(d int) string {
		if d > 90 && d < 105 {
			return ""
		}
		return "4"
	}), Noise: "off"})
	require.NoError(t, err)
	require.Contains(t, text, "2023-04-05  ")
	require.NotContains(t, text, "2023-04-06  ")
	require.Contains(t, text, "not known from 2023-04-06")
}

// Counts made by the clock itself on warm and cold springs: the refitted clock
// knows them better than the calendar, and every rival is printed.
func TestRunclockScoresCounts(t *testing.T) {
	t.Parallel()
	var water, counts strings.Builder
	water.WriteString("date,water_c\n")
	counts.WriteString("date,count\n")
	sp, err := run.FindSpecies(run.DefaultSpecies(), "walleye")
	require.NoError(t, err)

	for y := 2015; y < 2021; y++ {
		d := coldseam.Days{First: coldseam.Date{Year: y, Month: 1, Day: 1}, Lat: 45}
		for i := range 200 {
			d.WaterC = append(d.WaterC, max(.3, .14*float64(i-60-(y*7)%30)))
			fmt.Fprintf(&water, "%s,%.2f\n", d.Day(i), d.WaterC[i])
		}
		days, err := run.Clock(sp, d, run.ClockOptions{NoNoise: true})
		require.NoError(t, err)
		for _, c := range days {
			fmt.Fprintf(&counts, "%s,%.0f\n", c.Date, 2000*c.Arrivals)
		}
	}

	text, err := runclock(t, runclockCmd{CSV: clockText(t, water.String()), Counts: clockText(t, counts.String()),
		JSON: true})
	require.NoError(t, err)
	var got run.CountScore
	require.NoError(t, json.Unmarshal([]byte(text), &got))
	rps := map[string]float64{}
	for _, s := range got.Timing {
		rps[s.Name] = s.RPS
	}
	require.Less(t, rps["clock_refitted"], rps["day_of_the_year"]/4)
	require.Contains(t, rps, "degree_days")
	require.Contains(t, rps, "threshold")

	text, err = runclock(t, runclockCmd{Counts: clockText(t, counts.String())})
	require.NoError(t, err)
	require.Contains(t, text, "the clock's timing cannot be scored")
	_, err = runclock(t, runclockCmd{Counts: clockText(t, "date,count\n2020-04-01,many\n")})
	require.ErrorContains(t, err, `count "many", want a number`)
}

// A blank count and a day that is not in the file are the same; five of them are
// carried, and a season whose counting ends while fish come is named and left out.
func TestRunclockBlankCounts(t *testing.T) {
	t.Parallel()
	counts := func(blank, gap int) string {
		var b strings.Builder
		b.WriteString("date,count\n")
		for y := 2015; y < 2020; y++ {
			for i := range 160 {
				day := coldseam.Date{Year: y, Month: 1, Day: 1}.Add(i)
				if n := i - 110; y == 2017 && n >= 0 && n < gap {
					if n < blank {
						fmt.Fprintf(&b, "%s,\n", day)
					}
					continue
				}
				fmt.Fprintf(&b, "%s,%d\n", day, max(0, 60-2*(i-110)*(i-110)/15)+i%7)
			}
		}
		return clockText(t, b.String())
	}
	score := func(file string) string {
		text, err := runclock(t, runclockCmd{Counts: file})
		require.NoError(t, err)
		return text
	}

	for _, gap := range []int{3, 5, 6, 12} {
		require.Equal(t, score(counts(0, gap)), score(counts(gap, gap)), "%d days", gap)
		require.Equal(t, score(counts(0, gap)), score(counts(gap/2, gap)), "%d days", gap)
	}
	require.NotContains(t, score(counts(5, 5)), "left out")
	require.Contains(t, score(counts(6, 6)), "2017 left out: not known from 2017-04-26, while fish came")
}

func FuzzReadDays(f *testing.F) {
	f.Add("date,flow_m3s,water_c\n2023-01-01,,3\n2023-01-05,2.5,\n")
	f.Add("date,water_c,air_c\n2023-01-01,3,x\n")
	f.Fuzz(func(t *testing.T, text string) {
		d, err := readFrame(strings.NewReader(text), "water_c")
		if err != nil {
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			return
		}
		require.Len(t, d.WaterC, d.Len())
		require.Len(t, d.FlowM3S, d.Len())
	})
}
