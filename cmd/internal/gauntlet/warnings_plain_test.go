//go:build !race

package gauntlet

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/cmd/internal/clubtest"
)

// A warning that once was hidden by the form, place, pages, kind or times of
// its documents is heard, and a clean document of the same form changes nothing.
func TestHiddenWarnings(t *testing.T) {
	t.Parallel()
	v := clubtest.New(t, nil)
	table := scenarios(t)
	require.GreaterOrEqual(t, len(table), 45)
	for _, w := range table {
		got, control := told(t, v, w, "fault"), told(t, v, w, "control")
		gauntlet(t, "warnings", w.class+": "+w.name, strings.HasPrefix(got, "GO"))
		if got != w.word || control != w.control {
			t.Errorf("%s/%s: %q, control %q; want %q, control %q", w.class, w.name, got, control, w.word, w.control)
		}
	}
}
