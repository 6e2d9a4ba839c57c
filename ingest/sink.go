package ingest

import (
	"context"
	"time"

	"example.org/coldseam"
)

// Sink is what the Fetcher needs of a store. Every method must be idempotent:
// the same data again writes nothing.
type Sink interface {
	// UpsertSeries stores observations and returns how many keys are new and
	// how many values were revised. fetchID is the raw fetch that completed
	// the walk. A row that differs in QC flags alone is no revision.
	UpsertSeries(ctx context.Context, fetchID int64, ss []coldseam.Series) (added, revised int, err error)
	// SaveRaw records a fetch and returns its id. Validators come in a second
	// call, with the ID of the first and no payload, after everything the
	// fetch brought is stored: a store may complete the record or add one.
	SaveRaw(ctx context.Context, r coldseam.RawFetch) (int64, error)
	SaveForecasts(ctx context.Context, fs []coldseam.Forecast) error
	SaveAlerts(ctx context.Context, as []coldseam.Alert) error
	SaveGaugings(ctx context.Context, gs []coldseam.Gauging) error
	SaveFloodLevels(ctx context.Context, ts []coldseam.FloodLevel) error
	// NextFetch returns the validators of the newest good fetch of url, and the
	// time before which it is not to be called, by the server's word or after
	// failures. Unknown is zero.
	NextFetch(ctx context.Context, profile, url string) (etag, lastMod string, notBefore time.Time, err error)
}

// Budget is the hourly budget of requests to a host that several servers share.
type Budget interface {
	// TakeRequest takes one request; a wait above zero means that it was not
	// taken and is to be asked for again after it. The share atOnce of an hour's
	// budget may go at once, the rest is spread.
	TakeRequest(ctx context.Context, host string, perHour, atOnce float64) (wait time.Duration, err error)
	// SpendRequests takes requests that were made already, by repeated tries.
	SpendRequests(ctx context.Context, host string, perHour float64, n int) error
	// HoldRequests keeps all from a host for as long as it asked.
	HoldRequests(ctx context.Context, host string, d time.Duration) error
}

// Request is what to fetch of a profile.
type Request struct {
	Endpoint string   // "" = the profile itself
	Sites    []string // agency codes, or place codes of a gridded service; empty = every place of the profile
	Params   []coldseam.Parameter
	Since    time.Time // zero = not sent
	Until    time.Time // zero with Since = now
	// Force tries although earlier failures ask for a pause, as before a send.
	// The server's own word still holds for the life of the process.
	Force bool
	// Progress is called after every stored slice with the end of the time that
	// is complete for every site of it; a stopped back-fill resumes there.
	Progress func(Progress)
}

// Progress of a walk over several slices.
type Progress struct {
	Done, Total int
	Rows        int // so far
	Until       time.Time
}

// State is what came of a feed, for check and metrics: the four are different.
type State string

// The states.
const (
	StateOK    State = "ok"
	StateEmpty State = "empty" // a valid answer without rows
	StateStale State = "stale" // the newest value is older than it should be
	StateError State = "error"
)

// Result is what one Fetch brought.
type Result struct {
	Profile, Endpoint string
	State             State
	Requests          int
	Bytes             int64
	Rows              int // parsed: observations, forecast steps, alerts, gaugings
	Added, Revised    int
	Refused           int  // rows or forecasts that the rules below the parser refused
	NotModified       bool // every request was answered 304
	NewestValid       time.Time
	NewestIssued      time.Time
	NotBefore         time.Time     // the server asked to wait until then
	Remaining         int           // requests left by the server's count, -1 = not said
	ClockSkew         time.Duration // server minus ours
	Dur               time.Duration
	Flagged           map[string]int // QC flag name -> rows
	Sites             []SiteMeta
	Meta              []SeriesMeta
	Skipped           []Skipped
	Notes             []string

	force bool     // of the request
	asked []string // stations of the request
}
