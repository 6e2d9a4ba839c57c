package ingest_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/detect"
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
			_, _ = fmt.Fprintf(w,
				`<entry><id>%[1]s</id><title>t</title><updated>2026-03-20T15:00:00Z</updated><link type="application/cap+xml" href="%[1]s"/></entry>`, l)
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
	require.Equal(t, []string{"/index.atom", "/b"}, s.take(),
		"the index is asked for again, its stored document is not")
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

// pagesOf serves bodies by path; {base} in them is the server's address.
func pagesOf(t *testing.T, bodies map[string]string) (*bench, func(string)) {
	t.Helper()
	var mu sync.Mutex
	var b *bench

	b = newBench(t, func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		defer mu.Unlock()
		body, ok := bodies[r.URL.RequestURI()]
		if !ok {
			w.WriteHeader(http.StatusNotFound)
			return
		}

		if code, err := strconv.Atoi(body); err == nil {
			w.WriteHeader(code)
			return
		}

		tag := fmt.Sprintf("%q", fmt.Sprintf("%x", sha256.Sum256([]byte(body))))
		w.Header().Set("ETag", tag)
		if r.Header.Get("If-None-Match") == tag {
			w.WriteHeader(http.StatusNotModified)
			return
		}
		_, _ = io.WriteString(w, strings.ReplaceAll(body, "{base}", b.srv.URL))
	})

	b.p.Path, b.p.Query, b.p.Paging, b.p.Format = "/index", nil, "", ingest.FormatCAP
	return b, func(body string) {
		mu.Lock()
		defer mu.Unlock()
		path, body, _ := strings.Cut(body, " ")
		bodies[path] = body
	}
}

func atom(links ...string) string {
	s := `<feed xmlns="http://www.w3.org/2005/Atom" xmlns:cap="urn:oasis:names:tc:emergency:cap:1.2"><id>f</id>`
	for _, l := range links {
		switch {
		case strings.HasPrefix(l, "<"):
			s += l
		case strings.HasPrefix(l, "next:"):
			s += `<link rel="next" href="` + l[5:] + `"/>`
		default:
			path, stamp, _ := strings.Cut(l, "@")
			s += `<entry><id>` + path + `</id><title>` + path + `</title><updated>` + stamp + `</updated><link href="` +
				path + `"/></entry>`
		}
	}
	return s + `</feed>`
}

func (b *bench) ids() string {
	var out []string
	for _, a := range b.sink.alerts {
		out = append(out, a.Identifier)
	}
	return strings.Join(out, " ")
}

// A document is its address and stamp: new content under a known address is
// read when the index says so, and what says nothing is read again after a while.
func TestLinkedDocumentIsItsAddressAndStamp(t *testing.T) {
	t.Parallel()
	b, set := pagesOf(t, map[string]string{"/index": atom("/a@2026-03-20T15:00:00Z", "/b@"), "/a": warning("A1"),
		"/b": warning("B1")})
	clock := now
	b.Now = func() time.Time { return clock }
	read := func() string {
		_, err := b.fetch(t, ingest.Request{Force: true})
		require.NoError(t, err)
		return b.ids()
	}
	require.Equal(t, "A1 B1", read())
	set("/a " + warning("A2"))
	set("/b " + warning("B2"))
	require.Equal(t, "A1 B1", read())
	set("/index " + atom("/a@2026-03-20T15:09:00Z", "/b@"))
	require.Equal(t, "A1 B1 A2", read())
	clock = clock.Add(61 * time.Minute)
	require.Equal(t, "A1 B1 A2 B2", read(), "an entry without a stamp")
}

