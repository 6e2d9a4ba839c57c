//go:build race

package faults

// raceEnabled: memory and time say nothing under the race detector.
const raceEnabled = true
