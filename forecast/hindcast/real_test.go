package hindcast

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// real reads one public series below COLDSEAM_REAL_DATA/series. Unset skips the
// test; set but unreadable fails it.
func real(t testing.TB, path string) coldseam.Days {
	t.Helper()
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: the public series are not here")
	}
	f, err := os.Open(filepath.Join(root, "series", path))
	require.NoError(t, err)
	defer f.Close()

	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var d coldseam.Days
	d.First, err = coldseam.ParseDate(rows[1][0])
	require.NoError(t, err)
	last, err := coldseam.ParseDate(rows[len(rows)-1][0])
	require.NoError(t, err)
	n := last.Sub(d.First) + 1

	col := func(k int) []float64 {
		x := make([]float64, n)
		any := false
		for i := range x {
			x[i] = math.NaN()
		}

		for _, r := range rows[1:] {
			if r[k] == "" {
				continue
			}
			day, err := coldseam.ParseDate(r[0])
			require.NoError(t, err)
			v, err := strconv.ParseFloat(r[k], 64)
			require.NoError(t, err)
			x[day.Sub(d.First)], any = v, true
		}

		if !any {
			return nil
		}
		return x
	}

	d.FlowM3S, d.WaterC, d.AirC = col(1), col(2), col(3)
	return d
}

var (
	alaska = []string{"alaska/kulukak_river_kulr.csv", "alaska/goodnews_river_nflo.csv",
		"alaska/middle_fork_goodnews_river_mflr.csv", "alaska/george_river_osm_george.csv",
		"alaska/tanada_creek_osm_tanada.csv"}
	rivers = []string{"flow/wsc_01AD002_saint_john_fort_kent.csv", "flow/wsc_04JD005_pagwachuan.csv",
		"flow/wsc_08KC001_salmon_prince_george.csv", "flow/usgs_06934500_missouri_hermann.csv",
		"flow/camelsgb_54095_severn_buildwas.csv",
		"flow/camelsgb_54001_severn_bewdley.csv", "flow/camelsgb_54032_severn_saxons_lode.csv",
		"flow/camelsgb_54057_severn_haw_bridge.csv"}
	greatLakes = []string{"greatlakes/stlouis.csv", "greatlakes/fox.csv", "greatlakes/saginaw.csv",
		"greatlakes/vermilion.csv", "greatlakes/genesee.csv"}
)

// TestTable prints the reference table; it is long and runs on demand:
// COLDSEAM_TABLE=alaska,greatlakes:perfect,climatology. COLDSEAM_CUT=5 cuts every
// record to pieces of five years, each a river that began then.
func TestTable(t *testing.T) {
	spec := os.Getenv("COLDSEAM_TABLE")
	if spec == "" {
		t.Skip("COLDSEAM_TABLE is not set: the full table runs on demand")
	}
	sets, airs, _ := strings.Cut(spec, ":")

	for _, set := range strings.Split(sets, ",") {
		files := map[string][]string{"alaska": alaska, "greatlakes": greatLakes, "rivers": rivers,
			"glflow": greatLakes[:4]}[set]
		if files == nil {
			files = []string{set}
		}
		var all []coldseam.Days

		var names []string
		for _, f := range files {
			d := []coldseam.Days{real(t, f)}
			if years, err := strconv.Atoi(os.Getenv("COLDSEAM_CUT")); err == nil {
				d = cuts(d[0], years)
			}
			for range d {
				names = append(names, f)
			}
			all = append(all, d...)
		}

		for _, air := range strings.Split(airs, ",") {
			var reports []Report

			for i, d := range all {
				var pool []coldseam.Days
				if set == "greatlakes" && os.Getenv("COLDSEAM_NOPOOL") == "" {
					for j := range all {
						if j != i {
							pool = append(pool, all[j])
						}
					}
				}

				quantity := Temperature
				var up []coldseam.Days
				if set == "rivers" || set == "glflow" {
					quantity = Flow
				}
				if set == "rivers" {
					for j := i - 1; j >= 4; j-- {
						up = append(up, all[j])
					}
				}

				var archive map[coldseam.Date][][]float64
				if air == "archived" {
					archive = synthetic(d)
				}
				r, err := Run(d, Options{
					Archive:   archive,
					Quantity:  quantity,
					Upstream:  up,
					Site:      names[i],
					Air:       Air(air),
					Pool:      pool,
					Intervals: -1,
					NoDates:   os.Getenv("COLDSEAM_DATES") == "",
				})
				require.NoError(t, err)
				reports = append(reports, r)
			}

			require.NoError(t, WriteTable(os.Stdout, set+" "+air, reports, 500))
			if os.Getenv("COLDSEAM_DATES") != "" && reports[0].Brier != nil {
				printDates(set+" "+air, reports)
			}
		}
	}
}

