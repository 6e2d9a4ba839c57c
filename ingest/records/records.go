// Package records reads documented open JSON and delimited text by a map: the
// table ingest.Records says where site, parameter, value, time and unit stand.
// A new service is configuration, not code. The formats of the OGC and OASIS
// have packages of their own and come first.
//
// A place is one of
//
//	$.a.b            a path of RFC 9535 from the record
//	^$.a  ^^$.a      from the node one or two levels above it
//	=text            this very text
//	{site}           the station that was asked for; {parameter} its parameter
//	$.date + $.time  two texts that make one time
//	$.id ~ -(m3s)-   the one group of a pattern (RE2) in what stands there
//
// In a record that is a list the header names the positions; in text the columns
// are members of the row, and the lines before it members of its block, one level
// above: ^$.ts_unitsymbol.
//
// What a map does not say is not guessed: a value without a unit, a time without
// a zone, two nodes where one is wanted, a list in the place of a number are
// refused, and a document of which more than one value in a hundred is refused
// is refused as a whole.
package records

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// maxRefused is the share of refused values above which the document is
// refused [proposal].
const maxRefused = 0.01

// Check compiles every place of a profile's map and those of its endpoints.
func Check(p ingest.Profile) error {
	for name := range p.Endpoints {
		e, err := p.At(name)
		if err != nil {
			return err
		}
		if e.Endpoints = nil; e.Format == ingest.FormatRecords {
			if err := Check(e); err != nil {
				return fmt.Errorf("endpoint %s: %w", name, err)
			}
		}
	}
	if p.Format != ingest.FormatRecords || p.Records == nil {
		return nil
	}
	_, err := compileMap(*p.Records)
	return err
}

// Parse reads one document by the map of the profile.
func Parse(r io.Reader, p ingest.Profile) (ingest.Batch, error) {
	b, err := parse(r, p.WithDefaults())
	if err != nil {
		return ingest.Batch{}, fmt.Errorf("records: %w", err)
	}
	return b, nil
}

func parse(r io.Reader, p ingest.Profile) (ingest.Batch, error) {
	if p.Records == nil {
		return ingest.Batch{}, fmt.Errorf("the profile has no map: %w", coldseam.ErrInvalid)
	}
	m, err := compileMap(*p.Records)
	if err != nil {
		return ingest.Batch{}, err
	}
	body, err := ingest.ReadBody(r, p)
	if err != nil {
		return ingest.Batch{}, err
	}
	d := &doc{p: p, m: m, b: ingest.NewBuilder(p), issues: map[time.Time]*ingest.Builder{}, times: ingest.NewTimes(p)}
	d.asked = map[string]string{"{site}": p.RequestSite, "{parameter}": p.RequestParameter}

	var root any
	if m.Kind == "text" {
		var open bool
		var ragged []string
		if root, open, ragged, err = blocks(body, m.Records); err == nil {
			d.text(open, ragged)
		}
	} else {
		root, err = tree(body)
	}
	if err != nil {
		return ingest.Batch{}, err
	}
	return d.read(root)
}

// compiled is a map with its places compiled.
type compiled struct {
	ingest.Records
	at map[string]*place // by key, but for the lists
	levels, require,
	where []*place
	wants []string // texts of where
}

func compileMap(r ingest.Records) (*compiled, error) {
	m := &compiled{Records: r, at: map[string]*place{}}
	if m.Kind == "text" {
		m.Levels = textLevels
	}
	m.Records.Where = nil // in a fixed order below
	for _, x := range m.Places() {
		above := len(m.Levels)
		if x[0] == "levels" || x[0] == "require" || x[0] == "next" {
			above = 0
		}
		c, err := compile(x[0], x[1], above)
		if err != nil {
			return nil, err
		}
		switch x[0] {
		case "levels":
			m.levels = append(m.levels, c)
		case "require":
			m.require = append(m.require, c)
		default:
			m.at[x[0]] = c
		}
	}
	for _, text := range slices.Sorted(maps.Keys(r.Where)) {
		c, err := compile("where", text, len(m.Levels))
		if err != nil {
			return nil, err
		}
		m.where, m.wants = append(m.where, c), append(m.wants, r.Where[text])
	}
	alone := slices.Concat(m.levels, m.require)
	if m.at["header"] != nil {
		alone = append(alone, m.at["header"])
	}
	for _, c := range alone {
		if c.path == nil || c.pattern != nil || c.more != nil {
			return nil, fmt.Errorf("records.%s: want a path alone: %w", c.key, coldseam.ErrInvalid)
		}
	}
	return m, nil
}

