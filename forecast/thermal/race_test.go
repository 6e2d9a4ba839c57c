//go:build race

package thermal

// raceEnabled: the long scores on public records are numbers, not goroutines;
// make test runs them without the race detector, five times as fast.
const raceEnabled = true
