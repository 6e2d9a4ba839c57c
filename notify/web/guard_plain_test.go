//go:build !race

package web

import (
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// TestGetChangesNothing fetches every link a hundred times, as mail scanners
// do.
func TestGetChangesNothing(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	before := m.rows(t)

	for _, p := range paths() {
		times := 100
		if strings.Count(p, "/") < 2 || strings.HasPrefix(p, "/river/") || strings.HasPrefix(p, "/season/") {
			times = 10 // a public page, linked from everywhere
		}

		for i := range times {
			method := "GET"
			if i%10 == 9 {
				method = "HEAD"
			}
			w := httptest.NewRecorder()
			h.ServeHTTP(w, httptest.NewRequest(method, p, nil))
		}
	}

	require.Equal(t, before, m.rows(t))
}

// TestEveryTokenBit flips each bit of each kind of link: none opens.
func TestEveryTokenBit(t *testing.T) {
	t.Parallel()
	l := testLinks()

	for name, u := range map[string]string{"confirm": l.Confirm(7, clock()), "prefs": l.Prefs(7, clock()),
		"unsubscribe": l.Unsubscribe(7), "log": l.Log(7, "tamsen-bend", coldseam.Date{Year: 2027, Month: 4, Day: 10},
			clock()), "calendar": l.Calendar(7)} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m := newMemory()
			h := testHandler(t, m)
			before := m.rows(t)
			p := strings.TrimPrefix(u, publicURL)
			i := strings.LastIndex(p, "/") + 1
			require.Equal(t, 200, get(h, p).Code)
			token := strings.TrimSuffix(p[i:], ".ics")

			for k := range len(token) {
				for bit := range 8 {
					b := []byte(token)
					b[k] ^= 1 << bit
					for _, method := range []string{"GET", "POST"} {
						r := httptest.NewRequest(method, "/", nil)
						// past the parser of request lines, where control bytes would stop
						r.URL.Path = p[:i] + string(b)
						w := httptest.NewRecorder()
						h.ServeHTTP(w, r)
						require.NotEqual(t, 200, w.Code, "byte %d bit %d", k, bit)
						require.NotEqual(t, 500, w.Code)
					}
				}
			}

			require.Equal(t, before, m.rows(t))
		})
	}
}
