package ingest_test

import (
	"io"
	"net/http"
	"testing"
	"time"

	"example.org/coldseam/ingest"
	"github.com/stretchr/testify/require"
)

// A first back-fill of 40 parts does not wait 80 s for each after a tenth of an
// hour's budget of 50; what it spends is told to the other servers.
func TestFirstBackfillSpendsTheBudget(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5")))
	})
	b.p.RatePerHour, b.p.MaxWindow = 50, ingest.Span(24*time.Hour)
	b.SpendAtOnce = true
	b.Waiting = func(string, time.Duration) { t.Error("it waits") }
	shared := &purse{left: 100, hosts: map[string]bool{}}
	b.Budget = shared
	res, err := b.fetch(t, ingest.Request{Since: now.Add(-40 * 24 * time.Hour), Until: now})
	require.NoError(t, err)
	require.Equal(t, 40, res.Requests)
	require.Equal(t, 60, shared.left)
}
