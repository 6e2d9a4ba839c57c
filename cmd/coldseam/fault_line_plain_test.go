//go:build !race

package main

import (
	"testing"
	"time"
)

// A near cut for every run of the tests.
func TestFarDatabaseAndRelay(t *testing.T) {
	t.Parallel()
	farRun{
		readers: 12,
		trip:    40 * time.Millisecond,
		loss:    .05,
		again:   200 * time.Millisecond,
		seed:    5,
		limit:   2 * time.Minute,
	}.run(t)
}
