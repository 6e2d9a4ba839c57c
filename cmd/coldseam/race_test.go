//go:build race

package main

// raceEnabled: memory and time say nothing under the race detector.
const raceEnabled = true
