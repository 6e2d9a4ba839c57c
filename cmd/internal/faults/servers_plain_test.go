//go:build !race

package faults

import (
	"testing"
	"time"
)

// Three servers share one morning; one dies, one is cut off, Postgres crashes.
// The club's clock runs 20 times as fast, so that leases run out within the
// test; how long locks of a lost session hold is the database's real time.
// Under the race detector three servers are too slow for such a clock: a lease
// of two seconds runs out under a mail that is well. make test runs it without.
func TestServersTakeOver(t *testing.T) {
	t.Parallel()
	x := serversRun{readers: 300, speed: 20, dot: 100 * time.Millisecond, limit: 5 * time.Minute}
	if soak {
		x = serversRun{readers: 900, speed: 1, dot: 2 * time.Second, limit: 15 * time.Minute}
	}
	x.run(t)
}
