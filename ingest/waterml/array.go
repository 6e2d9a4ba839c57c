package waterml

import (
	"fmt"
	"strings"

	"example.org/coldseam/ingest"
)

// domainRange reads a MeasurementTimeseriesDomainRange: one list of times, one
// of values, and, where it has as many words, a list of quality words.
func (d *doc) domainRange(n *node) error {
	d.took()
	ts := &timeseries{d: d, o: d.top(), id: n.id()}
	ts.prepare()
	if ts.why != "" {
		return nil
	}
	times := strings.Fields(n.kid(gml, "domainSet").find(wmlDR, "timePositionList").valueText())
	list := n.kid(gml, "rangeSet").kid(gml, "QuantityList")
	values := strings.Fields(list.valueText())
	if len(times) != len(values) {
		d.b.Skip(d.describe(ts.id), fmt.Sprintf("%d times but %d values", len(times), len(values)))
		return nil
	}
	ts.def = metaOf(n.find(wml, "DefaultTVPMeasurementMetadata"))
	if u := unitCode(list.attr(otherSpace, "uom")); u != "" {
		ts.def.unit = u
	} else {
		ts.def.unit = n.kid(gml, "rangeType").find(swe, "uom").attr(otherSpace, "code")
	}
	quality := strings.Fields(n.find(gml, "CategoryList").valueText())
	for i, t := range times {
		m := ts.def
		if len(quality) == len(times) {
			m.quality = quality[i]
		}
		stamp, err := d.stamp(t, ts.site.site)
		if err != nil {
			ts.skipTime(err)
			continue
		}
		ts.add(stamp, values[i], m)
	}
	ts.flush()
	return nil
}

func (n *node) valueText() string {
	if n == nil {
		return ""
	}
	return n.text
}

// field is one column of a data array.
type field struct {
	name, kind, definition, unit string
	items                        map[string][]field // of a choice
}

// dataBlock reads the arrays of a DataRecord or DataArray.
func (d *doc) dataBlock(n *node) error {
	stations := map[string]string{}
	stationsOf(n, "", stations)
	var walk func(*node)
	walk = func(n *node) {
		if n.is(swe, "DataArray") {
			d.array(n, stations)
			return
		}
		for _, k := range n.kids {
			walk(k)
		}
	}
	walk(n)
	return nil
}

// stationsOf maps the id of each sensor record to the stationID of the record
// around it: that is how rows of a choice name their station.
func stationsOf(n *node, station string, out map[string]string) {
	if n.is(swe, "DataRecord") {
		for _, f := range n.kids {
			if f.is(swe, "field") && f.attr(otherSpace, "name") == "stationID" {
				station = codeOf(f.find(swe, "value").val())
			}
		}
		if id := n.attr(otherSpace, "id"); id != "" && station != "" {
			out[id] = station
		}
	}
	for _, k := range n.kids {
		stationsOf(k, station, out)
	}
}

// array reads one DataArray with text encoding.
func (d *doc) array(n *node, stations map[string]string) {
	what := "data array " + n.attr(otherSpace, "name") + n.id()
	fields := fieldsOf(n.kid(swe, "elementType").first())
	enc := n.kid(swe, "encoding").kid(swe, "TextEncoding")
	if enc == nil {
		d.b.Skip(what, "unsupported encoding of a data array")
		return
	}
	rows := blocks(n.kid(swe, "values").valueText(), enc.rawAttr("blockSeparator"))
	if c := n.kid(swe, "elementCount").find(swe, "value").val(); c != "" && c != fmt.Sprint(len(rows)) {
		d.b.Skip(what, fmt.Sprintf("declares %s rows, holds %d", clip(c), len(rows)))
	}
	if !hasTime(fields) {
		d.b.Skip(what, fmt.Sprintf("%d rows without a time column", len(rows)))
		return
	}
	for _, r := range rows {
		d.arrayRow(what, fields, split(r, enc.rawAttr("tokenSeparator")), enc.attr(otherSpace, "decimalSeparator"), stations)
	}
}

// rawAttr is an attribute with its white space, which is the whole content of
// many separators.
func (n *node) rawAttr(local string) string {
	for _, a := range n.attrs {
		if a.Name.Local == local {
			return a.Value
		}
	}
	return ""
}

// blocks splits rows. XML turns a line end of CR LF into LF, so a separator
// that holds one matches both; text around rows is white space.
func blocks(text, sep string) []string {
	sep = strings.ReplaceAll(sep, "\r\n", "\n")
	text = strings.ReplaceAll(text, "\r\n", "\n")
	if sep == "" {
		return nil
	}
	var out []string
	for _, r := range strings.Split(text, sep) {
		if r = strings.TrimSpace(r); r != "" {
			out = append(out, r)
		}
	}
	return out
}

