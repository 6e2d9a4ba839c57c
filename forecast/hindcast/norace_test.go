//go:build !race

package hindcast

// raceEnabled: see race_test.go.
const raceEnabled = false
