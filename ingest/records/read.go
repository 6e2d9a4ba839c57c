package records

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

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
	first                   error // the first refusal
}

var errNoSite = errors.New("no site")

func (d *doc) read(root any) (ingest.Batch, error) {
	for _, c := range d.m.require {
		if len(c.nodes([]any{root})) == 0 {
			return ingest.Batch{}, fmt.Errorf("%s is not there: not the document that the map is made for: %w",
				c.path, coldseam.ErrInvalid)
		}
	}
	if err := d.walk([]any{root}); err != nil {
		return ingest.Batch{}, err
	}
	share := maxRefused
	if d.p.Kind == "forecast" { // the step that is lost may be the crest
		share = 0
	}
	if float64(d.refused) > share*float64(d.tried) {
		return ingest.Batch{}, fmt.Errorf("%d of %d values do not fit, the first: %s: %w", d.refused, d.tried,
			strings.TrimSuffix(d.first.Error(), ": "+coldseam.ErrInvalid.Error()), coldseam.ErrInvalid)
	}

	d.absent()
	out, err := d.batch()
	if err != nil {
		return out, err
	}
	next, err := d.m.at["next"].at([]any{root}, d.asked)
	if err != nil {
		return out, err
	}
	out.Next = next.text
	count, err := d.m.at["count"].at([]any{root}, d.asked)
	if err != nil {
		return out, err
	}
	if count.text != "" {
		if out.Matched, err = strconv.Atoi(count.text); err != nil {
			return out, fmt.Errorf("records.count %q is no whole number: %w", clip(count.text), coldseam.ErrInvalid)
		}
	}
	out.Records = d.records
	out.Notes, out.FloodLevels = d.notes, d.limits
	return out, nil
}

// absent tells of the places at which nothing stood in any record: a field that
// the service renamed, or a slip in the map.
func (d *doc) absent() {
	if d.records == 0 {
		return
	}
	for i := range d.m.Values {
		value := d.m.at[fmt.Sprintf("values[%d].value", i)]
		if !value.seen {
			d.b.Skip(value.key, ingest.CodeEncoding, fmt.Sprintf("%s stands in none of %d records", value.path, d.records))
			continue
		}
		for _, name := range []string{"qualifier", "approval", "period", "series"} {
			if p := d.m.at[fmt.Sprintf("values[%d].%s", i, name)]; p != nil && p.path != nil && !p.seen {
				d.notes = append(d.notes, fmt.Sprintf("%s: %s stands in none of %d records", p.key, p.path, d.records))
			}
		}
	}
}

// walk goes down the levels and reads each record at the last.
func (d *doc) walk(chain []any) error {
	depth := len(chain) - 1
	if depth == len(d.m.levels) {
		for _, rec := range d.turns(chain[depth]) {
			d.records++
			if err := d.record(append(slices.Clip(chain[:depth]), rec)); err != nil {
				return err
			}
		}
		return nil
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

// turns are the records of one node: itself, or those of one list in which the
// columns take turns.
func (d *doc) turns(node any) []any {
	list, ok := node.([]any)
	n := len(d.m.Columns)
	if !ok || n == 0 || len(list)%n != 0 {
		return []any{node}
	}
	for _, x := range list {
		switch x.(type) {
		case []any, map[string]any:
			return []any{node}
		}
	}
	var out []any
	for part := range slices.Chunk(list, n) {
		out = append(out, part)
	}
	return out
}

// record reads the values of one record.
func (d *doc) record(chain []any) error {
	if list, ok := chain[len(chain)-1].([]any); ok && (d.m.at["header"] != nil || len(d.m.Columns) > 0) {
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

// named makes an object of a list whose positions the columns of the map name, or
// the header of the document: a list, or one text with commas.
func (d *doc) named(list, chain []any) (map[string]any, error) {
	names := d.m.Columns
	if len(names) == 0 {
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
	}
	if len(names) != len(list) {
		return nil, ingest.Because(ingest.CodeRow, fmt.Errorf("%d positions, the header names %d", len(list), len(names)))
	}
	names, err := numbered(names)
	if err != nil {
		return nil, err
	}
	out := make(map[string]any, len(list))
	for i, n := range names {
		out[n] = list[i]
	}
	return out, nil
}

// numbered are the names of columns, trimmed; those that stand more than once get
// a number each, so that none is taken for another: "Grade (1)", "Grade (2)". A
// column that bears such a name already is refused.
func numbered(names []string) (out []string, err error) {
	count := map[string]int{}
	out = make([]string, len(names))
	for i, n := range names {
		out[i] = strings.TrimSpace(n)
		count[out[i]]++
	}
	turn := map[string]int{}
	for i, n := range out {
		if count[n] > 1 {
			turn[n]++
			if out[i] = fmt.Sprintf("%s (%d)", n, turn[n]); count[out[i]] > 0 {
				err = fmt.Errorf("column %q stands beside %d columns %q, of which one is numbered so: %w", out[i],
					count[n], n, coldseam.ErrInvalid)
			}
		}
	}
	return out, err
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

	site := get("site")
	if d.m.at[key+"site"] == nil {
		f, ferr := d.m.at["site"].at(chain, d.asked)
		if site = f.text; err == nil {
			err = ferr
		}
	}
	code, when, unit := get("parameter"), get("time"), get("unit")
	word, period, series := get("statistic"), get("period"), get("series")
	approval, scale := get("approval"), get("scale")
	if err != nil {
		return err
	}
	if !raw.is && when == "" {
		return nil // this record has no such value
	}
	qualifiers, err := d.m.at[key+"qualifier"].all(chain, d.asked)
	if err != nil {
		return err
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

	row := ingest.Row{Name: code, Unit: unit, Approval: approval, Qualifiers: qualifiers}
	row.Key = coldseam.SeriesKey{Site: d.p.SiteID(site), Param: param, Period: period, SeriesRef: series}
	if row.Key.Stat, ok = statistics[strings.ToLower(word)]; !ok {
		return ingest.Because(ingest.CodeStatistic, fmt.Errorf("statistic %q is not known", clip(word)))
	}
	missing := false
	if row.Raw, missing, err = d.number(raw, d.m.at[key+"scale"] != nil, scale); err != nil {
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

// number is the text of a value with a point, times its scale.
func (d *doc) number(raw found, scaled bool, scale string) (text string, missing bool, err error) {
	text = raw.text
	if d.m.DecimalMark == "," && !raw.number {
		if strings.Contains(text, ".") && !slices.Contains(d.p.MissingTokens, text) {
			return "", false, ingest.Because(ingest.CodeValue,
				fmt.Errorf("value %q has a point, the decimal mark is a comma", clip(text)))
		}
		text = strings.Replace(text, ",", ".", 1)
	}
	v, missing, _, err := d.p.ValueOrMark(text)
	if err != nil || missing || !scaled {
		return text, missing, err
	}
	factor, err := ingest.ParseDecimal(scale)
	if err != nil {
		return "", false, ingest.Because(ingest.CodeUnit, fmt.Errorf("scale %q: want a decimal", clip(scale)))
	}
	return strconv.FormatFloat(v*factor, 'g', -1, 64), false, nil
}
