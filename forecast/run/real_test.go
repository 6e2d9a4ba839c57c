package run

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// realData is the folder of public records, or skips: unset is a skip,
// set and unreadable is a failure.
func realData(t testing.TB, parts ...string) string {
	t.Helper()
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: no public records to test against")
	}
	p := filepath.Join(append([]string{root, "series"}, parts...)...)
	_, err := os.Stat(p)
	require.NoError(t, err)
	return p
}

func readAll(t testing.TB, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

// frame reads date, flow, water columns (flow < 0: none) into a gap-aware frame.
func frame(t testing.TB, path string, lat float64, flow, water int) coldseam.Days {
	t.Helper()
	rows := readAll(t, path)
	first, err := coldseam.ParseDate(rows[0][0])
	require.NoError(t, err)
	last, err := coldseam.ParseDate(rows[len(rows)-1][0])
	require.NoError(t, err)
	d := coldseam.Days{First: first, Lat: lat}
	n := last.Sub(first) + 1
	d.WaterC, d.FlowM3S = make([]float64, n), make([]float64, n)

	for i := range n {
		d.WaterC[i], d.FlowM3S[i] = math.NaN(), math.NaN()
	}
	get := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return math.NaN()
		}
		return v
	}

	for _, r := range rows {
		day, err := coldseam.ParseDate(r[0])
		require.NoError(t, err)
		d.WaterC[day.Sub(first)] = get(r[water])
		if flow >= 0 {
			d.FlowM3S[day.Sub(first)] = get(r[flow])
		}
	}

	if flow < 0 {
		d.FlowM3S = nil
	}
	return d
}

func escanaba(t testing.TB) coldseam.Days {
	return frame(t, realData(t, "biology", "escanaba_water_temp_modelled_1956_2020.csv"), 46.06, -1, 1)
}

// iceOff is the day of the year on which the lake's ice went, by year.
func iceOff(t testing.TB) map[int]int {
	t.Helper()
	out := map[int]int{}
	for _, r := range readAll(t, realData(t, "biology", "escanaba_ice_dates_1956_2020.csv")) {
		d, err := time.Parse("1/2/2006", r[2])
		require.NoError(t, err)
		out[d.Year()] = d.YearDay()
	}
	return out
}

// rivers are the river springs of the calibration.
func rivers(t testing.TB) map[string]coldseam.Days {
	t.Helper()
	return map[string]coldseam.Days{
		"stlouis": frame(t, realData(t, "greatlakes", "stlouis.csv"), 46.7, -1, 2),
		"fox":     frame(t, realData(t, "greatlakes", "fox.csv"), 44.5, -1, 2),
		"saginaw": frame(t, realData(t, "greatlakes", "saginaw.csv"), 43.4, -1, 2),
	}
}

func median(x []float64) float64 { return coldseam.Quantile(x, .5) }

func slope(x, y []float64) float64 {
	mx, my := mean(x), mean(y)
	a, b := 0.0, 0.0
	for i := range x {
		a += (x[i] - mx) * (y[i] - my)
		b += (x[i] - mx) * (x[i] - mx)
	}
	return a / b
}

// lateCold is the late cold spring of the calibration: 44 N, linear through
// .5 C (1 April), 1.1 (15 April), 4.4 (1 May), 9.5 (21 May).
func lateCold(day int) float64 {
	x := []float64{91, 105, 121, 141}
	y := []float64{.5, 1.1, 4.4, 9.5}
	d := float64(day)
	if d <= x[0] {
		return y[0]
	}
	for i := 1; i < len(x); i++ {
		if d <= x[i] {
			return y[i-1] + (y[i]-y[i-1])*(d-x[i-1])/(x[i]-x[i-1])
		}
	}
	return y[3] + .25*(d-x[3])
}

// yearOf cuts 1 January to 31 July.
func yearOf(d coldseam.Days, y int) coldseam.Days {
	i := d.Index(coldseam.Date{Year: y, Month: 1, Day: 1})
	n := 212
	out := coldseam.Days{First: coldseam.Date{Year: y, Month: 1, Day: 1}, Lat: d.Lat, WaterC: make([]float64, n)}
	for k := range n {
		out.WaterC[k] = coldseam.At(d.WaterC, i+k)
	}
	return out
}

// shape measures waves, gaps between them, and the shortest time in which half
// of the run arrived.
func shape(a []float64, wave []bool) (waves, gaps []float64, half float64) {
	run, gap, seen := 0, 0, false
	for _, on := range wave {
		if on {
			if run == 0 && seen && gap > 0 {
				gaps = append(gaps, float64(gap))
			}
			run, gap, seen = run+1, 0, true
			continue
		}

		if run > 0 {
			waves = append(waves, float64(run))
		}
		run = 0
		gap++
	}

	half = float64(len(a))
	sum, lo := 0.0, 0
	for hi, x := range a {
		sum += x
		for sum-a[lo] >= .5 {
			sum -= a[lo]
			lo++
		}
		if sum >= .5 {
			half = math.Min(half, float64(hi-lo+1))
		}
	}

	return waves, gaps, half
}

