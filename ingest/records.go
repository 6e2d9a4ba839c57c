package ingest

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
)

// Records says where things stand in documented open JSON or delimited text
// (format = "records"). Package records reads such documents and defines the
// grammar of the places.
type Records struct {
	Kind    string   `toml:"kind"`    // json (default), text or xml
	Require []string `toml:"require"` // paths of the whole document; one that is missing refuses it
	// Levels lead from the document to one record, each from the node before.
	// Text has its own: the blocks of the document, and their rows.
	Levels      []string          `toml:"levels"`
	Header      string            `toml:"header"`  // names of the positions, where a record is a list
	Columns     []string          `toml:"columns"` // the same, where the document does not say; they may take turns in one list
	Where       map[string]string `toml:"where"`   // place = text; other records are passed over
	Site        string            `toml:"site"`
	Issued      string            `toml:"issued"`       // issue time of a forecast
	Next        string            `toml:"next"`         // address or token of the next page, of the whole document
	Count       string            `toml:"count"`        // of the records on all pages together, of the whole document
	TimeLayout  string            `toml:"time_layout"`  // iso (default), epoch_s, epoch_ms or a Go layout
	Source      string            `toml:"source"`       // where it is written which unit is meant, where the document does not say
	Values      []RecordValue     `toml:"values"`       // several for wide rows
	FloodLevels []RecordFlood     `toml:"flood_levels"` // flood stages and flows

	Delimiter   string `toml:"delimiter"`    // of text: one character, or "tab" (comma)
	DecimalMark string `toml:"decimal_mark"` // of numbers written as text (point)
	HeaderLine  int    `toml:"header_line"`  // of text: line of the column names (1); with meta_prefix the last such line
	MetaPrefix  string `toml:"meta_prefix"`  // of text: begins the lines "key, value" before the rows
	ShortRows   bool   `toml:"short_rows"`   // of text: the service leaves empty cells out at the end of a row
}

// RecordValue is one value of a record with its own time.
type RecordValue struct {
	Site       string `toml:"site"` // default: that of the records
	Parameter  string `toml:"parameter"`
	Value      string `toml:"value"`
	Time       string `toml:"time"`
	Unit       string `toml:"unit"`
	Scale      string `toml:"scale"` // what the value is to be multiplied by
	Statistic  string `toml:"statistic"`
	Period     string `toml:"period"`
	Stamp      string `toml:"stamp"` // of a period: end (default), begin, or day = any time of its civil day
	Series     string `toml:"series"`
	Qualifier  string `toml:"qualifier"`
	Approval   string `toml:"approval"`
	TimeLayout string `toml:"time_layout"`
}

// RecordFlood is a flood stage or flow in a record.
type RecordFlood struct {
	Kind      string `toml:"kind"` // action, minor, moderate, major
	Parameter string `toml:"parameter"`
	Value     string `toml:"value"`
	Unit      string `toml:"unit"`
	Gauge     string `toml:"gauge"` // the gauge that it is told of
}

// Bounds of a map of records.
const (
	maxLevels = 8
	maxValues = 20
	maxPlaces = 64 << 10 // bytes of all paths and patterns together
)

// Places lists every place of the map with its key, the levels first.
func (r Records) Places() [][2]string {
	var out [][2]string
	add := func(key, place string) {
		if place != "" {
			out = append(out, [2]string{key, place})
		}
	}
	for _, l := range r.Levels {
		add("levels", l)
	}
	for _, l := range r.Require {
		add("require", l)
	}
	for k := range r.Where {
		add("where", k)
	}
	add("header", r.Header)
	add("site", r.Site)
	add("issued", r.Issued)
	add("next", r.Next)
	add("count", r.Count)
	for i, v := range r.Values {
		key := fmt.Sprintf("values[%d].", i)
		for _, x := range [][2]string{{"site", v.Site}, {"parameter", v.Parameter}, {"value", v.Value}, {"time", v.Time},
			{"unit", v.Unit}, {"scale", v.Scale}, {"statistic", v.Statistic}, {"period", v.Period}, {"series", v.Series},
			{"qualifier", v.Qualifier}, {"approval", v.Approval}} {
			add(key+x[0], x[1])
		}
	}
	for i, x := range r.FloodLevels {
		key := fmt.Sprintf("flood_levels[%d].", i)
		add(key+"value", x.Value)
		add(key+"unit", x.Unit)
		add(key+"gauge", x.Gauge)
	}
	return out
}

