// Package atonce holds no program: its test makes mornings at once, and is the
// one that make test runs with the forecast itself under the race detector.
package atonce
