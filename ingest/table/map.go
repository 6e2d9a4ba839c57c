// Package table imports history files: delimited text after RFC 4180 with an
// explicit column map, the plain daily layout of the check series, and hand
// readings of a club. Nothing is inferred; a row that does not fit is refused
// with its line, and more than one refused row in a hundred refuses the file.
package table

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// Map says how a file is to be read. In the long layout a row holds one value
// and the columns are named by the *Column keys; in the wide layout a row
// holds one value for each entry of Columns. A column is named by its header,
// or by its number as "#3" where the file has no header.
type Map struct {
	Layout      string   `toml:"layout"`       // long or wide
	Delimiter   string   `toml:"delimiter"`    // one character; "tab" may be written
	DecimalMark string   `toml:"decimal_mark"` // "." or ","
	Header      int      `toml:"header"`       // line number of the header, 0 = none
	SkipAfter   int      `toml:"skip_after"`   // lines after the header that hold no data
	Comment     string   `toml:"comment"`      // one character that begins a comment line, or none
	Missing     []string `toml:"missing"`      // tokens that mean no value, beside the empty cell

	TimeColumn string `toml:"time_column"`
	TimeLayout string `toml:"time_layout"` // "iso" (RFC 3339, date, zone-less) or a Go layout
	Zone       string `toml:"zone"`        // IANA, for times without an offset and for dates

	Site            string `toml:"site"` // station code of the whole file, or
	SiteColumn      string `toml:"site_column"`
	QualifierColumn string `toml:"qualifier_column"` // codes separated by spaces or commas
	ApprovalColumn  string `toml:"approval_column"`

	// Long layout.
	ParameterColumn string `toml:"parameter_column"` // or
	Parameter       string `toml:"parameter"`
	ValueColumn     string `toml:"value_column"`
	UnitColumn      string `toml:"unit_column"` // or
	Unit            string `toml:"unit"`
	Statistic       string `toml:"statistic"`
	Period          string `toml:"period"`
	SeriesRef       string `toml:"series"` // keeps these rows apart from other series of the site

	// Wide layout.
	Columns []Column `toml:"columns"`
}

// Column is one value column of the wide layout.
type Column struct {
	Name      string `toml:"name"`
	Parameter string `toml:"parameter"`
	Unit      string `toml:"unit"`
	Statistic string `toml:"statistic"`
	Period    string `toml:"period"`
	Qualifier string `toml:"qualifier"` // column of its own qualifiers
}

// DailyMap is the layout date,flow_m3s,water_c,air_c of daily means: ISO
// dates, an empty cell for a missing value. columns are those of them that the
// file has.
func DailyMap(site, zone string, columns ...string) Map {
	m := Map{
		Layout:      "wide",
		Delimiter:   ",",
		DecimalMark: ".",
		Header:      1,
		TimeColumn:  "date",
		TimeLayout:  "iso",
		Zone:        zone,
		Site:        site,
	}
	for _, c := range columns {
		if d, ok := dailyColumns[c]; ok {
			m.Columns = append(m.Columns, Column{
				Name:      c,
				Parameter: string(d.param),
				Unit:      d.unit,
				Statistic: "mean",
				Period:    "P1D",
			})
		}
	}
	return m
}

var dailyColumns = map[string]struct {
	param coldseam.Parameter
	unit  string
}{
	"flow_m3s": {coldseam.Discharge, "m3/s"},
	"water_c":  {coldseam.WaterTemp, "degC"},
	"air_c":    {coldseam.AirTemp, "degC"},
}

// HandSeries is the series id of hand readings: they never mix with a logger's.
const HandSeries = "hand"

