//go:build !race

package ingest_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"testing"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"github.com/stretchr/testify/require"
)

// column reads one column of a record as a series; blanks are left out.
func column(t *testing.T, path, col string, k coldseam.SeriesKey) coldseam.Series {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()

	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	at := -1
	for i, h := range rows[0] {
		if h == col {
			at = i
		}
	}

	var obs []coldseam.Observation
	for _, r := range rows[1:] {
		if at < 0 || r[at] == "" {
			continue
		}
		when, err := time.Parse(time.DateOnly, r[0])
		if err != nil {
			when, err = time.Parse(time.DateTime, r[0])
			require.NoError(t, err)
		}
		v, err := ingest.ParseDecimal(r[at])
		require.NoError(t, err)
		obs = append(obs, coldseam.Observation{At: when.Add(24 * time.Hour), Value: v})
	}

	s, _, err := coldseam.NewSeries(k, obs)
	require.NoError(t, err)
	return s
}

// Quality control on published records: they were checked by their agencies, so
// nearly all of what it fails would be a false alarm. Suspect values stay in
// use; of those a few in a hundred are tolerable.
func TestCheckOnRecords(t *testing.T) {
	t.Parallel()
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: the records are not read")
	}
	m, err := filepath.Glob(filepath.Join(root, "series", "*", "*.csv"))
	require.NoError(t, err)
	require.NotEmpty(t, m)
	total, fails, suspects := 0, 0, 0

	for _, path := range m {
		dir := filepath.Base(filepath.Dir(path))
		if dir == "biology" {
			continue
		}

		for _, c := range []struct {
			col   string
			param coldseam.Parameter
		}{{"flow_m3s", coldseam.Discharge}, {"water_c", coldseam.WaterTemp}, {"water_mean_c", coldseam.WaterTemp},
			{"air_c", coldseam.AirTemp}, {"depth_m", coldseam.Stage}} {
			k := coldseam.SeriesKey{Site: "t:1", Param: c.param, Stat: coldseam.Mean, Period: "P1D"}
			if dir == "subdaily" {
				k.Stat, k.Period = coldseam.Instant, ""
			}
			s := column(t, path, c.col, k)
			if len(s.Obs) == 0 {
				continue
			}

			count := map[string]int{}
			for _, o := range ingest.Check(s, ingest.SiteLimits{}, time.Time{}).Obs {
				for _, n := range (o.Flag & coldseam.QCFlags).Names() {
					count[n]++
				}
				switch {
				case o.Flag&coldseam.QCFail != 0:
					fails++
				case o.Flag&coldseam.QCFlags != 0:
					suspects++
				}
			}

			total += len(s.Obs)
			t.Logf("%-60s %-10s %6d rows %v", filepath.Base(path), c.param, len(s.Obs), count)
		}
	}

	t.Logf("%d rows: %d fail (%.3f %%), %d suspect (%.2f %%)", total, fails, 100*float64(fails)/float64(total),
		suspects, 100*float64(suspects)/float64(total))
	require.Less(t, float64(fails)/float64(total), .001)
	require.Less(t, float64(suspects)/float64(total), .05)
}

// Every error seeded into a real record of 30-minute values is flagged, none is
// deleted, and its neighbours are not blamed.
func TestCheckFindsErrorsInRecord(t *testing.T) {
	t.Parallel()
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: the records are not read")
	}
	path := filepath.Join(root, "series", "subdaily", "brandywine_30min.csv")

	for _, c := range []struct {
		name, col string
		param     coldseam.Parameter
		wrong     func(float64) float64
	}{
		{"water in Fahrenheit", "water_c", coldseam.WaterTemp, coldseam.F},
		{"water in kelvin", "water_c", coldseam.WaterTemp, func(v float64) float64 { return v + 273.15 }},
		{"undeclared -99", "water_c", coldseam.WaterTemp, func(float64) float64 { return -99 }},
		{"water with the wrong sign", "water_c", coldseam.WaterTemp, func(v float64) float64 { return -v }},
		{"water off by 6", "water_c", coldseam.WaterTemp, func(v float64) float64 { return v - 6 }},
		{"flow in ft3/s", "flow_m3s", coldseam.Discharge, func(v float64) float64 { return v / coldseam.CubicMPerCFS }},
		{"flow with the wrong sign", "flow_m3s", coldseam.Discharge, func(v float64) float64 { return -v }},
		{"flow 9999", "flow_m3s", coldseam.Discharge, func(float64) float64 { return 9999 }},
		{"stage in centimetres", "depth_m", coldseam.Stage, func(v float64) float64 { return 100 * v }},
		{"stage in feet", "depth_m", coldseam.Stage, func(v float64) float64 { return v / coldseam.MetrePerFoot }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := column(t, path, c.col, coldseam.SeriesKey{Site: "t:1", Param: c.param, Stat: coldseam.Instant})
			clean := ingest.Check(s, ingest.SiteLimits{}, time.Time{})
			seeded, blamed := 0, 0
			for i := 50; i+50 < len(s.Obs); i += 97 {
				bad := coldseam.Series{SeriesKey: s.SeriesKey, Obs: append([]coldseam.Observation(nil), s.Obs...)}
				bad.Obs[i].Value = c.wrong(bad.Obs[i].Value)
				got := ingest.Check(bad, ingest.SiteLimits{}, time.Time{})
				require.NotZero(t, got.Obs[i].Flag&coldseam.QCFlags, "row %d: %v for %v", i, bad.Obs[i].Value,
					s.Obs[i].Value)
				require.Equal(t, bad.Obs[i].Value, got.Obs[i].Value)
				seeded++
				for j, o := range got.Obs {
					if j != i && o.Flag&coldseam.QCFail != 0 && clean.Obs[j].Flag&coldseam.QCFail == 0 {
						blamed++
					}
				}
			}

			require.GreaterOrEqual(t, seeded, 29)
			require.LessOrEqual(t, blamed, seeded/10, "good values failed beside a bad one")
		})
	}
}
