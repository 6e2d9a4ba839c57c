package table

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// Refusal is one row that was left out.
type Refusal struct {
	Line   int    `json:"line"`
	Column string `json:"column,omitempty"`
	Why    string `json:"why"`
}

// Report is what a dry run prints before anything is stored.
type Report struct {
	Rows     int            `json:"rows"`
	Refused  int            `json:"refused"`
	ByColumn map[string]int `json:"by_column,omitempty"`
	Examples []Refusal      `json:"examples,omitempty"`
	Repeats  []Refusal      `json:"repeats,omitempty"` // rows that say again what an earlier one said
	Series   []SeriesReport `json:"series"`
	// OpenEnd says that the last line has no line end. Text cannot show that it
	// was cut short, so this is the only hint there is.
	OpenEnd bool `json:"open_end,omitempty"`
}

// SeriesReport sums up one series, in SI units.
type SeriesReport struct {
	Key         coldseam.SeriesKey `json:"key"`
	Unit        string             `json:"unit"`
	First, Last time.Time
	Count       int     `json:"count"`
	Missing     int     `json:"missing"`
	Duplicates  int     `json:"duplicates"`
	Min         float64 `json:"min"`
	Max         float64 `json:"max"`
}

// summaries of the series, for the dry run.
func summaries(b ingest.Batch) []SeriesReport {
	var out []SeriesReport
	for i, s := range b.Series {
		m := b.Meta[i]
		x := SeriesReport{
			Key:        s.SeriesKey,
			Unit:       s.Param.Unit(),
			First:      m.First,
			Last:       m.Last,
			Count:      m.Points,
			Missing:    m.Missing,
			Duplicates: m.Duplicates,
			Min:        math.Inf(1),
			Max:        math.Inf(-1),
		}
		for _, o := range s.Obs {
			if o.Flag&coldseam.Missing == 0 {
				x.Min, x.Max = math.Min(x.Min, o.Value), math.Max(x.Max, o.Value)
			}
		}
		if m.Missing == m.Points {
			x.Min, x.Max = 0, 0
		}
		out = append(out, x)
	}
	return out
}

// WriteTo prints the report for a terminal.
func (r Report) WriteTo(w io.Writer) (int64, error) {
	var b strings.Builder
	fmt.Fprintf(&b, "%d rows, %d refused\n", r.Rows, r.Refused)
	for _, s := range r.Series {
		fmt.Fprintf(&b, "  %s: %d values, %d missing, %s to %s, %.6g to %.6g %s", s.Key, s.Count, s.Missing,
			s.First.UTC().Format(time.RFC3339), s.Last.UTC().Format(time.RFC3339), s.Min, s.Max, s.Unit)
		if s.Duplicates > 0 {
			fmt.Fprintf(&b, ", %d times repeated", s.Duplicates)
		}
		b.WriteByte('\n')
	}

	for _, x := range slices.Concat(r.Examples, r.Repeats) {
		fmt.Fprintf(&b, "  line %d %s: %s\n", x.Line, x.Column, x.Why)
	}
	if n := r.Refused - len(r.Examples); n > 0 {
		fmt.Fprintf(&b, "  and %d more\n", n)
	}
	if r.OpenEnd {
		b.WriteString("  the last line has no line end: the file may be cut short\n")
	}
	n, err := io.WriteString(w, b.String())
	return int64(n), err
}

func cause(err error) string {
	return strings.TrimSuffix(err.Error(), ": "+coldseam.ErrInvalid.Error())
}
