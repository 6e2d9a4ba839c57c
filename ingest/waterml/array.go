package waterml

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"example.org/coldseam/ingest"
)

// domainRange reads a MeasurementTimeseriesDomainRange: one list of times, one
// of values, and, where it has as many words, a list of quality words.
func (d *doc) domainRange(n *ingest.Node) error {
	d.took()
	ts := &timeseries{d: d, o: d.top(), id: id(n)}
	ts.prepare()
	if ts.why != nil {
		return nil
	}
	times := strings.Fields(valueText(n.Kid(gml, "domainSet").Find(wmlDR, "timePositionList")))
	list := n.Kid(gml, "rangeSet").Kid(gml, "QuantityList")
	values := strings.Fields(valueText(list))
	if len(times) != len(values) {
		d.b.Skip(d.describe(ts.id), ingest.CodeRow, fmt.Sprintf("%d times but %d values", len(times), len(values)))
		return nil
	}

	ts.def = metaOf(n.Find(wml, "DefaultTVPMeasurementMetadata"))
	if u := unitCode(list.Attr(otherSpace, "uom")); u != "" {
		ts.def.unit = u
	} else {
		ts.def.unit = n.Kid(gml, "rangeType").Find(swe, "uom").Attr(otherSpace, "code")
	}

	quality := strings.Fields(valueText(n.Find(gml, "CategoryList")))
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

func valueText(n *ingest.Node) string {
	if n == nil {
		return ""
	}
	return n.Text
}

// field is one column of a data array.
type field struct {
	name, kind, definition, unit string
	items                        map[string][]field // of a choice
}

// dataBlock reads the arrays of a DataRecord or DataArray.
func (d *doc) dataBlock(n *ingest.Node) error {
	stations, arrays := map[string]string{}, 0
	stationsOf(n, "", stations)
	var walk func(*ingest.Node)
	walk = func(n *ingest.Node) {
		if n.Is(swe, "DataArray") {
			arrays++
			d.array(n, stations)
			return
		}
		for _, k := range n.Kids {
			walk(k)
		}
	}
	walk(n)
	if arrays == 0 {
		d.b.Skip(d.describe(id(n)), ingest.CodeEncoding, "a data record without rows is not read")
	}
	return nil
}

// stationsOf maps the id of each sensor record to the stationID of the record
// around it: that is how rows of a choice name their station.
func stationsOf(n *ingest.Node, station string, out map[string]string) {
	if n.Is(swe, "DataRecord") {
		for _, f := range n.Kids {
			if f.Is(swe, "field") && f.Attr(otherSpace, "name") == "stationID" {
				station = codeOf(f.Find(swe, "value").Val())
			}
		}
		if id := n.Attr(otherSpace, "id"); id != "" && station != "" {
			out[id] = station
		}
	}
	for _, k := range n.Kids {
		stationsOf(k, station, out)
	}
}

// array reads one DataArray with text encoding.
func (d *doc) array(n *ingest.Node, stations map[string]string) {
	what := "data array " + n.Attr(otherSpace, "name") + id(n)
	fields := fieldsOf(n.Kid(swe, "elementType").First())
	enc := n.Kid(swe, "encoding").Kid(swe, "TextEncoding")
	if enc == nil {
		d.b.Skip(what, ingest.CodeEncoding, "unsupported encoding of a data array")
		return
	}

	rows := blocks(valueText(n.Kid(swe, "values")), rawAttr(enc, "blockSeparator"))
	if c := n.Kid(swe, "elementCount").Find(swe, "value").Val(); c != "" && c != fmt.Sprint(len(rows)) {
		d.b.Skip(what, ingest.CodeRow, fmt.Sprintf("declares %s rows, holds %d", clip(c), len(rows)))
	}
	if !hasTime(fields) {
		d.b.Skip(what, ingest.CodeTime, fmt.Sprintf("%d rows without a time column", len(rows)))
		return
	}

	for _, r := range rows {
		d.arrayRow(what, fields, split(r, rawAttr(enc, "tokenSeparator")), enc.Attr(otherSpace, "decimalSeparator"),
			stations)
	}
	d.placeRows()
}

// placeRows adds the rows of an array, all to the observations or all to one
// forecast: its earliest row decides, as for a series.
func (d *doc) placeRows() {
	rows := d.rows
	d.rows = nil
	if len(rows) == 0 {
		return
	}
	first := slices.MinFunc(rows, func(a, b ingest.Row) int { return a.Stamp.At.Compare(b.Stamp.At) })
	o := d.top()
	if o == nil {
		o = &observation{}
	}
	_, site, _ := strings.Cut(string(first.Key.Site), ":")
	b := d.target(o, site, first.Stamp.At)
	for _, r := range rows {
		b.Add(r)
	}
}

// rawAttr is an attribute with its white space, which is the whole content of
// many separators.
func rawAttr(n *ingest.Node, local string) string {
	for _, a := range n.Attrs {
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
func fieldsOf(n *ingest.Node) []field {
	if n == nil {
		return nil
	}
	if n.Local != "DataRecord" {
		return []field{fieldOf("", n)}
	}
	var out []field
	for _, k := range n.Kids {
		if k.Is(swe, "field") && k.First() != nil {
			if c := k.First(); c.Local == "DataRecord" {
				out = append(out, fieldsOf(c)...)
			} else {
				out = append(out, fieldOf(k.Attr(otherSpace, "name"), c))
			}
		}
	}
	return out
}

func fieldOf(name string, c *ingest.Node) field {
	f := field{name: name, kind: c.Local, definition: c.Attr(otherSpace, "definition")}
	u := c.Kid(swe, "uom")
	if f.unit = u.Attr(otherSpace, "code"); f.unit == "" {
		f.unit = unitCode(href(u))
	}
	if c.Local == "DataChoice" {
		f.items = map[string][]field{}
		for _, k := range c.Kids {
			if k.Is(swe, "item") {
				f.items[k.Attr(otherSpace, "name")] = fieldsOf(k.First())
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

// cell is one quantity of a row.
type cell struct {
	field
	token, site, ref string
}

// arrayRow reads the tokens of one row. A choice spends one token on the name
// of the item, whose own fields follow, so rows vary in length. A row of another
// length than its fields holds nothing that can be believed: a comma inside a
// number makes two of one.
func (d *doc) arrayRow(what string, fields []field, tokens []string, decimal string, stations map[string]string) {
	o := d.top()
	if o == nil {
		o = &observation{}
	}
	site, when, ref := d.stationOf(o), "", procedureOf(o.procedure)
	var cells []cell

	for i := 0; i < len(fields); i++ {
		f := fields[i]
		if len(tokens) == 0 {
			d.b.Skip(what, ingest.CodeRow, "a row is shorter than its fields")
			return
		}
		tok := tokens[0]
		tokens = tokens[1:]

		switch {
		case f.items != nil:
			item, ok := f.items[tok]
			if !ok {
				d.b.Skip(what, ingest.CodeRow, fmt.Sprintf("row names no item of the choice: %q", clip(tok)))
				return
			}
			site, ref = cmp.Or(stations[tok], site), tok
			fields, i = slices.Concat(item, fields[i+1:]), -1
		case f.isTime():
			when = tok
		case f.kind == "Quantity":
			cells = append(cells, cell{f, tok, site, ref})
		}
	}

	if len(tokens) > 0 {
		d.b.Skip(what, ingest.CodeRow, "a row is longer than its fields")
		return
	}
	for _, c := range cells {
		d.cell(what, o, c, when, decimal)
	}
}

// cell adds one quantity of a row.
func (d *doc) cell(what string, o *observation, c cell, when, decimal string) {
	param, _, ok := d.propertyOf(refNode(c.field))
	switch {
	case !ok:
		d.b.Skip(what, ingest.CodeParameter, unknownProperty(c.name).Error())
		return
	case c.site == "":
		d.b.Skip(what, ingest.CodeStation, errNoStation.Error())
		return
	}

	stamp, err := d.stamp(when, c.site)
	if err != nil {
		if _, ok := d.badTime[what]; !ok {
			d.badTime[what] = err
		}
		d.b.Skip(what, ingest.CodeTime, cause(d.badTime[what]))
		return
	}

	raw := c.token
	if decimal != "" && decimal != "." {
		if strings.Contains(raw, ".") {
			d.b.Skip(what, ingest.CodeValue, fmt.Sprintf("value %q has a point, the decimal mark is %q", clip(raw), decimal))
			return
		}
		raw = strings.Replace(raw, decimal, ".", 1)
	}
	r := ingest.Row{Name: c.name, Stamp: stamp, Raw: raw, Unit: unitCode(c.unit), Approval: o.status}
	r.Key.Site, r.Key.Param, r.Key.SeriesRef = d.p.SiteID(c.site), param, c.ref
	d.rows = append(d.rows, r)
}

// refNode lets a field be looked up like a property: definition and name.
func refNode(f field) *ingest.Node {
	return &ingest.Node{Attrs: xlinkAttrs(f.definition, f.name)}
}
