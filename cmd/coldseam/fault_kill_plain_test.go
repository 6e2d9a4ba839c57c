//go:build !race

package main

import (
	"testing"
)

// Eight kills, for every run of the tests.
func TestKilledAtRandomMoments(t *testing.T) {
	t.Parallel()
	killsRun{kills: 8, perDay: 8, readers: 120, seed: 11}.run(t)
}
