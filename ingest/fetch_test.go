package ingest_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/detect"
	"github.com/stretchr/testify/require"
)

// the clock of these tests; documents are stamped before it.
var now = time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)

// row is one feature of a continuous collection of the invented Tamsen gauge.
func row(at time.Time, value string) string {
	return fmt.Sprintf(`{"type":"Feature","geometry":null,"properties":{"monitoring_location_id":"TM-1","parameter_code":"00065","statistic_id":"00011","time_series_id":"s1","time":%q,"value":%q,"unit_of_measure":"m","approval_status":"Provisional","qualifier":null}}`, at.Format(time.RFC3339), value)
}

func doc(next string, rows ...string) string {
	links := ""
	if next != "" {
		links = fmt.Sprintf(`,"links":[{"rel":"next","href":%q}]`, next)
	}
	return `{"type":"FeatureCollection","features":[` + strings.Join(rows, ",") + `]` + links + `}`
}

type bench struct {
	*ingest.Fetcher
	sink *memory
	p    ingest.Profile
	srv  *httptest.Server
}

func newBench(t *testing.T, h http.HandlerFunc) *bench {
	t.Helper()
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	m := newMemory()
	f := &ingest.Fetcher{
		Now: func() time.Time { return now }, Log: slog.New(slog.NewTextHandler(io.Discard, nil)),
		Parse: detect.Parse, Sink: m, Agent: "coldseam/test (club@example.org)", RetryWait: time.Millisecond,
	}
	t.Cleanup(f.Close)
	p := ingest.Profile{
		Name:         "tamsen",
		BaseURL:      srv.URL,
		Path:         "/items",
		Paging:       ingest.PagingLinks,
		PrivateHosts: []string{"127.0.0.1"},
		RatePerHour:  1e6,
		Query:        map[string]string{"site": "{sites}", "time": "{since}/{until}", "limit": "{limit}"},
	}
	return &bench{f, m, p, srv}
}

func (b *bench) fetch(t *testing.T, req ingest.Request) (ingest.Result, error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	req.Force = true
	return b.Fetch(ctx, b.p, req)
}

func TestFetchOKThenNotModified(t *testing.T) {
	t.Parallel()
	var agents, conds atomic.Value
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		agents.Store(r.UserAgent())
		conds.Store(r.Header.Get("If-None-Match"))
		if r.Header.Get("If-None-Match") == `"v1"` {
			w.WriteHeader(http.StatusNotModified) // without repeating the validators
			return
		}
		w.Header().Set("ETag", `"v1"`)
		w.Header().Set("X-Ratelimit-Remaining", "993")
		_, _ = io.WriteString(w, doc("", row(now.Add(-15*time.Minute), "1.59")))
	})
	res, err := b.fetch(t, ingest.Request{Sites: []string{"TM-1"}})
	require.NoError(t, err)
	require.Equal(t, ingest.StateOK, res.State)
	require.Equal(t, 1, res.Added)
	require.Equal(t, 993, res.Remaining)
	require.Equal(t, now.Add(-15*time.Minute), res.NewestValid)
	require.Equal(t, "coldseam/test (club@example.org)", agents.Load())
	require.Empty(t, conds.Load())

	for k, obs := range b.sink.obs {
		require.Equal(t, coldseam.SiteID("tamsen:TM-1"), k.Site)
		for _, o := range obs {
			require.Equal(t, now, o.KnownAt)
		}
	}

	for range 2 {
		res, err = b.fetch(t, ingest.Request{Sites: []string{"TM-1"}})
		require.NoError(t, err)
		require.True(t, res.NotModified)
		require.Equal(t, ingest.StateOK, res.State)
		require.Equal(t, `"v1"`, conds.Load())
	}
	require.Equal(t, 1, b.sink.upserts, "an answer of 304 writes no rows")
}

func TestFetchUnchangedWritesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.WriteString(w, doc("", row(now.Add(-30*time.Minute), "1.59"), row(now.Add(-15*time.Minute), "1.60")))
	})
	_, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	res, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Zero(t, res.Added+res.Revised)
	require.Zero(t, b.sink.revisions+b.sink.qcChanges)
}