func split(row, sep string) []string {
	if sep == "" {
		return []string{row}
	}
	if strings.TrimSpace(sep) == "" {
		return strings.Fields(row)
	}
	out := strings.Split(row, sep)
	for i := range out {
		out[i] = strings.TrimSpace(out[i])
	}
	return out
}

// fieldsOf flattens the components of an element type.
func fieldsOf(n *node) []field {
	if n == nil {
		return nil
	}
	if n.local != "DataRecord" {
		return []field{fieldOf("", n)}
	}
	var out []field
	for _, k := range n.kids {
		if k.is(swe, "field") && k.first() != nil {
			if c := k.first(); c.local == "DataRecord" {
				out = append(out, fieldsOf(c)...)
			} else {
				out = append(out, fieldOf(k.attr(otherSpace, "name"), c))
			}
		}
	}
	return out
}

func fieldOf(name string, c *node) field {
	f := field{name: name, kind: c.local, definition: c.attr(otherSpace, "definition")}
	u := c.kid(swe, "uom")
	if f.unit = u.attr(otherSpace, "code"); f.unit == "" {
		f.unit = unitCode(u.href())
	}
	if c.local == "DataChoice" {
		f.items = map[string][]field{}
		for _, k := range c.kids {
			if k.is(swe, "item") {
				f.items[k.attr(otherSpace, "name")] = fieldsOf(k.first())
			}
		}
	}
	return f
}

func (f field) isTime() bool {
	return f.kind == "Time" || f.kind == "Text" && strings.HasSuffix(strings.ToLower(f.definition), "time")
}

func hasTime(fs []field) bool {
	for _, f := range fs {
		if f.isTime() {
			return true
		}
	}
	return false
}

// arrayRow reads the tokens of one row. A choice spends one token on the name
// of the item, whose own fields follow, so rows vary in length.
func (d *doc) arrayRow(what string, fields []field, tokens []string, decimal string, stations map[string]string) {
	o := d.top()
	if o == nil {
		o = &observation{}
	}
	site := d.stationOf(o)
	var when string
	var flat []field
	rest := tokens
	for _, f := range fields {
		if len(rest) == 0 {
			break
		}
		tok := rest[0]
		rest = rest[1:]
		switch {
		case f.items != nil:
			item, ok := f.items[tok]
			if !ok {
				d.b.Skip(what, fmt.Sprintf("row names no item of the choice: %q", clip(tok)))
				return
			}
			if s := stations[tok]; s != "" {
				site = s
			}
			flat = append(flat, item...)
			if len(item) > len(rest) {
				d.b.Skip(what, "a row is too short for its item")
				return
			}
			d.arrayValues(what, o, site, when, item, rest[:len(item)], decimal, tok)
			rest = rest[len(item):]
		case f.isTime():
			when = tok
		default:
			d.arrayValues(what, o, site, when, []field{f}, []string{tok}, decimal, procedureOf(o.procedure))
		}
	}
	if len(rest) > 0 {
		d.b.Skip(what, "a row is longer than its fields")
	}
}

// arrayValues adds the quantities of a row.
func (d *doc) arrayValues(what string, o *observation, site, when string, fields []field, tokens []string, decimal, ref string) {
	for i, f := range fields {
		if f.kind != "Quantity" {
			continue
		}
		param, _, ok := d.propertyOf(refNode(f))
		switch {
		case !ok:
			d.b.Skip(what, fmt.Sprintf("property %q is not known", clip(f.name)))
			continue
		case site == "":
			d.b.Skip(what, "names no station: ask for one site, or name it in the profile")
			continue
		}
		stamp, err := d.stamp(when, site)
		if err != nil {
			if _, ok := d.badTime[what]; !ok {
				d.badTime[what] = cause(err)
			}
			d.b.Skip(what, d.badTime[what])
			continue
		}
		raw := tokens[i]
		if decimal != "" && decimal != "." {
			raw = strings.Replace(raw, decimal, ".", 1)
		}
		r := ingest.Row{Name: f.name, Stamp: stamp, Raw: raw, Unit: unitCode(f.unit), Approval: o.status}
		r.Key.Site, r.Key.Param, r.Key.SeriesRef = d.p.SiteID(site), param, ref
		d.target(o, site, stamp.At).Add(r)
	}
}

// refNode lets a field be looked up like a property: definition and name.
func refNode(f field) *node {
	return &node{attrs: xlinkAttrs(f.definition, f.name)}
}
