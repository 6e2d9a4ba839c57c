//go:build !race

package ingest

import (
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Attacks on a body of the full cap cost less than 100 MB.
func TestMemoryOfAttacks(t *testing.T) {
	for _, c := range []struct{ name, body string }{
		{"attribute of 8 MB", `<a x="` + strings.Repeat("y", DefaultMaxBody-10) + `"/>`},
		{"text of 8 MB", `<a>` + strings.Repeat("y", DefaultMaxBody-10) + `</a>`},
		{"2.7 million open tags", strings.Repeat("<a>", DefaultMaxBody/3)},
	} {
		t.Run(c.name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			_ = drain(c.body, Profile{}) // an error or not, only the cost counts
			runtime.ReadMemStats(&after)
			require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(100<<20))
		})
	}
}