func TestFetchValidatorsOnlyAfterStoring(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("If-None-Match") != "" {
			w.WriteHeader(http.StatusNotModified)
			return
		}
		w.Header().Set("ETag", `"v1"`)
		_, _ = io.WriteString(w, doc("", row(now.Add(-15*time.Minute), "1.59")))
	})
	b.sink.failNext = errors.New("disk full")
	_, err := b.fetch(t, ingest.Request{})
	require.ErrorContains(t, err, "disk full")
	res, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.False(t, res.NotModified, "the document must be asked for again")
	require.Equal(t, 1, b.sink.rows())
}

func TestFetchRetries(t *testing.T) {
	t.Parallel()
	t.Run("500 then 200", func(t *testing.T) {
		t.Parallel()
		var n atomic.Int32
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			if n.Add(1) == 1 {
				w.WriteHeader(http.StatusInternalServerError)
				return
			}
			_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5")))
		})
		res, err := b.fetch(t, ingest.Request{})
		require.NoError(t, err)
		require.Equal(t, 1, res.Rows)
		require.EqualValues(t, 2, n.Load())
		require.Equal(t, 2, res.Requests, "a second try counts")
	})

	t.Run("three tries, then the next tick", func(t *testing.T) {
		t.Parallel()
		var n atomic.Int32
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			n.Add(1)
			w.WriteHeader(http.StatusBadGateway)
		})
		res, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrUnavailable)
		require.Equal(t, ingest.StateError, res.State)
		require.EqualValues(t, 3, n.Load())

		k, until := b.Failures("tamsen", "")
		require.Equal(t, 1, k)
		require.Equal(t, now.Add(time.Minute), until)
		_, err = b.Fetch(context.Background(), b.p, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrUnavailable)
		require.ErrorContains(t, err, "paused until")
		require.EqualValues(t, 3, n.Load(), "a paused feed is not called")
	})

	t.Run("404 is not tried again", func(t *testing.T) {
		t.Parallel()
		var n atomic.Int32
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) { n.Add(1); w.WriteHeader(http.StatusNotFound) })
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrRejected)
		require.EqualValues(t, 1, n.Load())
	})

	t.Run("429 with a short Retry-After is waited for", func(t *testing.T) {
		t.Parallel()
		var n atomic.Int32
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			if n.Add(1) == 1 {
				w.Header().Set("Retry-After", "1")
				w.WriteHeader(http.StatusTooManyRequests)
				return
			}
			_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5")))
		})
		start := time.Now()
		_, err := b.fetch(t, ingest.Request{})
		require.NoError(t, err)
		require.GreaterOrEqual(t, time.Since(start), 900*time.Millisecond)
	})

	t.Run("429 with a long Retry-After ends the job", func(t *testing.T) {
		t.Parallel()
		var n atomic.Int32
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			n.Add(1)
			w.Header().Set("Retry-After", "3600")
			w.WriteHeader(http.StatusTooManyRequests)
		})
		res, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrUnavailable)
		require.Equal(t, now.Add(time.Hour), res.NotBefore)
		require.EqualValues(t, 1, n.Load())
		require.Equal(t, now.Add(time.Hour), b.sink.raws[0].NotBefore, "kept for the next process")
		_, err = b.fetch(t, ingest.Request{Force: true})
		require.ErrorIs(t, err, coldseam.ErrUnavailable)
		require.EqualValues(t, 1, n.Load(), "the server's word holds even when forced")
	})
}

