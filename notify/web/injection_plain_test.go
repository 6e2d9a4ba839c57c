//go:build !race

package web

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestInjection renders every page with a hostile text in every field: the
// page keeps the shape that it has with a harmless one.
func TestInjection(t *testing.T) {
	t.Parallel()
	plainText := testHandler(t, poisoned("harmless words"))
	for _, s := range corpus() {
		name := s[:min(len(s), 24)]
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h := testHandler(t, poisoned(s))
			for page, p := range paths() {
				w := get(h, p)
				require.Less(t, w.Code, 500, page)
				got := w.Body.String()
				checkAttributes(t, parse(t, got))
				require.Equal(t, shape(t, get(plainText, p).Body.String()), shape(t, got), page)
				require.NotContains(t, got, "\x00")
				require.NotContains(t, got, "\u202e", "no text turns the direction of the page")
			}
		})
	}
}