func printDates(name string, reports []Report) {
	for k, season := range []string{"spring", "autumn"} {
		sum := map[string][]float64{}
		add := func(m string, x []float64, n int) {
			if sum[m] == nil {
				sum[m] = make([]float64, 3)
			}
			for l := range x {
				sum[m][l] += x[l] * float64(n)
			}
		}
		nb := 0
		nc := make([]int, 3)

		for _, r := range reports {
			c, b := r.Crossing, r.Brier
			if k == 1 {
				c, b = r.Autumn.Crossing, r.Autumn.Brier
			}
			nb += b.N
			add("B coldseam", b.Coldseam, b.N)
			add("B dressed", b.Dressed, b.N)
			add("B ar", b.AnomalyAR, b.N)
			add("B clim", b.Climatology, b.N)
			for l := range nc {
				nc[l] += c.N[l]
			}

			for _, m := range datesMethods {
				for l := range nc {
					x := make([]float64, 3)
					x[l] = c.MAEBy[m][l]
					add("M "+m, x, c.N[l])
					x[l] = c.CRPSBy[m][l]
					add("C "+m, x, c.N[l])
				}
			}
		}

		fmt.Printf("%s %s brier n=%d dates n=%v\n", name, season, nb, nc)
		for _, m := range []string{"B coldseam", "B dressed", "B ar", "B clim", "M coldseam", "C coldseam", "M dressed",
			"C dressed", "M anomaly_ar", "C anomaly_ar", "C climatology"} {
			x := sum[m]
			for l := range x {
				if m[0] == 'B' {
					x[l] /= float64(nb)
				} else {
					x[l] /= float64(nc[l])
				}
			}
			fmt.Printf("   %-14s %.4f\n", m, x)
		}
	}
}

// synthetic makes an air forecast that is not perfect: the observed air plus
// the anomaly path of another year, grown linearly from 30 % of its size on day
// 1 to 90 % on day 10. It stands for an archive that nobody has published.
func synthetic(d coldseam.Days) map[coldseam.Date][][]float64 {
	cal := ensemble.NewCalendar(d.First, d.Len())
	clim := ensemble.FitHarmonic(cal, d.AirC)
	out := map[coldseam.Date][][]float64{}
	for t := 0; t+ensemble.DefaultHorizon < d.Len(); t++ {
		rng := ensemble.Stream(99, d.Day(t), 1)
		j := rng.IntN(d.Len()-380) + 1
		j += cal.Doy[t] - cal.Doy[j]
		if j < 0 || j+ensemble.DefaultHorizon >= d.Len() {
			j = (t + 400) % (d.Len() - 20)
		}
		f := make([]float64, ensemble.DefaultHorizon)
		for h := 1; h <= len(f); h++ {
			f[h-1] = d.AirC[t+h] + (.3+.6*float64(h-1)/9)*(d.AirC[j+h]-clim.At(cal, j+h))
		}
		out[d.Day(t)] = [][]float64{f}
	}
	return out
}

// cuts are the pieces of so many years, the newest last, that hold two years or
// more with water: what hindcast needs.
func cuts(d coldseam.Days, years int) []coldseam.Days {
	var out []coldseam.Days
	n := years * 365
	for a := d.Len() % n; a+n <= d.Len(); a += n {
		c := coldseam.Days{First: d.Day(a), WaterC: d.WaterC[a : a+n], AirC: d.AirC[a : a+n]}
		if len(ensemble.NewCalendar(c.First, n).Years(c.WaterC, 120)) >= minYears {
			out = append(out, c)
		}
	}
	return out
}