func TestFetchPaging(t *testing.T) {
	t.Parallel()
	page := func(w http.ResponseWriter, r *http.Request, pages int) {
		k := 0
		_, _ = fmt.Sscan(r.URL.Query().Get("offset"), &k)
		next := ""
		if k+1 < pages {
			next = fmt.Sprintf("http://%s/items?offset=%d", r.Host, k+1)
		}
		_, _ = io.WriteString(w, doc(next, row(now.Add(-time.Duration(k+1)*time.Hour), "1.5")))
	}

	t.Run("all pages", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) { page(w, r, 3) })
		res, err := b.fetch(t, ingest.Request{})
		require.NoError(t, err)
		require.Equal(t, 3, res.Added)
		require.Equal(t, 3, res.Requests)
		require.Equal(t, 1, b.sink.upserts)
	})

	t.Run("a failed later page stores nothing", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Query().Get("offset") == "2" {
				_, _ = io.WriteString(w, doc("", row(now, "1"))[:50])
				return
			}
			page(w, r, 4)
		})
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrInvalid)
		require.Zero(t, b.sink.rows())
	})

	t.Run("next to another host", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			_, _ = io.WriteString(w, doc("http://elsewhere.example/items?offset=1", row(now.Add(-time.Hour), "1.5")))
		})
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrRejected)
		require.Zero(t, b.sink.rows())
	})

	t.Run("next that repeats", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			_, _ = io.WriteString(w, doc("/items?offset=1", row(now.Add(-time.Hour), "1.5")))
		})
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorContains(t, err, "repeats")
		require.Zero(t, b.sink.rows())
	})

	t.Run("more than max_pages", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) { page(w, r, 100) })
		b.p.MaxPages = 3
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorContains(t, err, "max_pages = 3")
		require.Zero(t, b.sink.rows())
	})
	t.Run("the first page alone", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) { page(w, r, 3) })
		b.p.Paging = ingest.PagingFirst
		res, err := b.fetch(t, ingest.Request{})
		require.NoError(t, err)
		require.Equal(t, 1, res.Requests)
	})
	t.Run("paging not configured", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) { page(w, r, 2) })
		b.p.Paging = ""
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorContains(t, err, "paging is none")
		require.Zero(t, b.sink.rows())
	})
}

func TestFetchRefusals(t *testing.T) {
	t.Parallel()
	t.Run("web page with status 200", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "application/geo+json")
			_, _ = io.WriteString(w, "<!DOCTYPE html><html><body>Service is down for maintenance</body></html>")
		})
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrInvalid)
		require.ErrorContains(t, err, "<!DOCTYPE html>")
		require.Contains(t, b.sink.raws[0].Err, "no known format")
	})

	t.Run("a unit nobody knows is no empty answer", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("ETag", `"v1"`)
			_, _ = io.WriteString(w, strings.ReplaceAll(doc("", row(now.Add(-time.Hour), "1.5")), `"m"`, `"ms"`))
		})
		for range 2 {
			res, err := b.fetch(t, ingest.Request{})
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.ErrorContains(t, err, `unit "ms" is unknown`)
			require.Equal(t, ingest.StateError, res.State)
		}

		require.Len(t, b.sink.raws, 2)
		require.Contains(t, b.sink.raws[0].Err, "nothing in it can be used")
	})

	t.Run("redirect to a private address", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, "http://169.254.169.254/latest/meta-data", http.StatusFound)
		})
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrRejected)
		require.ErrorContains(t, err, "private address")
	})

	t.Run("mapped loopback", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, nil)
		b.p.BaseURL = "http://[::ffff:127.0.0.1]:80"
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrRejected)
	})
	t.Run("a name that points inside", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, nil)
		b.p.BaseURL = strings.Replace(b.p.BaseURL, "127.0.0.1", "localhost", 1)
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrRejected)
	})

	t.Run("four redirects", func(t *testing.T) {
		t.Parallel()
		var n atomic.Int32
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			http.Redirect(w, r, fmt.Sprintf("/items?n=%d", n.Add(1)), http.StatusFound)
		})
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrRejected)
		require.EqualValues(t, 4, n.Load())
	})

	t.Run("endless body", func(t *testing.T) {
		t.Parallel()
		var sent atomic.Int64
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			chunk := bytes.Repeat([]byte("[1,2,3] "), 8<<10)
			for {
				n, err := w.Write(chunk)
				sent.Add(int64(n))
				if err != nil {
					return
				}
			}
		})
		_, err := b.fetch(t, ingest.Request{})
		require.Error(t, err)
		require.Less(t, sent.Load(), int64(32<<20), "the socket buffers, not the stream")
	})

	t.Run("gzip 1000 to 1", func(t *testing.T) {
		t.Parallel()
		var bomb bytes.Buffer
		z := gzip.NewWriter(&bomb)
		for range 500 {
			_, _ = z.Write(make([]byte, 1<<20))
		}
		require.NoError(t, z.Close())

		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Encoding", "gzip")
			_, _ = w.Write(bomb.Bytes())
		})
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err := b.fetch(t, ingest.Request{})
		require.Error(t, err)
		runtime.ReadMemStats(&after)
		require.Less(t, after.HeapInuse, before.HeapInuse+100<<20)
	})

	t.Run("header of 2 MB", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("X-Long", strings.Repeat("a", 2<<20))
			_, _ = io.WriteString(w, doc(""))
		})
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrUnavailable)
	})

	t.Run("slow drip is cut, other feeds go on", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			if r.URL.Query().Get("site") == "" {
				_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5")))
				return
			}

			for {
				if _, err := w.Write([]byte(" ")); err != nil || r.Context().Err() != nil {
					return
				}
				w.(http.Flusher).Flush()
				select {
				case <-time.After(20 * time.Millisecond):
				case <-r.Context().Done():
					return
				}
			}
		})
		b.p.Timeout = ingest.Span(500 * time.Millisecond)

		start := time.Now()
		_, err := b.fetch(t, ingest.Request{Sites: []string{"TM-1"}})
		require.ErrorIs(t, err, coldseam.ErrUnavailable)
		require.Less(t, time.Since(start), 2*time.Second, "one timeout, no retries")
		_, err = b.fetch(t, ingest.Request{})
		require.NoError(t, err)
	})

	t.Run("closed port", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, nil)
		b.srv.Close()
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrUnavailable)
	})
	t.Run("no such name", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, nil)
		b.p.BaseURL = "http://gauge.invalid"
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrUnavailable)
	})

	t.Run("rows of the future", func(t *testing.T) {
		t.Parallel()
		b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
			_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5"), row(now.Add(5*time.Minute), "1.5"),
				row(now.Add(24*time.Hour), "1.5")))
		})
		res, err := b.fetch(t, ingest.Request{})
		require.NoError(t, err)
		require.Equal(t, 1, res.Refused)
		require.Equal(t, 2, b.sink.rows())
	})
}

