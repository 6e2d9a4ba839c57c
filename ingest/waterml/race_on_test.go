//go:build race

package waterml

// raceOn: the race detector keeps shadow memory of its own.
const raceOn = true