// doc is one document being read.
type doc struct {
	p      ingest.Profile
	m      *compiled
	b      *ingest.Builder
	issues map[time.Time]*ingest.Builder // of forecasts
	times  *ingest.Times
	asked  map[string]string
	notes  []string
	limits []coldseam.FloodLevel

	records, tried, refused int
	first                   error           // the first refusal
	seen                    map[string]bool // places of values at which something stood
}

// text takes note of what the lines of a text do not hold.
func (d *doc) text(open bool, ragged []string) {
	for _, why := range ragged {
		d.tried++
		d.refuse("row", ingest.Because(ingest.CodeRow, fmt.Errorf("%s", why)))
	}
	if open {
		d.b.Skip("last line", ingest.CodeRow, "it has no line end: it may be cut short")
	}
}

func (d *doc) read(root any) (ingest.Batch, error) {
	for _, c := range d.m.require {
		if len(c.nodes([]any{root})) == 0 {
			return ingest.Batch{}, fmt.Errorf("%s is not there: not the document that the map is made for: %w",
				c.path, coldseam.ErrInvalid)
		}
	}
	d.seen = map[string]bool{}
	if err := d.walk([]any{root}); err != nil {
		return ingest.Batch{}, err
	}
	if float64(d.refused) > maxRefused*float64(d.tried) {
		return ingest.Batch{}, fmt.Errorf("%d of %d values do not fit, the first: %s: %w", d.refused, d.tried,
			strings.TrimSuffix(d.first.Error(), ": "+coldseam.ErrInvalid.Error()), coldseam.ErrInvalid)
	}

	for i := range d.m.Values {
		key := fmt.Sprintf("values[%d].value", i)
		if d.records > 0 && !d.seen[key] {
			d.b.Skip(key, ingest.CodeEncoding, fmt.Sprintf("%s stands in none of %d records", d.m.at[key].path, d.records))
		}
	}
	out, err := d.batch()
	if err != nil {
		return out, err
	}
	next, err := d.m.at["next"].at([]any{root}, d.asked)
	out.Next = next.text
	out.Records = d.records
	out.Notes, out.FloodLevels = d.notes, d.limits
	return out, err
}

// walk goes down the levels and reads each record at the last.
func (d *doc) walk(chain []any) error {
	depth := len(chain) - 1
	if depth == len(d.m.levels) {
		d.records++
		return d.record(chain)
	}
	nodes := d.m.levels[depth].nodes(chain)
	if len(nodes) == 0 && d.records == 0 {
		if note := fmt.Sprintf("%s selects nothing", d.m.levels[depth].path); !slices.Contains(d.notes, note) {
			d.notes = append(d.notes, note)
		}
	}
	for _, n := range nodes {
		if err := d.walk(append(slices.Clip(chain), n)); err != nil {
			return err
		}
	}
	return nil
}

// record reads the values of one record.
func (d *doc) record(chain []any) error {
	if list, ok := chain[len(chain)-1].([]any); ok && d.m.at["header"] != nil {
		named, err := d.named(list, chain)
		if err != nil {
			d.tried++
			d.refuse("record", err)
			return nil
		}
		chain = append(slices.Clone(chain[:len(chain)-1]), named)
	}

	for i, w := range d.m.where {
		f, err := w.at(chain, d.asked)
		if err != nil || f.text != d.m.wants[i] {
			d.b.Skip("record", ingest.CodeChosen, fmt.Sprintf("%s is not %q", w.key, d.m.wants[i]))
			return nil
		}
	}

	for i := range d.m.FloodLevels {
		d.tried++
		if err := d.floodLevel(i, chain); err != nil {
			d.refuse(fmt.Sprintf("flood_levels[%d]", i), err)
		}
	}
	for i := range d.m.Values {
		d.tried++
		if err := d.value(i, chain); err != nil {
			if err, ok := err.(foreign); ok {
				return err.error
			}
			d.refuse(fmt.Sprintf("values[%d]", i), err)
		}
	}
	return nil
}