func TestFetchCutBodyStoresNothing(t *testing.T) {
	t.Parallel()
	var rows []string
	for i := range 40 {
		rows = append(rows, row(now.Add(-time.Duration(i+1)*15*time.Minute), "1.5"))
	}
	whole := doc("", rows...)
	var cut atomic.Int64
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.WriteString(w, whole[:cut.Load()])
	})

	for n := 0; n < len(whole); n += 1 << 10 {
		cut.Store(int64(n))
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrInvalid, "cut at %d", n)
		require.Zero(t, b.sink.rows())
	}

	cut.Store(int64(len(whole)))
	_, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, 40, b.sink.rows())
}

func TestFetchKeyStaysHome(t *testing.T) {
	t.Parallel()
	const secret = "k-4711-secret"
	var stolen atomic.Value
	other := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		stolen.Store(r.Header.Get("X-Api-Key") + r.Header.Get("X-Club") + r.Header.Get("Authorization"))
		_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5")))
	}))
	defer other.Close()

	var got atomic.Value
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		got.Store(r.Header.Get("X-Api-Key"))
		http.Redirect(w, r, other.URL+"/items?api_key="+secret, http.StatusFound)
	})
	file := filepath.Join(t.TempDir(), "key")
	require.NoError(t, os.WriteFile(file, []byte(secret+"\n"), 0o600))
	b.p.KeyHeader, b.p.KeyFile = "X-Api-Key", file
	b.p.Headers = map[string]string{"X-Club": "tamsen"}

	b.p.Query = map[string]string{"api_key": secret}
	_, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, secret, got.Load())
	require.Empty(t, stolen.Load(), "neither key nor own headers go to another host")
	for _, r := range b.sink.raws {
		require.NotContains(t, r.URL+r.Err, secret)
	}
	b.srv.Close()
	_, err = b.fetch(t, ingest.Request{})
	require.Error(t, err)
	require.NotContains(t, err.Error(), secret)
}

