//go:build !race

package main

import (
	"testing"
	"time"
)

// A morning of the memory test with fewer subscribers: what grows with
// their number would show.
func TestMemoryLimit(t *testing.T) {
	t.Parallel()
	memoryRun{readers: 400, rivers: 8, limit: 192 << 20, within: 5 * time.Minute}.run(t)
}
