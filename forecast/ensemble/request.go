package ensemble

import (
	"math/rand/v2"
	"time"

	"example.org/coldseam"
)

// Defaults of an issue.
const (
	DefaultMembers  = 100 // members of a forecast in service [proposal]
	DefaultHorizon  = 10  // days
	CrossingHorizon = 45  // days that crossing dates need
)

// Request asks for one forecast. The zero values of Members and Horizon stand
// for the defaults.
type Request struct {
	// View is the record as it was known at the issue, Day its last complete
	// day (lead 0). Values of View after Day are never read.
	View coldseam.Days
	Day  coldseam.Date

	// Pool are the records of similar gauges, as known at the issue, on which
	// short records lean. Empty is fine.
	Pool []coldseam.Days

	// Upstream are the records of upstream gauges, as known at the issue, in the
	// order of the fit; flow only.
	Upstream []coldseam.Days

	// Air is the air forecast, daily means in degC: Air[k][h-1] is member k for
	// Day+h. One row is a single forecast, nil none. A row may be shorter than
	// the horizon.
	Air [][]float64
	// AirErrors are archived errors (forecast minus observed) of earlier issues
	// of the same forecast; with MinAirErrors of them they replace the assumed
	// growth of error.
	AirErrors []AirError
	// AirPerfect says that Air holds observed weather after the issue, so that
	// it is neither corrected nor dressed. Hindcasts only.
	AirPerfect bool

	// Traces fixes the historical day of each member, so that flow and
	// temperature hang together; nil lets the model draw.
	Traces []coldseam.Date
	// Agency are discharge forecasts of the gauge's agency, daily means in m3/s
	// as Air; flow only. AgencyErrors are archived errors of earlier ones, as ln
	// of forecast over observed.
	Agency       [][]float64
	AgencyErrors []AirError

	Members int
	Horizon int
	Seed    uint64
}

// Size returns members and horizon with their defaults.
func (q Request) Size() (members, horizon int) {
	members, horizon = q.Members, q.Horizon
	if members <= 0 {
		members = DefaultMembers
	}
	if horizon <= 0 {
		horizon = DefaultHorizon
	}
	return members, horizon
}

// Rand is the stream of one issue. salt separates the uses within it.
func (q Request) Rand(salt uint64) *rand.Rand {
	return Stream(q.Seed, q.Day, salt)
}

// Stream returns the generator of (seed, day, salt).
func Stream(seed uint64, day coldseam.Date, salt uint64) *rand.Rand {
	d := uint64(day.UTC().Unix() / 86400)
	return rand.New(rand.NewPCG(seed^0x9e3779b97f4a7c15*(salt+1), d*0xbf58476d1ce4e5b9+salt))
}

// AirError is one archived error path of an air forecast, degC, by lead.
type AirError struct {
	Issued coldseam.Date
	Err    []float64
}

// MinAirErrors is the number of archived issues from which their errors are
// used instead of the assumed growth [proposal].
const MinAirErrors = 60

// Tier names the rung of the fallback ladder a forecast stands on.
type Tier string

// The tiers, best first.
const (
	TierFull     Tier = "full"     // eight years and more
	TierMedium   Tier = "medium"   // three to seven years
	TierShort    Tier = "short"    // one or two years
	TierCold     Tier = "cold"     // less than a year
	TierStale    Tier = "stale"    // the last value is too old to start from: model run only
	TierRegional Tier = "regional" // no value at all
)

// The flags of a result.
const (
	FlagIce           = "ice"            // frozen river: members near 0 are normal, dates are of low confidence
	FlagLowConfidence = "low_confidence" // short record or a source that had to be left out
	FlagStale         = "stale"          // the newest value is older than the issue day
	FlagEstimated     = "estimated"      // the newest flow is an estimate
	FlagHeld          = "held_value"     // an implausible newest value waits for the next day
	FlagAirFilled     = "air_filled"     // gaps in the air record were filled from its climatology
	FlagNoAir         = "no_air_forecast"
	FlagNoLog         = "non_positive" // the newest flow is not positive: no forecast from it
	FlagRegulated     = "regulated"    // the hours repeat by weekday: set by dam releases
	FlagNoRain        = "rain_not_modelled"
)

// Result is a forecast as whole paths: Members[i][h-1] is member i for Day+h
// (degC or m3/s), Trace[i] the historical day it follows.
type Result struct {
	Day     coldseam.Date
	Members [][]float64
	Trace   []coldseam.Date
	Source  string
	Sources []string  // names of the sources
	Weights []float64 // their weights at lead 5, in that order
	Flags   []string
	Tier    Tier
}

// Has reports whether flag is set.
func (r Result) Has(flag string) bool {
	for _, f := range r.Flags {
		if f == flag {
			return true
		}
	}
	return false
}

// Step appends the members at lead h (1-based) to dst.
func (r Result) Step(dst []float64, h int) []float64 {
	for i := range r.Members {
		dst = append(dst, r.Members[i][h-1])
	}
	return dst
}

// Ensemble gives the result the form that is stored and shown. Each step is
// valid at the end of its civil day in loc.
func (r Result) Ensemble(site coldseam.SiteID, p coldseam.Parameter, issued time.Time,
	loc *time.Location) coldseam.Ensemble {
	e := coldseam.Ensemble{Site: site, Param: p, Issued: issued, Members: r.Members, Trace: r.Trace,
		Weights: r.Weights, Source: r.Source, Flags: r.Flags}
	if len(r.Members) == 0 {
		return e
	}
	for h := 1; h <= len(r.Members[0]); h++ {
		e.Valid = append(e.Valid, r.Day.Add(h+1).In(loc).UTC())
	}
	return e
}
