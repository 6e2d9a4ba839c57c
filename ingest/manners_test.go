package ingest_test

import (
	"compress/gzip"
	"fmt"
	"io"
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
	start := time.Now()
	_, err := b.fetch(t, ingest.Request{Sites: []string{"a", "b", "c"}})
	require.NoError(t, err)
	require.Len(t, at, 3)
	for i := range at { // from the start: a late arrival shortens the gap behind it
		require.GreaterOrEqual(t, at[i].Sub(start), time.Duration(i)*80*time.Millisecond)
	}
}

// A service that has had enough is left alone, by every feed of its host: after
// a 429 without a time for growing spans, with no request left until its count
// starts anew, and however long it says, not for a week.
func TestAFullServiceIsLeftAlone(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name   string
		status int
		header http.Header
		least  time.Duration
		most   time.Duration
	}{
		{"429 alone", 429, nil, time.Minute, time.Hour},
		{"429, zero seconds", 429, http.Header{"Retry-After": {"0"}}, time.Minute, time.Hour},
		{"429, a date gone by", 429, http.Header{"Retry-After": {"Fri, 20 Mar 2020 12:00:00 GMT"}}, time.Minute,
			time.Hour},
		{"429, words", 429, http.Header{"Retry-After": {"soon"}}, time.Minute, time.Hour},
		{"429, none left", 429, http.Header{"X-Ratelimit-Remaining": {"0"}}, time.Minute, time.Hour},
		{"200, none left", 200, http.Header{"X-Ratelimit-Remaining": {"0"}}, time.Minute, time.Hour},
		{"200, none left for 20 min", 200, http.Header{"Ratelimit-Remaining": {"0"}, "Ratelimit-Reset": {"1200"}},
			20 * time.Minute, 20 * time.Minute},
		{"200, none left until a time", 200, http.Header{"X-Ratelimit-Remaining": {"0"},
			"X-Ratelimit-Reset": {fmt.Sprint(now.Add(time.Hour).Unix())}}, time.Hour, time.Hour},
		{"429, for ever", 429, http.Header{"Retry-After": {"999999999"}}, time.Hour, 24 * time.Hour},
		{"503, for ever", 503, http.Header{"Retry-After": {"99999999999999999999"}}, time.Hour, 24 * time.Hour},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			var n atomic.Int32
			b := newBench(t, func(w http.ResponseWriter, _ *http.Request) {
				n.Add(1)
				for k, v := range c.header {
					w.Header()[k] = v
				}
				w.WriteHeader(c.status)
				_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5")))
			})
			shared := &purse{left: 100, hosts: map[string]bool{}}
			b.Budget = shared

			for i := range 8 {
				b.p.Path = fmt.Sprintf("/feed%d", i)
				_, _ = b.fetch(t, ingest.Request{})
			}
			require.EqualValues(t, 1, n.Load(), "eight feeds of one host")
			require.GreaterOrEqual(t, shared.held, c.least)
			require.LessOrEqual(t, shared.held, c.most)
		})
	}
}
