// Package verdict turns what is known of a reach at one moment into the
// morning's word: GO, TOSS-UP, STAY, STOP or NO CALL, with the reasons in
// words.
//
// The order never changes: a safety stop that fires on what is known, then a
// legal closure, then NO CALL for a safety input or a season rule that is
// missing, stale or failed, then NO CALL for the odds inputs, and only then
// the odds. Stops are never traded against odds. The zero value is NO CALL, so
// a path that was forgotten can never read GO.
//
// Everything here is a pure function of plain values: no clock, no I/O. Every
// limit is a row of Table with its source.
package verdict
