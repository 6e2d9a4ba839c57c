//go:build !race

package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A warning that once was hidden by the form, place, pages, kind or times of
// its documents is heard, and a clean document of the same form changes nothing.
func TestHiddenWarnings(t *testing.T) {
	t.Parallel()
	v := newTown(t, nil)
	table := scenarios(t)
	require.GreaterOrEqual(t, len(table), 45)
	for _, w := range table {
		got, control := v.told(t, w, "fault"), v.told(t, w, "control")
		gauntlet(t, "warnings", w.class+": "+w.name, strings.HasPrefix(got, "GO"))
		if got != w.word || control != w.control {
			t.Errorf("%s/%s: %q, control %q; want %q, control %q", w.class, w.name, got, control, w.word, w.control)
		}
	}
}
