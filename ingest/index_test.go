package ingest_test

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/document"
	"github.com/stretchr/testify/require"
)

func warning(id string) string {
	return `<alert xmlns="urn:oasis:names:tc:emergency:cap:1.2"><identifier>` + id + `</identifier><sender>w@example.org</sender><sent>2026-03-20T10:00:00-05:00</sent>
<status>Actual</status><msgType>Alert</msgType><scope>Public</scope><info><category>Met</category><event>Flood Warning</event><urgency>Expected</urgency><severity>Severe</severity><certainty>Likely</certainty><expires>2026-03-21T10:00:00-05:00</expires><area><areaDesc>Tamsen</areaDesc></area></info></alert>`
}

// alertServer is an index of two documents; broken ones answer 404.
type alertServer struct {
	mu     sync.Mutex
	asked  []string
	broken map[string]bool
	links  []string
}

func (s *alertServer) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.asked = append(s.asked, r.URL.Path)
	switch {
	case s.broken[r.URL.Path]:
		w.WriteHeader(http.StatusNotFound)
	case r.URL.Path == "/index.atom" && r.Header.Get("If-None-Match") == `"i1"`:
		w.WriteHeader(http.StatusNotModified)
	case r.URL.Path == "/index.atom":
		w.Header().Set("ETag", `"i1"`)
		_, _ = io.WriteString(w, `<feed xmlns="http://www.w3.org/2005/Atom">`)
		for _, l := range s.links {
			_, _ = fmt.Fprintf(w, `<entry><id>%[1]s</id><title>t</title><link type="application/cap+xml" href="%[1]s"/></entry>`, l)
		}
		_, _ = io.WriteString(w, `</feed>`)
	default:
		_, _ = io.WriteString(w, warning(strings.Trim(r.URL.Path, "/")))
	}
}

func (s *alertServer) take() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	out := s.asked
	s.asked = nil
	return out
}

func TestFetchAlertIndex(t *testing.T) {
	t.Parallel()
	s := &alertServer{broken: map[string]bool{"/b": true}}
	b := newBench(t, s.ServeHTTP)
	s.links = []string{"/a", b.srv.URL + "/b"}
	b.p.Path, b.p.Query, b.p.Paging = "/index.atom", nil, ""

	res, err := b.fetch(t, ingest.Request{})
	require.ErrorIs(t, err, coldseam.ErrRejected, "a warning that cannot be read is an error of the feed")
	require.Equal(t, ingest.StateError, res.State)
	require.Equal(t, []string{"/index.atom", "/a", "/b"}, s.take())
	require.Len(t, b.sink.alerts, 1, "the others are stored")
	require.Equal(t, now, b.sink.alerts[0].KnownAt)
	require.Equal(t, "tamsen", b.sink.alerts[0].Provider)
	index := func() (errs []string) {
		for _, r := range b.sink.raws {
			if strings.HasSuffix(r.URL, "/index.atom") {
				errs = append(errs, r.Err)
			}
		}
		return errs
	}
	require.Len(t, index(), 1)
	require.Contains(t, index()[0], "/b: HTTP 404", "the feed does not look alive by the others")

	s.broken = nil
	_, err = b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, []string{"/index.atom", "/b"}, s.take(), "the index is asked for again, its stored document is not")
	require.Len(t, b.sink.alerts, 2)
	require.Empty(t, index()[1])

	res, err = b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.True(t, res.NotModified)
	require.Equal(t, []string{"/index.atom"}, s.take())
}

// While the documents of an index are read, the record of the index does not
// say that all is well: a crash must not leave a feed that looks complete.
func TestIndexIsNotGoodBeforeItsDocuments(t *testing.T) {
	t.Parallel()
	s := &alertServer{links: []string{"/a"}}
	var sink *memory
	seen := ""
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/a" {
			sink.mu.Lock()
			seen = sink.raws[0].Err
			sink.mu.Unlock()
		}
		s.ServeHTTP(w, r)
	})
	sink = b.sink
	b.p.Path, b.p.Query, b.p.Paging = "/index.atom", nil, ""
	_, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Contains(t, seen, "not read yet")
	require.Empty(t, b.sink.raws[0].Err)
	require.Equal(t, `"i1"`, b.sink.raws[0].ETag)
}

