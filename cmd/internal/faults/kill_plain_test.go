//go:build !race

package faults

import (
	"testing"
)

// Eight kills, for every run of the tests.
func TestKilledAtRandomMoments(t *testing.T) {
	t.Parallel()
	x := killsRun{kills: 8, perDay: 8, readers: 120, seed: 11}
	if soak {
		x = killsRun{kills: 200, perDay: 20, readers: 240, seed: 12}
	}
	x.run(t)
}
