//go:build !race

package faults

import (
	"testing"
	"time"
)

// A near cut for every run of the tests.
func TestFarDatabaseAndRelay(t *testing.T) {
	t.Parallel()
	x := farRun{
		readers: 12,
		trip:    40 * time.Millisecond,
		loss:    .05,
		again:   200 * time.Millisecond,
		seed:    5,
		limit:   2 * time.Minute,
	}
	if soak {
		x = farRun{
			readers: 60,
			trip:    200 * time.Millisecond,
			loss:    .05,
			again:   time.Second,
			seed:    6,
			limit:   20 * time.Minute,
			retried: 30,
		}
	}
	x.run(t)
}
