package flow

import (
	"encoding/json"
	"testing"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"github.com/stretchr/testify/require"
)

func BenchmarkFit(b *testing.B) {
	d := river(20*365, 1)
	for b.Loop() {
		_, err := Fit(d, Options{})
		require.NoError(b, err)
	}
}

// BenchmarkMorning is one river's morning: the stored model read back, the
// history prepared, 100 members of ten days coupled to given traces.
func BenchmarkMorning(b *testing.B) {
	d := river(20*365, 1)
	m, err := Fit(d, Options{})
	require.NoError(b, err)
	raw, err := json.Marshal(m)
	require.NoError(b, err)
	day := d.Day(19*365 + 100)
	traces := make([]coldseam.Date, ensemble.DefaultMembers)
	for i := range traces {
		traces[i] = d.Day(500 + 13*i)
	}
	b.ReportAllocs()
	b.ReportMetric(float64(len(raw)), "model-bytes")

	for b.Loop() {
		var back Model
		require.NoError(b, json.Unmarshal(raw, &back))
		_, err := back.Forecast(ensemble.Request{View: d.Cut(day), Day: day, Traces: traces})
		require.NoError(b, err)
	}
}
