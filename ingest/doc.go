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
// Start with profile.go and batch.go, then fetch.go; row.go shows what every
// format does with one value.
package ingest