// checkRecords looks at the map but for the grammar of its places.
func (p Profile) checkRecords() error {
	if p.Format == FormatTable {
		return p.invalid("format", `another: tables are imported; one that is polled is format = "records" with kind = "text"`,
			p.Format)
	}
	if p.Format != FormatRecords {
		if p.Records != nil {
			return p.invalid("records", `format = "records" beside it`, strconv.Quote(p.Format))
		}
		return nil
	}
	r := p.Records
	if r == nil {
		return p.invalid("records", "a table that says where things stand", "none")
	}

	size := 0
	for _, x := range r.Places() {
		size += len(x[1])
	}
	byRecord := func(v RecordValue) bool { return cmp.Or(v.Site, r.Site) != "" }
	switch {
	case !contains([]string{"", "json", "text", "xml"}, r.Kind):
		return p.invalid("records.kind", "json, text or xml", r.Kind)
	case len(r.Levels) == 0 && r.Kind != "text", len(r.Levels) > maxLevels:
		return p.invalid("records.levels", fmt.Sprintf("1 to %d", maxLevels), len(r.Levels))
	case len(r.Levels) > 0 && r.Kind == "text":
		return p.invalid("records.levels", "none: text has blocks and rows", r.Levels)
	case len(r.Values)+len(r.FloodLevels) == 0 || len(r.Values)+len(r.FloodLevels) > maxValues:
		return p.invalid("records.values", fmt.Sprintf("1 to %d", maxValues), len(r.Values))
	case size > maxPlaces:
		return p.invalid("records", fmt.Sprintf("places of %d bytes at most", maxPlaces), size)
	case r.Kind != "text" && r.Delimiter+r.MetaPrefix != "":
		return p.invalid("records.kind", "text where delimiter or meta_prefix are given", r.Kind)
	case len(r.Columns) > 0 && (r.Header != "" || r.Kind == "text"):
		return p.invalid("records.columns", "none beside a header or in text", r.Columns)
	case len([]rune(r.Delimiter)) > 1 && r.Delimiter != "tab":
		return p.invalid("records.delimiter", "one character, or tab", strconv.Quote(r.Delimiter))
	case !contains([]string{"", ".", ","}, r.DecimalMark),
		r.Kind == "text" && cmp.Or(r.Delimiter, ",") == cmp.Or(r.DecimalMark, "."):
		return p.invalid("records.decimal_mark", `"." or ",", and another than the delimiter`, strconv.Quote(r.DecimalMark))
	case len(p.Units) > 0 && r.Source == "":
		return p.invalid("records.source", "where it is written that these are the units", `""`)
	}

	for i, x := range r.FloodLevels {
		key := fmt.Sprintf("records.flood_levels[%d].", i)
		switch {
		case !contains([]string{coldseam.FloodAction, coldseam.FloodMinor, coldseam.FloodModerate,
			coldseam.FloodMajor}, x.Kind):
			return p.invalid(key+"kind", "action, minor, moderate or major", x.Kind)
		case x.Parameter != string(coldseam.Stage) && x.Parameter != string(coldseam.Discharge):
			return p.invalid(key+"parameter", "stage or discharge", x.Parameter)
		case r.Site == "" || x.Value == "" || x.Unit == "":
			return p.invalid(key+"value", "value and unit, and a site of the records", x)
		case strings.HasPrefix(x.Unit, "=") && r.Source == "":
			return p.invalid("records.source", "where it is written that this is the unit", x.Unit)
		}
	}

	for i, v := range r.Values {
		key := fmt.Sprintf("records.values[%d].", i)
		switch {
		case !byRecord(v):
			return p.invalid(key+"site", `a place, or "{site}" for the one that was asked for`, `""`)
		case v.Parameter == "" || v.Value == "" || v.Time == "":
			return p.invalid(key+"parameter", "parameter, value and time", v)
		case strings.HasPrefix(v.Value, "="):
			return p.invalid(key+"value", "a place in the document", v.Value)
		case strings.HasPrefix(v.Unit, "=") && r.Source == "", strings.HasPrefix(v.Scale, "=") && r.Source == "":
			return p.invalid("records.source", "where it is written that this is the unit", v.Unit+v.Scale)
		case !contains([]string{"", "begin", "end", "day"}, v.Stamp):
			return p.invalid(key+"stamp", "begin, end or day", v.Stamp)
		}
	}
	return nil
}

// ForecastOf turns a series into a forecast; steps without a value are left
// out. A zero issue time is one that the document does not say.
func ForecastOf(s coldseam.Series, issued time.Time) coldseam.Forecast {
	f := coldseam.Forecast{
		Site:          s.Site,
		Param:         s.Param,
		Stat:          s.Stat,
		Period:        s.Period,
		Provider:      s.Provider,
		Issued:        issued,
		IssuedAssumed: issued.IsZero(),
	}
	for _, o := range s.Obs {
		if o.Flag&coldseam.Missing == 0 {
			f.At = append(f.At, o.At)
			f.Value = append(f.Value, o.Value)
		}
	}
	return f
}
