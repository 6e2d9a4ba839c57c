//go:build !race

package season

const raceEnabled = false
