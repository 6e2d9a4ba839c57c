package ingest

import (
	"errors"
	"io"
	"time"

	"example.org/coldseam"
)

// ParseFunc reads one document. It does no network, clock or database work;
// known-at times are left zero. A document that is not of its format, cut
// short or damaged is an error that wraps coldseam.ErrInvalid and stores
// nothing; a valid document without rows is an empty Batch.
type ParseFunc func(io.Reader, Profile) (Batch, error)

// Batch is what one document held, in SI units.
type Batch struct {
	Format    string              `json:"format"`
	Series    []coldseam.Series   `json:"series,omitempty"`
	Forecasts []coldseam.Forecast `json:"forecasts,omitempty"`
	Alerts    []coldseam.Alert    `json:"alerts,omitempty"`
	Gaugings  []coldseam.Gauging  `json:"gaugings,omitempty"`
	// of floods, as the agency says; known-at is left zero
	FloodLevels []coldseam.FloodLevel `json:"flood_levels,omitempty"`
	Sites       []SiteMeta            `json:"sites,omitempty"`
	Meta        []SeriesMeta          `json:"meta,omitempty"`
	Skipped     []Skipped             `json:"skipped,omitempty"`
	// doubts about what was read, such as a station that lies elsewhere
	Notes   []string `json:"notes,omitempty"`
	Next    string   `json:"next,omitempty"`    // address or token of the next page
	Records int      `json:"records,omitempty"` // of the page, also those that are not read
	Matched int      `json:"matched,omitempty"` // records of all pages together, as the service counts them; 0 = not said
	Links   []string `json:"links,omitempty"`   // where parts of the page go on
	Entries []Entry  `json:"entries,omitempty"` // documents an index of warnings points to
}

// Entry of an index of warnings. The document behind it is known by its address
// and stamp: with a new stamp it is read again.
type Entry struct {
	Link    string         `json:"link,omitempty"` // "" = the entry has none
	Updated string         `json:"updated,omitempty"`
	ID      string         `json:"id,omitempty"`
	Title   string         `json:"title,omitempty"`
	About   coldseam.Alert `json:"-"` // what the index itself says of the warning, its area above all
}

// Rows is the number of observations, forecast steps, alerts, gaugings and
// flood levels.
func (b Batch) Rows() int {
	n := len(b.Alerts) + len(b.Gaugings) + len(b.FloodLevels)
	for _, s := range b.Series {
		n += len(s.Obs)
	}
	for _, f := range b.Forecasts {
		n += len(f.At)
	}
	return n
}

// Skipped names something a parser left out and why; N counts how often. Code
// is for programs, Why for people.
type Skipped struct {
	What string `json:"what"`
	Code string `json:"code"`
	Why  string `json:"why"`
	N    int    `json:"n"`
}

// Codes of what is left out.
const (
	CodeUnit      = "unit"      // unknown, of another dimension or none
	CodeStation   = "station"   // none named, or one that cannot be told from another
	CodeParameter = "parameter" // not one that is read
	CodeStatistic = "statistic" // not read, or a period without one
	CodeTime      = "time"      // no time, no zone, or one that cannot be
	CodeValue     = "value"     // no number
	CodeRow       = "row"       // longer or shorter than its fields, or another count than was said
	CodeConflict  = "conflict"  // two values of one time
	CodeEncoding  = "encoding"  // a form of result or record that is not read
	CodeChosen    = "chosen"    // another series or station was asked for
	CodeRange     = "range"     // not possible in nature
	CodeOther     = "other"
)

// coded is an error that knows its code.
type coded struct {
	code string
	error
}

func (c coded) Unwrap() error { return c.error }

// Because gives an error the code that Skipped tells.
func Because(code string, err error) error { return coded{code, err} }

// CodeOf is the code of an error, CodeOther where it has none.
func CodeOf(err error) string {
	var c coded
	if errors.As(err, &c) {
		return c.code
	}
	return CodeOther
}

// SiteMeta is what a document says about a station.
type SiteMeta struct {
	ID          coldseam.SiteID `json:"id"`
	Code        string          `json:"code"`
	Name        string          `json:"name,omitempty"`
	Lat         float64         `json:"lat,omitempty"`
	Lon         float64         `json:"lon,omitempty"`
	Zone        string          `json:"zone,omitempty"` // as the agency writes it; often no IANA zone
	DrainageKM2 *float64        `json:"drainage_km2,omitempty"`
	DatumM      *float64        `json:"datum_m,omitempty"`
	Kind        string          `json:"kind,omitempty"` // Stream, Lake ...
}

// SeriesMeta is what a document says about a series, and how it was read.
type SeriesMeta struct {
	Key         coldseam.SeriesKey `json:"key"`
	Name        string             `json:"name,omitempty"` // parameter as the agency writes it
	Unit        string             `json:"unit"`           // as found
	UnitFrom    string             `json:"unit_from,omitempty"`
	SI          string             `json:"si"`
	Points      int                `json:"points"`
	Missing     int                `json:"missing"`
	Duplicates  int                `json:"duplicates,omitempty"`
	First       time.Time          `json:"first,omitzero"`
	Last        time.Time          `json:"last,omitzero"`
	Primary     bool               `json:"primary,omitempty"`
	Computation string             `json:"computation,omitempty"` // Instantaneous, Mean ...
	Sublocation string             `json:"sublocation,omitempty"`
	GapAfter    time.Duration      `json:"gap_after,omitempty"` // the agency calls a longer step a gap
	Modified    time.Time          `json:"modified,omitzero"`   // the agency's newest own stamp
}
