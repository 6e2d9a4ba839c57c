//go:build !race

package ingest

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// Real rivers make no spike downward and no fall that fails: whatever these
// records hold is the river's own.
func TestRealFlowHasNoDownwardSpike(t *testing.T) {
	t.Parallel()
	dir := os.Getenv("COLDSEAM_REAL_DATA")
	if dir == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set")
	}
	files, err := filepath.Glob(filepath.Join(dir, "series", "flow", "*.csv"))
	require.NoError(t, err)
	files = append(files, filepath.Join(dir, "series", "subdaily", "brandywine_30min.csv"))
	read := 0

	for _, name := range files {
		f, err := os.Open(name)
		require.NoError(t, err)
		rows, err := csv.NewReader(f).ReadAll()
		f.Close()
		require.NoError(t, err)
		s := coldseam.Series{SeriesKey: coldseam.SeriesKey{Site: "x:1", Param: coldseam.Discharge,
			Stat: coldseam.Instant}}
		layout, column := "2006-01-02 15:04:05", -1
		if strings.Contains(name, "/flow/") {
			s.Stat, s.Period, layout = coldseam.Mean, "P1D", "2006-01-02"
		}

		for i, h := range rows[0] {
			if strings.HasPrefix(h, "flow") || strings.HasPrefix(strings.ToLower(h), "discharge") {
				column = i
			}
		}
		if column < 0 {
			continue
		}

		for _, r := range rows[1:] {
			v, err := strconv.ParseFloat(r[column], 64)
			at, err2 := time.Parse(layout, r[0])
			if err != nil || err2 != nil || len(s.Obs) > 0 && !at.After(s.Obs[len(s.Obs)-1].At) {
				continue
			}
			s.Obs = append(s.Obs, coldseam.Observation{At: at, Value: v})
		}
		require.NotEmpty(t, s.Obs, name)
		read += len(s.Obs)

		spikes, failed := 0, 0
		for i, o := range Check(s, SiteLimits{}, time.Time{}).Obs {
			if o.Flag&coldseam.QCSpike != 0 && i > 0 && o.Value < s.Obs[i-1].Value {
				spikes++
			}
			if o.Flag&coldseam.QCFail != 0 && o.Flag&coldseam.QCRate != 0 {
				failed++
			}
		}

		t.Logf("%s: %d values, %d downward spikes, %d failed falls", filepath.Base(name), len(s.Obs), spikes, failed)
		require.Zero(t, spikes+failed, name)
	}

	require.Positive(t, read)
}