func TestFetchWindowsAndProgress(t *testing.T) {
	t.Parallel()
	var fail atomic.Value
	fail.Store("")
	var asked []string
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		span := r.URL.Query().Get("time")
		asked = append(asked, span)
		from, _, _ := strings.Cut(span, "/")
		if from == fail.Load() {
			w.WriteHeader(http.StatusNotFound)
			return
		}

		at, err := time.Parse(time.RFC3339, from)
		if err != nil {
			w.WriteHeader(http.StatusBadRequest)
			return
		}

		_, _ = io.WriteString(w, doc("", row(at.Add(time.Hour), "1.5")))
	})
	b.p.MaxWindow = ingest.Span(3 * 365 * 24 * time.Hour)

	b.p.Concurrency = 1
	from := time.Date(1990, 1, 1, 0, 0, 0, 0, time.UTC)
	var seen []ingest.Progress
	req := ingest.Request{Sites: []string{"TM-1"}, Since: from, Until: time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC),
		Progress: func(p ingest.Progress) { seen = append(seen, p) }}
	res, err := b.fetch(t, req)
	require.NoError(t, err)
	require.Equal(t, []string{
		"1990-01-01T00:00:00Z/1992-12-31T00:00:00Z", "1992-12-31T00:00:00Z/1995-12-31T00:00:00Z",
		"1995-12-31T00:00:00Z/1998-12-30T00:00:00Z", "1998-12-30T00:00:00Z/2000-01-01T00:00:00Z",
	}, asked)
	require.Equal(t, 4, res.Added)
	require.Len(t, seen, 4)
	require.Equal(t, req.Until, seen[3].Until)
	require.Equal(t, 4, seen[3].Done)

	// A slice that fails ends the walk; what came before is stored and known.
	seen, asked = nil, nil
	fail.Store("1995-12-31T00:00:00Z")
	_, err = b.fetch(t, req)
	require.ErrorIs(t, err, coldseam.ErrRejected)
	require.Len(t, asked, 3)
	require.Len(t, seen, 2)
	require.Equal(t, "1995-12-31T00:00:00Z", seen[1].Until.Format(time.RFC3339), "resume here")
}

func TestFetchBudgetIsKeptForLivePolls(t *testing.T) {
	t.Parallel()
	var n atomic.Int32
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		n.Add(1)
		w.Header().Set("X-Ratelimit-Remaining", "100")
		_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5")))
	})
	b.p.RatePerHour = 1000
	b.p.MaxWindow = ingest.Span(24 * time.Hour)
	res, err := b.fetch(t, ingest.Request{Since: now.Add(-10 * 24 * time.Hour)})
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.EqualValues(t, 1, n.Load())
	require.Equal(t, now.Add(time.Hour), res.NotBefore)
}

func TestFetchClock(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Date", now.Add(-2*time.Minute).Format(http.TimeFormat))
		_, _ = io.WriteString(w, doc(""))
	})
	var logged bytes.Buffer
	b.Log = slog.New(slog.NewTextHandler(&logged, nil))
	res, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, ingest.StateEmpty, res.State)
	require.Equal(t, -2*time.Minute, res.ClockSkew)
	require.Contains(t, logged.String(), "clock differs")
}

func TestFetchStates(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.WriteString(w, doc("", row(now.Add(-9*time.Hour), "1.5"), row(now.Add(-8*time.Hour), "1.5")))
	})
	res, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, ingest.StateStale, res.State, "newest value 8 h old, steps of 1 h")
	res, err = b.fetch(t, ingest.Request{Since: now.Add(-10 * time.Hour), Until: now.Add(-7 * time.Hour)})
	require.NoError(t, err)
	require.Equal(t, ingest.StateOK, res.State, "history is old by nature")
}

func TestFetchNoContentIsEmpty(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) { w.WriteHeader(http.StatusNoContent) })
	res, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, ingest.StateEmpty, res.State)
	require.Zero(t, b.sink.upserts)
}

func TestReplay(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5")))
	})
	_, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	raw := b.sink.raws[0]
	res, err := b.Replay(context.Background(), b.p, raw.Payload, raw.At, raw.ID)
	require.NoError(t, err)
	require.Equal(t, 1, res.Rows)
	require.Zero(t, res.Added+res.Revised)

	other := newMemory()
	b.Sink = other
	raw.At = raw.At.Add(-time.Minute)
	_, err = b.Replay(context.Background(), b.p, raw.Payload, raw.At, raw.ID)
	require.NoError(t, err)
	for _, t1 := range other.obs {
		for _, o := range t1 {
			require.Equal(t, raw.At, o.KnownAt, "known when it was fetched, not now")
		}
	}
}

