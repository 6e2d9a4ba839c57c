// Package score measures forecasts against what happened: fair CRPS, Brier
// score, reliability, PIT, coverage, skill and its
// block-bootstrap interval. Definitions follow the papers named at each
// function; units are those of the values.
package score