// Check refuses a map that leaves something open, naming the key.
func (m Map) Check() error {
	bad := func(key, got, want string) error {
		return fmt.Errorf("column map: %s = %q: want %s: %w", key, got, want, coldseam.ErrInvalid)
	}

	switch {
	case m.Layout != "long" && m.Layout != "wide":
		return bad("layout", m.Layout, "long or wide")
	case m.delimiter() == 0:
		return bad("delimiter", m.Delimiter, "one character, or tab")
	case m.DecimalMark != "." && m.DecimalMark != ",":
		return bad("decimal_mark", m.DecimalMark, `"." or ","`)
	case m.DecimalMark == string(m.delimiter()):
		return bad("decimal_mark", m.DecimalMark, "another character than the delimiter")
	case utf8.RuneCountInString(m.Comment) > 1:
		return bad("comment", m.Comment, "one character")
	case m.Header < 0 || m.SkipAfter < 0:
		return bad("header", fmt.Sprint(m.Header), "a line number, or 0 for none")
	case m.TimeColumn == "":
		return bad("time_column", "", "a column")
	case m.TimeLayout == "":
		return bad("time_layout", "", `"iso" or a Go layout`)
	case m.TimeLayout != "iso" && strings.Contains(m.TimeLayout, "MST"):
		return bad("time_layout", m.TimeLayout, "an offset or a zone of the map: zone abbreviations are ambiguous")
	case (m.Site == "") == (m.SiteColumn == ""):
		return bad("site", m.Site, "either site or site_column")
	}

	if m.Zone != "" {
		if _, err := time.LoadLocation(m.Zone); err != nil || m.Zone == "Local" {
			return bad("zone", m.Zone, "an IANA zone")
		}
	}
	if m.Layout == "long" {
		return m.checkLong(bad)
	}
	return m.checkWide(bad)
}

func (m Map) checkLong(bad func(key, got, want string) error) error {
	switch {
	case m.ValueColumn == "":
		return bad("value_column", "", "a column")
	case (m.Parameter == "") == (m.ParameterColumn == ""):
		return bad("parameter", m.Parameter, "either parameter or parameter_column")
	case (m.Unit == "") == (m.UnitColumn == ""):
		return bad("unit", m.Unit, "either unit or unit_column")
	case len(m.Columns) > 0:
		return bad("columns", fmt.Sprint(len(m.Columns)), "none in the long layout")
	}
	if m.Parameter != "" && m.Unit != "" {
		if _, err := ingest.UnitFor(coldseam.Parameter(m.Parameter), m.Unit); err != nil {
			return fmt.Errorf("column map: unit: %w", err)
		}
	}
	return checkStatistic(bad, "statistic", m.Statistic, m.Period)
}

func (m Map) checkWide(bad func(key, got, want string) error) error {
	if len(m.Columns) == 0 {
		return bad("columns", "", "at least one")
	}
	for _, c := range m.Columns {
		if c.Name == "" || coldseam.Parameter(c.Parameter).Unit() == "" {
			return bad("columns."+c.Name+".parameter", c.Parameter, "a name and a parameter")
		}
		if _, err := ingest.UnitFor(coldseam.Parameter(c.Parameter), c.Unit); err != nil {
			return fmt.Errorf("column map: columns.%s.unit: %w", c.Name, err)
		}
		if err := checkStatistic(bad, "columns."+c.Name+".statistic", c.Statistic, c.Period); err != nil {
			return err
		}
	}
	return nil
}

func checkStatistic(bad func(key, got, want string) error, key, stat, period string) error {
	switch coldseam.Statistic(stat) {
	case coldseam.Instant:
		if period != "" {
			return bad(key, stat, "no period with instant values")
		}
	case coldseam.Mean, coldseam.Min, coldseam.Max, coldseam.Sum:
		if _, _, _, err := ingest.ParsePeriod(period); err != nil {
			return fmt.Errorf("column map: %s: %w", key, err)
		}
	default:
		return bad(key, stat, "instant, mean, min, max or sum")
	}
	return nil
}

func (m Map) delimiter() rune {
	if m.Delimiter == "tab" {
		return '\t'
	}
	r, n := utf8.DecodeRuneInString(m.Delimiter)
	if n == 0 || n != len(m.Delimiter) || r == '"' || r == '\n' || r == '\r' || r == utf8.RuneError {
		return 0
	}
	return r
}
