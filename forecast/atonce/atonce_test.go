package atonce

import (
	"encoding/json"
	"math"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/verdict"
)

var (
	day = coldseam.Date{Year: 2026, Month: time.April, Day: 18}
	now = time.Date(2026, time.April, 18, 10, 30, 0, 0, time.UTC)
)

// features are those of an invented river of two years without models: a
// morning of it fits both.
func features(t *testing.T) forecast.Inputs {
	t.Helper()
	sp, err := run.FindSpecies(run.DefaultSpecies(), "walleye")
	require.NoError(t, err)
	limit, depth := 200., 4.
	f := forecast.Inputs{
		Now:      now,
		Day:      day,
		Loc:      time.UTC,
		Seed:     1,
		Members:  12,
		Cost:     .4,
		Species:  sp,
		AlertsAt: now,
		Table:    verdict.DefaultTable(),
		Site:     coldseam.Site{ID: "x:1", Zone: "UTC"},
		Reach: coldseam.Reach{ID: "r", River: "Tamsen", Name: "Bend", Site: "x:1", Zone: "UTC", Lat: 45,
			MaxFlowM3S: &limit, HazardsSurveyed: true,
			Species: []string{"walleye"},
			Spots:   []coldseam.Spot{{ID: "seam", Kind: coldseam.SpotSeam, DepthRefM: &depth, Sounded: day.Add(-10)}}},
		Days: coldseam.Days{First: coldseam.Date{Year: 2024, Month: 4, Day: 1}, Lat: 45},
	}
	for i := range day.Sub(f.Days.First) {
		year := 2 * math.Pi * float64(f.Days.Day(i).YearDay()-105) / 365
		wobble := math.Sin(float64(i)*.7) + math.Sin(float64(i)*.23)
		f.Days.AirC = append(f.Days.AirC, 6+14*math.Sin(year)+2*wobble)
		f.Days.WaterC = append(f.Days.WaterC, math.Max(4+9*math.Sin(year)+.6*wobble, 0))
		f.Days.FlowM3S = append(f.Days.FlowM3S, 60+25*math.Sin(year+.8)+4*wobble)
	}

	for at := now.AddDate(0, 0, -10); !at.After(now); at = at.Add(time.Hour) {
		f.Discharge = append(f.Discharge, coldseam.Observation{At: at, KnownAt: at,
			Value: 75 + math.Sin(float64(at.Hour()))})
		f.Water = append(f.Water, coldseam.Observation{At: at, KnownAt: at, Value: 5})
	}
	f.Pool = []coldseam.Days{f.Days}
	return f
}

// Reaches are forecast at once by the jobs of a service, which share records,
// tables and models: nothing of them is written, and each says the same.
func TestMorningsAtOnce(t *testing.T) {
	t.Parallel()
	f := features(t)
	a := atOnce(f, 2)
	require.Empty(t, a[0].Problems)
	f.FlowModel, f.TempModel = a[0].FlowModel, a[0].TempModel
	for _, m := range append(a[1:], atOnce(f, 3)...) {
		require.Equal(t, said(t, a[0]), said(t, m))
	}
}

// atOnce makes n mornings of the same features.
func atOnce(f forecast.Inputs, n int) []forecast.Morning {
	out := make([]forecast.Morning, n)
	var all sync.WaitGroup
	for i := range out {
		all.Go(func() { out[i] = forecast.Make(f) })
	}
	all.Wait()
	return out
}

func said(t *testing.T, m forecast.Morning) string {
	t.Helper()
	raw, err := json.Marshal(m.Brief)
	require.NoError(t, err)
	return string(raw)
}
