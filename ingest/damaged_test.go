package ingest_test

import (
	"io"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/ingest"
)

// A warning without any time counts from when it came.
func TestDamagedWarningIsKept(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, _ *http.Request) {
		_, _ = io.WriteString(w,
			`<alert><info><event>Flood Warning</event><area><areaDesc>x</areaDesc></area></info></alert>`)
	})
	b.p.Paging, b.p.Query, b.p.Format = ingest.PagingNone, nil, ingest.FormatCAP
	_, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Len(t, b.sink.alerts, 1)
	a := b.sink.alerts[0]
	require.Equal(t, now, a.Sent)
	require.Equal(t, now, a.From)
	require.Equal(t, now.Add(24*time.Hour), a.End)
	require.True(t, a.EndAssumed)
	require.Equal(t, "Actual", a.Status)
	require.NotEmpty(t, a.Defects)
}