func TestFetchForecasts(t *testing.T) {
	t.Parallel()
	cov := func(symbol, v string) string {
		return `{"type":"Coverage","domain":{"axes":{"t":{"values":["2026-03-20T15:00:00Z"]},"x":{"values":[-93.1]},"y":{"values":[45.2]}}},
			"parameters":{"t2":{"unit":{"symbol":"` + symbol + `"},"observedProperty":{"id":"air_temperature"}}},
			"ranges":{"t2":{"type":"NdArray","axisNames":["t"],"shape":[1],"values":[` + v + `]}}}`
	}
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		switch {
		case strings.HasPrefix(r.URL.Path, "/instances/"):
			_, _ = io.WriteString(w, cov("Cel", "3"))
		case strings.Contains(r.URL.RawQuery, "wrong"):
			_, _ = io.WriteString(w, cov("K", "-20.8"))
		default:
			require.Equal(t, "POINT(-93.1000 45.2000)", r.URL.Query().Get("coords"))
			_, _ = io.WriteString(w, cov("Cel", "2.5"))
		}
	})
	b.p.Places = map[string]ingest.Place{"bend": {Lat: 45.2, Lon: -93.1}}

	b.p.Query = map[string]string{"coords": "POINT({lon} {lat})"}
	res, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, now, res.NewestIssued)
	f := b.sink.forecasts[0]
	require.Equal(t, coldseam.SiteID("tamsen:bend"), f.Site)
	require.True(t, f.IssuedAssumed)
	require.Equal(t, now, f.KnownAt)
	require.Equal(t, []float64{2.5}, f.Value)

	b.p.Path = "/instances/2026-03-20T06:00:00Z/position"
	_, err = b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	f = b.sink.forecasts[1]
	require.False(t, f.IssuedAssumed)
	require.Equal(t, 6, f.Issued.Hour())

	b.p.Path = "/items"
	b.p.Query["wrong"] = "1"
	res, err = b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, 1, res.Refused)
	require.Len(t, b.sink.forecasts, 2, "kelvin that is celsius never becomes weather")
}

// A row without a value but with an ice mark arrives in the store with both:
// the ice stop must see it.
func TestFetchIceWithoutValue(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5"),
			strings.NewReplacer(`"value":"x"`, `"value":null`, `"qualifier":null`, `"qualifier":["ICE"]`).Replace(
				row(now.Add(-15*time.Minute), "x"))))
	})
	res, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, 2, res.Added)
	require.Equal(t, now.Add(-time.Hour), res.NewestValid, "a row without a value is no news of the river")
	for _, obs := range b.sink.obs {
		o := obs[now.Add(-15*time.Minute).UnixMicro()]
		require.Equal(t, coldseam.Missing|coldseam.Ice|coldseam.Provisional|coldseam.Suspect, o.Flag)
		require.Equal(t, []string{"ICE"}, o.Qualifiers)
	}
}

// The point record of a gridded service leads to the forecast of the same host.
func TestFetchTwoSteps(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/points/45.2000,-93.1000":
			_, _ = fmt.Fprintf(w,
				`{"type":"Feature","geometry":null,"properties":{"forecastGridData":"http://%s/gridpoints/TST/10,20"}}`,
				r.Host)
		case "/gridpoints/TST/10,20":
			_, _ = io.WriteString(w, `{"type":"Feature","geometry":null,"properties":{"updateTime":"2026-03-20T11:24:37+00:00","gridId":"TST","gridX":10,"gridY":20,
				"temperature":{"uom":"wmoUnit:degC","values":[{"validTime":"2026-03-20T12:00:00+00:00/PT2H","value":1.5}]}}}`)
		default:
			w.WriteHeader(http.StatusNotFound)
		}
	})
	b.p.Path, b.p.Query, b.p.Paging = "/points/{lat},{lon}", nil, ingest.PagingBody

	b.p = b.p.WithSites([]coldseam.Site{{
		Provider: "tamsen",
		Code:     "bend",
		Lat:      45.2,
		Lon:      -93.1,
		Zone:     "America/Chicago",
	}})
	res, err := b.fetch(t, ingest.Request{Sites: []string{"bend"}})
	require.NoError(t, err)
	require.Equal(t, 2, res.Requests)
	require.Equal(t, time.Date(2026, 3, 20, 11, 24, 37, 0, time.UTC), res.NewestIssued)
	require.Equal(t, coldseam.SiteID("tamsen:bend"), b.sink.forecasts[0].Site)
	require.Equal(t, []float64{1.5, 1.5}, b.sink.forecasts[0].Value)
}

