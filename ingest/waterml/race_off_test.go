//go:build !race

package waterml

const raceOn = false