// named makes an object of a list whose positions the header names: a list, or
// one text with commas.
func (d *doc) named(list, chain []any) (map[string]any, error) {
	var names []string
	for _, n := range d.m.at["header"].nodes(chain) {
		switch n := n.(type) {
		case string:
			names = append(names, strings.Split(n, ",")...)
		case []any:
			for _, x := range n {
				names = append(names, fmt.Sprint(x))
			}
		}
	}
	if len(names) != len(list) {
		return nil, ingest.Because(ingest.CodeRow, fmt.Errorf("%d positions, the header names %d", len(list), len(names)))
	}
	out := make(map[string]any, len(list))
	for i, n := range names {
		out[strings.TrimSpace(n)] = list[i]
	}
	return out, nil
}

// foreign is an error that speaks of the whole document.
type foreign struct{ error }

func (d *doc) refuse(what string, err error) {
	d.refused++
	if d.first == nil {
		d.first = err
	}
	d.b.Skip(what, ingest.CodeOf(err), strings.TrimSuffix(err.Error(), ": "+coldseam.ErrInvalid.Error()))
}

// value reads one value of a record. What is not read because nothing is known
// of it, such as a parameter that is not configured, is passed over; an error is a
// value that does not fit.
func (d *doc) value(i int, chain []any) error {
	v, key := d.m.Values[i], fmt.Sprintf("values[%d].", i)
	var err error
	get := func(name string) string {
		f, ferr := d.m.at[key+name].at(chain, d.asked)
		if err == nil {
			err = ferr
		}
		return f.text
	}

	raw, rerr := d.m.at[key+"value"].at(chain, d.asked)
	switch {
	case rerr != nil:
		return rerr
	case raw.boolean:
		return ingest.Because(ingest.CodeValue, fmt.Errorf("value %q is no number", raw.text))
	}
	d.seen[key+"value"] = d.seen[key+"value"] || raw.is

	site := get("site")
	if d.m.at[key+"site"] == nil {
		f, ferr := d.m.at["site"].at(chain, d.asked)
		if site = f.text; err == nil {
			err = ferr
		}
	}
	code, when, unit := get("parameter"), get("time"), get("unit")
	word, period, series := get("statistic"), get("period"), get("series")
	quality, approval := get("qualifier"), get("approval")
	switch {
	case err != nil:
		return err
	case !raw.is && when == "":
		return nil // this record has no such value
	}

	param, ok := d.p.Parameter(code, ownNames(d.m.at[key+"parameter"]))
	if !ok {
		d.b.Skip("parameter "+code, ingest.CodeParameter, "not configured")
		return nil
	}
	if series == "" {
		series = code
	}
	if site == "" {
		return ingest.Because(ingest.CodeStation, errNoSite)
	}
	if want := d.p.RequestSite; want != "" && site != want {
		return foreign{fmt.Errorf("the answer is of %q, asked was %q: %w", clip(site), clip(want), coldseam.ErrInvalid)}
	}

	row := ingest.Row{Name: code, Raw: raw.text, Unit: unit, Approval: approval}
	row.Key = coldseam.SeriesKey{Site: d.p.SiteID(site), Param: param, Period: period, SeriesRef: series}
	if quality != "" {
		row.Qualifiers = []string{quality}
	}
	if row.Key.Stat, ok = statistics[strings.ToLower(word)]; !ok {
		return ingest.Because(ingest.CodeStatistic, fmt.Errorf("statistic %q is not known", clip(word)))
	}
	if mark := d.m.DecimalMark; mark == "," {
		if strings.Contains(row.Raw, ".") {
			return ingest.Because(ingest.CodeValue,
				fmt.Errorf("value %q has a point, the decimal mark is a comma", clip(row.Raw)))
		}
		row.Raw = strings.Replace(row.Raw, ",", ".", 1)
	}

	_, missing, err := d.p.Value(row.Raw)
	if err != nil {
		return err
	}
	if when == "" && missing {
		return nil
	}
	layout := v.TimeLayout
	if layout == "" {
		layout = d.m.TimeLayout
	}
	if row.Stamp, err = d.times.ParseLayout(when, layout, site); err != nil {
		return err
	}
	if err := d.span(&row, v.Stamp, site); err != nil {
		return err
	}
	return d.add(row, chain, site)
}

