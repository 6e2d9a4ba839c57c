//go:build !race

package thermal

// raceEnabled: see race_test.go.
const raceEnabled = false
