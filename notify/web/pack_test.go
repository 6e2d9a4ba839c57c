package web

import (
	"compress/gzip"
	"io"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestPack(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	ask := func(path string, set ...string) *httptest.ResponseRecorder {
		r := httptest.NewRequest("GET", path, nil)
		for i := 0; i < len(set); i += 2 {
			r.Header.Set(set[i], set[i+1])
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	whole := ask("/river/tamsen-bend")
	require.Empty(t, whole.Header().Get("Content-Encoding"))

	small := ask("/river/tamsen-bend", "Accept-Encoding", "br, gzip;q=0.8")
	require.Equal(t, "gzip", small.Header().Get("Content-Encoding"))
	require.Equal(t, "Accept-Encoding", small.Header().Get("Vary"))
	t.Logf("%d bytes, packed %d", whole.Body.Len(), small.Body.Len())
	require.Less(t, small.Body.Len(), whole.Body.Len()/2)
	z, err := gzip.NewReader(small.Body)
	require.NoError(t, err)
	back, err := io.ReadAll(z)
	require.NoError(t, err)
	require.Equal(t, whole.Body.String(), string(back))
	require.Empty(t, ask("/river/tamsen-bend", "Accept-Encoding", "gzip;q=0").Header().Get("Content-Encoding"))

	tag := whole.Header().Get("ETag")
	require.True(t, strings.HasPrefix(tag, `W/"`))
	again := ask("/river/tamsen-bend", "If-None-Match", tag)
	require.Equal(t, 304, again.Code)
	require.Zero(t, again.Body.Len())
	require.Equal(t, 200, ask("/river/brandt-lower", "If-None-Match", tag).Code)
	private := ask(paths()["prefs"])
	require.Empty(t, private.Header().Get("ETag"), "a page behind a signed link is kept nowhere")
	require.Equal(t, "no-store", private.Header().Get("Cache-Control"))
}

func TestHead(t *testing.T) {
	t.Parallel()
	w := httptest.NewRecorder()
	testHandler(t, newMemory()).ServeHTTP(w, httptest.NewRequest("HEAD", "/how", nil))
	require.Equal(t, 200, w.Code)
	require.Zero(t, w.Body.Len())
	require.NotEmpty(t, w.Header().Get("Content-Length"))
}

// The river's page shows the seasons that were replayed when it was set up.
func TestRiverShowsPastSeasons(t *testing.T) {
	t.Parallel()
	w := httptest.NewRecorder()
	testHandler(t, newMemory()).ServeHTTP(w, httptest.NewRequest("GET", "/river/tamsen-bend", nil))
	require.Contains(t, w.Body.String(), "Apr 2025 "+strings.Repeat(" ", 29)+"#\nMay 2025 G\n")
	require.Contains(t, w.Body.String(), "this would have said GO on 1 mornings, STOP on 1, 1 of them by the flow limit")
}