// floodLevel reads one flood stage or flow; one that is missing is none.
func (d *doc) floodLevel(i int, chain []any) error {
	x, key := d.m.FloodLevels[i], fmt.Sprintf("flood_levels[%d].", i)
	var texts [4]string
	for n, c := range []*place{d.m.at[key+"value"], d.m.at[key+"unit"], d.m.at[key+"gauge"], d.m.at["site"]} {
		f, err := c.at(chain, d.asked)
		if err != nil {
			return err
		}
		texts[n] = f.text
	}
	v, missing, err := d.p.Value(texts[0])
	if err != nil || missing {
		return err
	}
	param := coldseam.Parameter(x.Parameter)
	conv, _, err := d.p.Unit(param, texts[1])
	if err != nil {
		return err
	}
	if texts[3] == "" {
		return ingest.Because(ingest.CodeStation, errNoSite)
	}
	d.limits = append(d.limits, coldseam.FloodLevel{Site: d.p.SiteID(texts[3]), Kind: x.Kind, Param: param,
		Value: conv.Apply(v), Gauge: texts[2]})
	return nil
}

var errNoSite = errors.New("no site")

// span moves the stamp of a period to its end.
func (d *doc) span(row *ingest.Row, stamp, site string) error {
	period := row.Key.Period
	if row.Key.Stat == "" {
		stat, p, err := d.p.Stat(row.Key.Param)
		if err != nil {
			return err
		}
		if row.Key.Stat = stat; period == "" {
			period = p
		}
	}
	if row.Key.Stat == coldseam.Instant {
		row.Key.Period, period = "", ""
	}
	if row.Key.Stat == "" || period == "" || row.Stamp.Precision != ingest.ToInstant {
		return nil
	}

	row.Key.Period = period
	months, days, rest, err := ingest.ParsePeriod(period)
	if err != nil {
		return err
	}
	loc, err := d.p.Location(site)
	if err != nil {
		return err
	}
	if loc == nil {
		loc = time.UTC
	}
	switch at := row.Stamp.At.In(loc); stamp {
	case "begin":
		row.Stamp.At = at.AddDate(0, months, days).Add(rest).UTC()
	case "day":
		row.Stamp.At = coldseam.DateOf(at).Add(1).In(loc).UTC()
	}
	row.Stamp.End = row.Stamp.At
	return nil
}

// add hands the row to the observations or to the forecast that it belongs to.
func (d *doc) add(row ingest.Row, chain []any, site string) error {
	if d.p.Kind != "forecast" {
		d.b.Add(row)
		return nil
	}
	f, err := d.m.at["issued"].at(chain, d.asked)
	if err != nil {
		return err
	}
	var issued time.Time
	if f.text != "" {
		st, err := d.times.ParseLayout(f.text, d.m.TimeLayout, site)
		if err != nil {
			return err
		}
		if issued = st.At; issued.Year() < 2 {
			d.b.Skip("forecast", ingest.CodeTime, "not issued")
			return nil
		}
	} else if d.m.at["issued"] != nil {
		d.b.Skip("forecast", ingest.CodeTime, "not issued")
		return nil
	}

	b, ok := d.issues[issued]
	if !ok {
		b = ingest.NewBuilder(d.p)
		d.issues[issued] = b
	}
	b.Add(row)
	return nil
}

func (d *doc) batch() (ingest.Batch, error) {
	out, err := d.b.Batch(ingest.FormatRecords)
	if err != nil {
		return out, err
	}
	for _, issued := range slices.SortedFunc(maps.Keys(d.issues), time.Time.Compare) {
		b, err := d.issues[issued].Batch(ingest.FormatRecords)
		if err != nil {
			return out, err
		}
		for _, s := range b.Series {
			if f := ingest.ForecastOf(s, issued); len(f.At) > 0 {
				out.Forecasts = append(out.Forecasts, f)
			}
		}
		out.Meta = append(out.Meta, b.Meta...)
		out.Skipped = append(out.Skipped, b.Skipped...)
	}
	return out, nil
}

// statistics are the words for one, lower case; "" leaves it to the profile.
var statistics = map[string]coldseam.Statistic{
	"": "", "instant": coldseam.Instant, "instantaneous": coldseam.Instant,
	"mean": coldseam.Mean, "average": coldseam.Mean,
	"min": coldseam.Min, "minimum": coldseam.Min, "max": coldseam.Max, "maximum": coldseam.Max,
	"sum": coldseam.Sum, "total": coldseam.Sum,
}

// ownNames lets a constant be one of our own words.
func ownNames(p *place) map[string]coldseam.Parameter {
	if p.path != nil || p.asked != "" {
		return nil
	}
	if own := coldseam.Parameter(p.constant); own.Unit() != "" {
		return map[string]coldseam.Parameter{p.constant: own}
	}
	return nil
}