// After the metadata was read, only the primary series of a site is stored.
func TestFetchTakesThePrimarySeries(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/metadata" {
			meta := `{"type":"Feature","id":%q,"geometry":null,"properties":{"monitoring_location_id":"TM-1","parameter_code":"00065","statistic_id":"00011","unit_of_measure":"m","computation_identifier":"Instantaneous","computation_period_identifier":"Points","primary":%s,"end_utc":"2026-03-20T00:00:00+00:00"}}`
			_, _ = io.WriteString(w, doc("", fmt.Sprintf(meta, "s0", "null"), fmt.Sprintf(meta, "s1", `"Primary"`)))
			return
		}
		_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5"),
			strings.Replace(row(now.Add(-time.Hour), "9.9"), `"s1"`, `"s0"`, 1),
			strings.NewReplacer(`"s1"`, `"w"`, "00065", "00010", `"m"`, `"degC"`).Replace(
				row(now.Add(-time.Hour), "4.4"))))
	})
	b.p.Endpoints = map[string]ingest.Endpoint{"metadata": {Path: "/metadata"}}

	res, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, 3, res.Added, "nothing is known of the series yet")
	res, err = b.fetch(t, ingest.Request{Endpoint: "metadata"})
	require.NoError(t, err)
	require.Len(t, res.Meta, 2)
	res, err = b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, 2, res.Rows, "a series the metadata does not list stays")
	require.Equal(t, []ingest.Skipped{{What: "series s0", Code: ingest.CodeChosen, Why: "another series of the site is chosen", N: 1}},
		res.Skipped)

	// Another process that replays the kept documents, records of series first,
	// makes the same choice.
	again := newMemory()
	f := &ingest.Fetcher{Now: func() time.Time { return now }, Parse: detect.Parse, Sink: again}
	for _, want := range []string{"/metadata", "/items"} {
		for _, r := range b.sink.raws {
			if strings.Contains(r.URL, want) {
				_, err := f.Replay(t.Context(), b.p, r.Payload, r.At, 0)
				require.NoError(t, err)
			}
		}
	}

	require.Equal(t, 2, again.rows())
}

// A service that answers with all the stations it has costs the club nothing:
// those that nobody asked for are counted and not stored.
func TestFetchLeavesOutOtherStations(t *testing.T) {
	t.Parallel()
	at := now.Add(-time.Hour)
	rows := []string{row(at, "1.2")}
	for i := range 2000 {
		rows = append(rows, strings.Replace(row(at, "9"), "TM-1", fmt.Sprintf("ZZ-%d", i), 1))
	}
	rows = append(rows, strings.Replace(row(at, "2"), "TM-1", "TM-2", 1))
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) { fmt.Fprint(w, doc("", rows...)) })
	b.Ours = func(id coldseam.SiteID) bool { return id == "tamsen:TM-2" } // read by another profile
	res, err := b.fetch(t, ingest.Request{Sites: []string{"TM-1"}})
	require.NoError(t, err)
	require.Equal(t, 2, res.Rows)
	require.Len(t, res.Skipped, 1)
	require.Equal(t, 2000, res.Skipped[0].N)
	require.Contains(t, res.Skipped[0].What, "tamsen:ZZ-0")
}

// A service that counts more rows than came, and names no next page, is told of.
func TestFetchCutShortIsTold(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		body := doc("", row(now.Add(-15*time.Minute), "1.59"))
		_, _ = io.WriteString(w, strings.TrimSuffix(body, "}")+`,"numberMatched":3,"numberReturned":1}`)
	})
	res, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, 1, res.Rows)
	require.Contains(t, res.Notes[0], "counts 3 records, 1 came")
}
