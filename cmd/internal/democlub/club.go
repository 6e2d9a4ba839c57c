// Package democlub is an invented club on invented rivers: its configuration,
// its members' log of two springs, and a clock that stands on an April
// morning. The demo runs it, and the tests do.
package democlub

import (
	_ "embed"
	"time"
)

// TOML is its configuration, without the profiles of its agencies.
//
//go:embed demo.toml
var TOML string

// Cold is a fourth river that the demo has beside those of TOML: water of
// 36-37 F, fished by the tactics of cold water.
//
//go:embed cold.toml
var Cold string

// Log is the invented club's trip log of two springs.
//
//go:embed demo_log.csv
var Log string

// Start is the demo's morning: Saturday 18 April 2026, 04:30 in Chicago.
var Start = time.Date(2026, time.April, 18, 9, 30, 0, 0, time.UTC)
