//go:build !race

package faults

import (
	"testing"
	"time"
)

// A morning of the memory test with fewer subscribers: what grows with
// their number would show.
func TestMemoryLimit(t *testing.T) {
	t.Parallel()
	x := memoryRun{readers: 400, rivers: 8, limit: 192 << 20, within: 5 * time.Minute}
	if soak {
		x = memoryRun{readers: 10_000, rivers: 50, limit: 256 << 20, within: 45 * time.Minute}
	}
	x.run(t)
}
