// Package coldseam holds the vocabulary of the program: the nouns that the
// rooms hand to one another. It uses the standard library only and does no I/O.
//
// The program turns public river gauges into one morning decision:
//
//	agency feed -> ingest -> store -> forecast -> Brief -> notify (mail, page, calendar)
//
// ingest fetches, parses and quality-checks; store keeps every value with the
// time it was known; forecast is pure computation (flow, water temperature,
// run, jig, verdict); notify composes and sends. None of the four imports
// another; cmd/coldseam wires them.
//
// Read site.go and series.go (what is measured), then brief.go (what is told).
// All quantities are SI inside; units.go converts for display.
package coldseam
