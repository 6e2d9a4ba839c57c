package web

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/notify/brieftest"
)

func get(h http.Handler, path string) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
	return w
}

func post(h http.Handler, path string, v url.Values) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	r := httptest.NewRequest("POST", path, strings.NewReader(v.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	h.ServeHTTP(w, r)
	return w
}

// paths are all pages of the house, by name.
func paths() map[string]string {
	l := testLinks()
	cut := func(s string) string { return strings.TrimPrefix(s, publicURL) }
	return map[string]string{
		"board": "/", "board metric": "/?units=metric", "how": "/how", "status": "/status", "signup": "/signup",
		"season": "/season", "season year": "/season/2027",
		"go": "/river/tamsen-bend", "toss": "/river/orlow-dam", "stay": "/river/hallam-bar",
		"stop": "/river/brandt-lower", "nocall": "/river/quern-weir", "go metric": "/river/tamsen-bend?units=metric",
		"confirm": cut(l.Confirm(7, clock())), "prefs": cut(l.Prefs(7, clock())), "unsubscribe": cut(l.Unsubscribe(7)),
		"log":     cut(l.Log(7, "tamsen-bend", brieftest.Day, clock())),
		"bank":    cut(l.Bank(7, "tamsen-bend", brieftest.Day, clock())),
		"log 1-3": cut(l.Log(7, "tamsen-bend", brieftest.Day, clock())) + "?a=1-3", "missing": "/nothing",
	}
}

// withCards are all pages and the trip cards, whose script the tests of the others
// do not expect. On the real clock of a browser a card is empty; card_plain_test.go
// has the full ones.
func withCards() map[string]string {
	all := paths()
	all["card"], all["card stop"] = all["go"]+"/card", all["stop"]+"/card"
	return all
}

func TestPagesServe(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	for name, p := range paths() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := get(h, p)
			want := http.StatusOK
			if name == "missing" {
				want = http.StatusNotFound
			}
			require.Equal(t, want, w.Code, w.Body.String())
			require.Contains(t, w.Header().Get("Content-Type"), "text/html")
		})
	}
}
