//go:build !race

package web

import (
	"bytes"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/notify/brieftest"
)

func TestCalendarForm(t *testing.T) {
	t.Parallel()

	for _, s := range append(corpus(),
		"Fluß, Ünïcödé; with: marks\\ and a very long name that has to be folded more than once because it never ends") {
		bs := brieftest.All()
		poison(reflect.ValueOf(&bs).Elem(), s)
		out, err := calendar(s, "us", testLinks(), bs)
		require.NoError(t, err)
		require.True(t, utf8.Valid(out))

		begin, end := 0, 0
		for _, l := range strings.SplitAfter(strings.TrimSuffix(string(out), "\r\n"), "\r\n") {
			l = strings.TrimSuffix(l, "\r\n")
			require.LessOrEqual(t, len(l), 75, "octets a line")
			require.NotContains(t, l, "\r")
			require.NotContains(t, l, "\n")
			require.True(t, utf8.ValidString(l), "no fold inside a letter")
			name, _, _ := strings.Cut(l, ":")
			require.LessOrEqual(t, strings.Count(name, "VALUE="), 1, "a parameter stands once: %s", l)
			begin += b2i(l == "BEGIN:VEVENT")
			end += b2i(l == "END:VEVENT")
		}

		require.Equal(t, begin, end)
		clean, err := calendar("x", "us", testLinks(), brieftest.All())
		require.NoError(t, err)
		require.Equal(t, bytes.Count(clean, []byte("BEGIN:VEVENT")), begin, "no text adds an event: %q", s)
	}
}