// Next pages and indexes of indexes are read, to a depth; what is deeper is
// named as missing.
func TestIndexesOfIndexes(t *testing.T) {
	t.Parallel()
	b, set := pagesOf(t, map[string]string{
		"/index": atom("/a@1", "next:/index?page=2"), "/index?page=2": atom("/sub/index@1"),
		"/sub/index": atom("b@1", "next:index?page=2"), "/sub/index?page=2": atom("c@1"),
		"/a": warning("A"), "/sub/b": warning("B"), "/sub/c": warning("C")})
	_, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Equal(t, "A B C", b.ids())

	for _, more := range []string{"d", "e"} {
		set("/sub/" + more + " " + warning(strings.ToUpper(more)))
		set("/sub/index " + atom("b@1", "next:index?page=2", more+"@1"))
		_, err = b.fetch(t, ingest.Request{Force: true})
		require.NoError(t, err)
	}
	require.Equal(t, "A B C D E", b.ids(), "an inner index is read each time")

	b, _ = pagesOf(t, map[string]string{"/index": atom("/i2@1"), "/i2": atom("/i3@1"), "/i3": atom("/i4@1"),
		"/i4": atom("/a@1"), "/a": warning("A")})
	_, err = b.fetch(t, ingest.Request{})
	require.ErrorContains(t, err, "levels deep")
	require.Equal(t, []coldseam.FeedGap{{Entry: "/i4", Title: "/i4", Why: "too_deep"}}, b.sink.raws[0].Gaps)
}

// What keeps a reading from being complete is named, unless it says itself that
// it holds elsewhere.
func TestEntriesThatCannotBeRead(t *testing.T) {
	t.Parallel()
	bodies := map[string]string{"/index": atom("/a@1", "/page@1", "/gone@1",
		`<entry><id>urn:n</id><title>no link</title></entry>`,
		`<entry><id>urn:e</id><title>far</title><cap:geocode><valueName>UGC</valueName><value>XXC099</value></cap:geocode></entry>`),
		"/a": warning("A"), "/page": "<html><body>later</body></html>"}
	b, _ := pagesOf(t, bodies)
	b.Elsewhere = func(a coldseam.Alert) bool {
		return a.Feed == "tamsen" && len(a.Areas) > 0 && slices.Contains(a.Areas[0].Geocodes, "UGC=XXC099")
	}

	_, err := b.fetch(t, ingest.Request{})
	require.Error(t, err)
	require.Equal(t, "A", b.ids())
	require.Equal(t, []coldseam.FeedGap{{Entry: "/page", Title: "/page", Why: "unreadable"},
		{Entry: "/gone", Title: "/gone", Why: "unread"},
		{Entry: "urn:n", Title: "no link", Why: "no_link"}}, b.sink.raws[0].Gaps)

	b, _ = pagesOf(t, map[string]string{"/index": atom("/a@1",
		bodies["/index"][strings.Index(bodies["/index"], "<entry><id>urn:e"):strings.Index(bodies["/index"],
			"</feed>")]), "/a": warning("A")})
	b.Elsewhere = func(coldseam.Alert) bool { return true }
	res, err := b.fetch(t, ingest.Request{})
	require.NoError(t, err)
	require.Len(t, res.Notes, 1)
}

// An answer that is no list of warnings is not the answer that there are none.
func TestAnswersThatAreNoWarnings(t *testing.T) {
	t.Parallel()
	for name, body := range map[string]string{
		"204": "204", "empty": "",
		"error beside no features": `{"type":"FeatureCollection","features":[],"error":{"code":503}}`,
		"error alone":              `{"error":"x"}`,
		"web page":                 "<html><body/></html>", "another root": `<response><feed/></response>`,
		"bare feed":      `<feed xmlns="http://www.w3.org/2005/Atom"/>`,
		"fault":          `<rss><Fault>x</Fault></rss>`,
		"other features": `{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"id":"1"}}]}`,
	} {
		b, _ := pagesOf(t, map[string]string{"/index": body})
		_, err := b.fetch(t, ingest.Request{})
		require.ErrorIs(t, err, coldseam.ErrInvalid, name)
	}
	for name, body := range map[string]string{"atom": atom(),
		"features": `{"type":"FeatureCollection","features":[],"error":null}`,
		"rss":      `<rss><channel><title>t</title></channel></rss>`} {
		b, _ := pagesOf(t, map[string]string{"/index": body})
		_, err := b.fetch(t, ingest.Request{})
		require.NoError(t, err, name)
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

	f := &ingest.Fetcher{
		Now:       func() time.Time { return now },
		Parse:     detect.Parse,
		Sink:      newMemory(),
		RetryWait: time.Millisecond,
	}
	p := ingest.Profile{
		Name:         "tamsen",
		BaseURL:      srv.URL,
		Path:         "/items",
		PrivateHosts: []string{"127.0.0.1"},
		RatePerHour:  1e6,
		Timeout:      ingest.Span(200 * time.Millisecond),
		Query:        map[string]string{"site": "{sites}"},
	}
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
