package web

import (
	"net/http/httptest"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// nasty draws what a member or a robot could type: line ends, NUL, separators,
// encoded words, marks of direction, markup, long runs.
func nasty() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.SampledFrom([]string{"", "\r\n", "\x00", "\u2028", "=?utf-8?b?Zm9v?=", "\u202e", "<b>", "\"'>", "1/4",
			"4", "none", "06:00", "1e309", "-1", "NaN", "0x1p3", "９"}),
		rapid.StringN(0, 12, 40), rapid.Just(strings.Repeat("x", 700)))
}

func oneLine(t *rapid.T, s string) {
	for _, r := range s {
		require.False(t, unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029', "%q", s)
	}
}

// FuzzForm posts raw bytes to every form.
func FuzzForm(f *testing.F) {
	f.Add([]byte("a=none&hours=3"))
	f.Add([]byte("reach=tamsen-bend&send_at=04%3A55&zone=UTC&day=1"))
	f.Add([]byte("email=a%40example.org&%zz"))
	f.Add([]byte("a=1-3;fish=2"))
	h, err := New(testConfig(newMemory()))
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, p := range []string{paths()["log"], paths()["prefs"], "/signup", paths()["unsubscribe"]} {
			r := httptest.NewRequest("POST", p, strings.NewReader(string(body)))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			if w.Code >= 500 {
				t.Fatalf("%s: %d", p, w.Code)
			}
		}
	})
}
