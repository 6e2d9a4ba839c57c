package chart

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// TestRealReadings draws every morning of two months of half-hourly readings
// of a flashy creek: three or four round values on the axis, everything in the
// plot, and the mail's picture within its limit.
func TestRealReadings(t *testing.T) {
	t.Parallel()
	dir := os.Getenv("COLDSEAM_REAL_DATA")
	if dir == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: real readings not drawn")
	}
	f, err := os.Open(filepath.Join(dir, "series", "subdaily", "brandywine_30min.csv"))
	require.NoError(t, err)
	defer f.Close()

	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var flow, temp []coldseam.Point
	for _, r := range rows[1:] {
		at, err := time.Parse(time.DateTime, r[0])
		require.NoError(t, err)
		q, err := strconv.ParseFloat(r[1], 64)
		require.NoError(t, err)
		w, err := strconv.ParseFloat(r[2], 64)
		require.NoError(t, err)
		flow, temp = append(flow, coldseam.Point{At: at, V: q}), append(temp, coldseam.Point{At: at, V: w})
	}
	drawn, largest := 0, 0

	for i := 96; i+336 < len(flow); i += 48 {
		b := coldseam.Brief{
			Reach:   "creek",
			Zone:    "UTC",
			Verdict: coldseam.Go,
			Issued:  flow[i].At.Add(20 * time.Minute),
			WindowI: -1,
		}
		b.Day = coldseam.DateOf(b.Issued)
		b.Chart = coldseam.ChartData{FlowObs: flow[i-96 : i+1], TempObs: temp[i-96 : i+1]}
		for k := i + 6; k <= i+336; k += 6 { // what came, as the middle of a fan
			x := float64(k-i) / 336
			b.Chart.Valid = append(b.Chart.Valid, flow[k].At)
			b.Chart.FlowFan = append(b.Chart.FlowFan, [5]float64{flow[k].V * (1 - .5*x), flow[k].V * (1 - .2*x),
				flow[k].V, flow[k].V * (1 + .3*x), flow[k].V * (1 + x)})
			b.Chart.TempFan = append(b.Chart.TempFan, [5]float64{temp[k].V - 3*x, temp[k].V - x, temp[k].V,
				temp[k].V + x, temp[k].V + 3*x})
		}

		for _, metric := range []bool{false, true} {
			fan, err := newFan(b, false, metric, pageFlow)
			require.NoError(t, err)
			require.Contains(t, []int{3, 4}, len(fan.Grid), "%s: %v", b.Day, fan.Grid)
			for _, p := range append(fan.P80, fan.Obs[0]...) {
				require.True(t, p.Y >= 0 && p.Y <= fan.H)
			}
		}

		if drawn%6 == 0 {
			png, err := MailPNG(b, "us")
			require.NoError(t, err)
			largest = max(largest, len(png))
			require.LessOrEqual(t, len(png), mailMost)
			keep(t, "real-"+b.Day.String()+".png", png)
		}
		drawn++
	}

	require.Greater(t, drawn, 40)
	t.Logf("%d mornings, largest picture %d bytes", drawn, largest)
}
