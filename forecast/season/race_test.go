//go:build race

package season

const raceEnabled = true
