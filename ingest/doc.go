// Package ingest turns the answers of public river, weather and alert services
// into series, forecasts and alerts in SI units. It never guesses a unit, a
// zone or a station.
//
// Two layers: a Profile is data (one TOML table per service) and a parser is
// code (one sub-package per wire format, each with
// Parse(io.Reader, Profile) (Batch, error)). A parser does no network, clock
// or database work. The Fetcher walks the pages of a request, hands the bytes
// to a parser, stamps the result with the time the fetch ended, runs Check and
// gives everything to a Sink.
//
// It is a library of its own: it imports nothing of this module but the root
// vocabulary, and stores through Sink alone. To read a file: package detect, whose
// Parse knows the format by the body. To fetch a service: a Profile and Fetcher.Fetch.
// To map a service with a format of its own: Records, and package records. What was
// left out stands in Batch.Skipped with a code; an error wraps coldseam.ErrInvalid
// (the document), ErrUnavailable (later) or ErrRejected (never).
//
// Start with profile.go and batch.go, then fetch.go; row.go shows what every
// format does with one value.
package ingest
