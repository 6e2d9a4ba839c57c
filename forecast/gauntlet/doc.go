// Package gauntlet holds no program: its tests send faults of gauges, real and
// invented, through ingest.Check and verdict.Decide and count the mornings on
// which a word is given that should not be.
package gauntlet