// TestSpeciesMedians holds every row to the medians over twelve river springs:
// water at the spawn midpoint, and days after walleye. Both count the fish that
// the warm springs no longer drive away unspawned.
func TestSpeciesMedians(t *testing.T) {
	t.Parallel()
	rows := DefaultSpecies()
	frames := rivers(t)
	frames["vermilion"] = frame(t, realData(t, "greatlakes", "vermilion.csv"), 41.4, -1, 2)
	for _, d := range frames {
		carry(d.WaterC, 45, false) // summer holes, after the spawning or nearly so
	}
	mids := map[string]map[string]springRun{}

	for _, s := range rows {
		mids[s.Key] = map[string]springRun{}
		for name, d := range frames {
			for y := 2012; y <= 2014; y++ {
				r, err := s.springOf(name, yearOf(d, y), y)
				if err != nil {
					t.Log(s.Key, err)
					continue
				}
				mids[s.Key][fmt.Sprint(name, y)] = r
			}
		}
	}

	for key, want := range map[string][2]float64{
		"walleye": {9.4, 0}, "sauger": {10.4, 2}, "northern_pike": {7.6, -6.5},
		"white_bass": {13.1, 19}, "lake_sturgeon": {12.6, 13.5}, "steelhead": {8.3, -5.5},
	} {
		var water, after []float64
		for k, r := range mids[key] {
			water = append(water, r.midC)
			after = append(after, float64(r.mid-mids["walleye"][k].mid))
		}
		t.Logf("%s: %d springs, midpoint at %.1f C, %+.1f d after walleye", key, len(water), median(water),
			median(after))
		require.InDelta(t, want[0], median(water), 1, key)
		require.InDelta(t, want[1], median(after), 1.5, key)
	}
}

// TestReferenceSeason holds the shipped season peak to the springs it came
// from.
func TestReferenceSeason(t *testing.T) {
	t.Parallel()
	r := NewReference(walleye(t), escanaba(t), nil, 2020, 7)
	t.Logf("%d springs: season peak %.3f", r.Springs, r.Peak)
	require.Equal(t, 63, r.Springs)
	require.InDelta(t, SeasonPeak, r.Peak, .025)
}

// What has spawned is 85 % or more of what arrived, however the water warms.

func TestAJumpInWarmthDoesNotCancelSpawning(t *testing.T) {
	t.Parallel()
	sp := walleye(t)
	require.GreaterOrEqual(t, sp.spawnedShare(jump(), 2023), .85)
}

func TestASpringThatIsNeverColdSpawns(t *testing.T) {
	t.Parallel()
	sp := walleye(t)
	require.GreaterOrEqual(t, sp.spawnedShare(south(), 2023), .85)
}

func TestEveryRealSpringSpawns(t *testing.T) {
	t.Parallel()
	sp := walleye(t)
	hold := func(name string, d coldseam.Days, year int) bool {
		share := sp.spawnedShare(d, year)
		if math.IsNaN(share) {
			return false
		}
		require.GreaterOrEqual(t, share, .85, "%s %d", name, year)
		return true
	}
	springs := 0

	for _, folder := range []struct {
		name string
		lat  float64
	}{{"greatlakes", 44.5}, {"alaska", 61}, {"alaska_more", 61}} {
		files, err := filepath.Glob(filepath.Join(realData(t, folder.name), "*.csv"))
		require.NoError(t, err)
		for _, f := range files {
			d := frame(t, f, folder.lat, -1, 2)
			carry(d.WaterC, 45, false)
			for y := d.First.Year; y <= d.Day(d.Len()-1).Year; y++ {
				if hold(filepath.Base(f), d.Cut(coldseam.Date{Year: y, Month: 7, Day: 31}), y) {
					springs++
				}
			}
		}
	}

	lake := escanaba(t)
	for y := 1957; y < 2020; y++ {
		if hold("lake", lake.Cut(coldseam.Date{Year: y, Month: 7, Day: 31}), y) {
			springs++
		}
	}
	require.Greater(t, springs, 150)
}

// TestATaggedFemaleInMarch: a tagged walleye was in the Saginaw at 4.2 C on 29
// March 2013, so that a female in by 31 March lies inside the 90 % range.
func TestATaggedFemaleInMarch(t *testing.T) {
	t.Parallel()
	sp := walleye(t)
	require.GreaterOrEqual(t, sp.femalesByMarch(rivers(t)["saginaw"]), .05)
}