// A long index is read in turns: none of its documents is passed over, and the
// feed is not good before the last one.
func TestLongIndexIsReadInTurns(t *testing.T) {
	t.Parallel()
	s := &alertServer{}
	for i := range 1203 {
		s.links = append(s.links, fmt.Sprintf("/w%d", i))
	}
	b := newBench(t, s.ServeHTTP)
	b.p.Path, b.p.Query, b.p.Paging = "/index.atom", nil, ""
	for turn, want := range []int{500, 1000, 1203} {
		_, err := b.fetch(t, ingest.Request{})
		require.Equal(t, turn < 2, err != nil, "%v", err)
		if err != nil {
			require.ErrorContains(t, err, "documents of the index are still to be read")
		}
		require.Len(t, b.sink.alerts, want)
	}
	asked := map[string]int{}
	for _, p := range s.take() {
		asked[p]++
	}
	require.Equal(t, 3, asked["/index.atom"])
	delete(asked, "/index.atom")
	require.Len(t, asked, 1203)
	for p, n := range asked {
		require.Equal(t, 1, n, p)
	}
}

// A document on another host is read without key and headers, by https alone,
// and never from a private address, whatever the profile allows for its own.
func TestFetchAlertIndexElsewhere(t *testing.T) {
	t.Parallel()
	hit := false
	other := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { hit = true }))
	defer other.Close()
	s := &alertServer{}
	b := newBench(t, s.ServeHTTP)
	s.links = []string{other.URL + "/x", "ftp://files.example/x", "https://169.254.169.254/x"}
	b.p.Path, b.p.Query, b.p.Paging = "/index.atom", nil, ""
	_, err := b.fetch(t, ingest.Request{})
	require.ErrorIs(t, err, coldseam.ErrRejected)
	require.False(t, hit)
	require.Empty(t, b.sink.alerts)
}

// Neither a closed context nor a failing feed leaves goroutines that hold the
// host's slots.
func TestFetchCancelled(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Query().Get("site") == "slow" {
			<-r.Context().Done()
			return
		}
		_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5")))
	})
	b.p.Concurrency = 1
	for range 3 {
		ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
		_, err := b.Fetch(ctx, b.p, ingest.Request{Sites: []string{"slow"}})
		cancel()
		require.Error(t, err)
	}
	n, _ := b.Failures("tamsen", "")
	require.Zero(t, n, "a stop of ours is no failure of the feed")
	_, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
}

// Failures of every kind leave no goroutine behind. Not parallel: the count is
// of the whole process.
func TestFetchLeavesNothingRunning(t *testing.T) {
	before := runtime.NumGoroutine()
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Query().Get("site") {
		case "cut":
			w.Header().Set("Content-Length", "1000")
			_, _ = io.WriteString(w, "{")
		case "slow":
			<-r.Context().Done()
		case "page":
			_, _ = io.WriteString(w, "<html>")
		case "long":
			for {
				if _, err := w.Write(make([]byte, 1<<16)); err != nil {
					return
				}
			}
		default:
			_, _ = io.WriteString(w, doc("", row(now.Add(-time.Hour), "1.5")))
		}
	}))
	f := &ingest.Fetcher{Now: func() time.Time { return now }, Parse: document.Parse, Sink: newMemory(), RetryWait: time.Millisecond}
	p := ingest.Profile{Name: "tamsen", BaseURL: srv.URL, Path: "/items", PrivateHosts: []string{"127.0.0.1"}, RatePerHour: 1e6,
		Timeout: ingest.Span(200 * time.Millisecond), Query: map[string]string{"site": "{sites}"}}
	for range 3 {
		for _, site := range []string{"ok", "cut", "slow", "page", "long"} {
			_, err := f.Fetch(context.Background(), p, ingest.Request{Sites: []string{site}, Force: true})
			require.Equal(t, site == "ok", err == nil, "%s: %v", site, err)
		}
	}
	f.Close()
	srv.Close()
	require.Eventually(t, func() bool { return runtime.NumGoroutine() <= before+2 }, 5*time.Second, 20*time.Millisecond)
}
