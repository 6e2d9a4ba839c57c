package ingest_test

import (
	"compress/gzip"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"example.org/coldseam/ingest"
	"github.com/stretchr/testify/require"
)

// Compressed answers are asked for and read; the bytes that count against the
// cap are those of the document.
func TestFetchGzip(t *testing.T) {
	t.Parallel()
	body := doc("", row(now.Add(-time.Hour), "1.2"))
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
			http.Error(w, "compressed answers only", http.StatusNotAcceptable)
			return
		}
		w.Header().Set("Content-Encoding", "gzip")
		z := gzip.NewWriter(w)
		_, _ = z.Write([]byte(body))
		_ = z.Close()
	})
	res, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, 1, res.Added)
	require.EqualValues(t, len(body), res.Bytes)
	require.Equal(t, body, string(b.sink.raws[0].Payload), "kept as it is read again")
}

// A host sees no more requests at once than allowed, whatever profiles ask it.
func TestFetchConcurrencyOfAHost(t *testing.T) {
	t.Parallel()
	var open, most, n atomic.Int32
	release := make(chan struct{})
	b := newBench(t, func(w http.ResponseWriter, _ *http.Request) {
		k := open.Add(1)
		for m := most.Load(); k > m && !most.CompareAndSwap(m, k); m = most.Load() {
		}
		if n.Add(1) == 2 {
			close(release) // both slots are taken; the others must wait
		}
		<-release
		open.Add(-1)
		_, _ = w.Write([]byte(doc("", row(now.Add(-time.Hour), "1.2"))))
	})
	var wg sync.WaitGroup
	for _, name := range []string{"gauges", "weather", "warnings"} {
		p := b.p
		p.Name = name
		for range 4 {
			wg.Go(func() {
				_, err := b.Fetch(t.Context(), p, ingest.Request{Force: true})
				require.NoError(t, err)
			})
		}
	}
	wg.Wait()
	require.EqualValues(t, 12, n.Load())
	require.EqualValues(t, 2, most.Load())
}

// min_interval spaces the requests of a profile.
func TestFetchMinInterval(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	var at []time.Time
	b := newBench(t, func(w http.ResponseWriter, _ *http.Request) {
		mu.Lock()
		at = append(at, time.Now())
		mu.Unlock()
		_, _ = w.Write([]byte(doc("", row(now.Add(-time.Hour), "1.2"))))
	})
	b.p.MinInterval, b.p.SitesPerRequest = ingest.Span(80*time.Millisecond), 1
	_, err := b.fetch(t, ingest.Request{Sites: []string{"a", "b", "c"}})
	require.NoError(t, err)
	require.Len(t, at, 3)
	for i := 1; i < len(at); i++ {
		// Seen at the server, so a late arrival shortens the next gap; without the
		// interval it would be a millisecond.
		require.Greater(t, at[i].Sub(at[i-1]), 30*time.Millisecond)
	}
}
