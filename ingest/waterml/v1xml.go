package waterml

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

func (d *v1) bounded(body []byte) *ingest.XML {
	x := ingest.NewXML(body, d.p)
	x.Bound(ingest.Bound{Each: valueBytes})
	return x
}

// readXML streams timeSeries elements.
func (d *v1) readXML(x *ingest.XML) error {
	known, root := false, ""

	for {
		t, err := x.Token()
		if errors.Is(err, io.EOF) {
			if !known {
				return fmt.Errorf("root element %q is no timeSeriesResponse: %w", root, coldseam.ErrInvalid)
			}
			return nil
		}

		if err != nil {
			return err
		}
		if text, ok := t.(xml.CharData); ok && !known && bytes.HasPrefix(bytes.TrimSpace(text), []byte("<")) {
			known = true // a SOAP answer may hold the document as text
			if err := d.readXML(d.bounded(bytes.TrimSpace(bytes.Clone(text)))); err != nil {
				return err
			}
		}
		s, ok := t.(xml.StartElement)
		if !ok {
			continue
		}
		if root == "" {
			root = s.Name.Local
		}

		switch s.Name.Local {
		case "timeSeriesResponse", "TimeSeriesResponse":
			known = true
		case "timeSeries":
			known = true
			rows := map[*ingest.Node][]v1Row{}
			n, err := x.Trunk(s, func(parent, kid *ingest.Node) bool {
				mine := parent.Local == "values" && kid.Local == "value"
				if mine {
					rows[parent] = append(rows[parent], xmlRow(kid))
				}
				return mine
			})
			if err != nil {
				return err
			}
			d.add(xmlSeries(n, rows))
		case "Fault", "ExceptionReport":
			n, err := x.Tree(s)
			if err != nil {
				return err
			}
			return fmt.Errorf("the service answered %s: %s: %w", s.Name.Local,
				clip(strings.Join(strings.Fields(n.Word("faultstring")+n.Word("Reason")), " ")), coldseam.ErrInvalid)
		}
	}
}

// pick is the first child of a local name.
func pick(n *ingest.Node, path ...string) *ingest.Node {
	for _, name := range path {
		k := n.Named(name)
		if len(k) == 0 {
			return nil
		}
		n = k[0]
	}
	return n
}

func xmlSeries(n *ingest.Node, rows map[*ingest.Node][]v1Row) v1Series {
	src, v := pick(n, "sourceInfo"), pick(n, "variable")
	s := v1Series{
		name:         n.Attr(otherSpace, "name"),
		variable:     v.Word("variableCode"),
		variableName: v.Word("variableName"),
		medium:       v.Word("sampleMedium"),
		noData:       v.Word("noDataValue") + v.Word("NoDataValue"),
		dataType:     v.Word("dataType"),
	}
	s.site = ingest.SiteMeta{Code: src.Word("siteCode"), Name: src.Word("siteName")}
	geo := pick(src, "geoLocation", "geogLocation")
	s.site.Lat, s.site.Lon = number(geo.Word("latitude")), number(geo.Word("longitude"))
	if z := pick(src, "timeZoneInfo"); z != nil {
		s.fixedZone = fixed(pick(z, "defaultTimeZone").Attr(otherSpace, "zoneOffset"),
			z.Attr(otherSpace, "siteUsesDaylightSavingsTime"))
	}

	unit := pick(v, "unit")
	s.unitCode, s.unitAbbr = unit.Word("unitCode"), unit.Word("unitAbbreviation")
	if u := pick(v, "units"); u != nil { // version 1.0
		s.unitCode, s.unitAbbr = u.Attr(otherSpace, "unitsCode"), u.Attr(otherSpace, "unitsAbbreviation")
	}
	for _, o := range pick(v, "options").Named("option") {
		if s.statCode = o.Attr(otherSpace, "optionCode"); s.statCode == "" {
			s.statCode = o.Val()
		}
	}

	if ts := pick(v, "timeScale"); ts != nil {
		s.support, s.supportUnit = ts.Word("timeSupport"), pick(ts, "unit").Word("unitName")
	}
	for _, b := range n.Named("values") {
		s.blocks = append(s.blocks, v1Block{method: pick(b, "method").Attr(otherSpace, "methodID"), rows: rows[b]})
	}
	return s
}

func xmlRow(k *ingest.Node) v1Row {
	a := func(name string) string { return k.Attr(otherSpace, name) }
	r := v1Row{value: k.Val(), at: a("dateTime"), qualifiers: strings.Fields(a("qualifiers")), v1Rest: noRest}
	rest := v1Rest{
		utc:    a("dateTimeUTC"),
		offset: a("timeOffset"),
		censor: a("censorCode"),
		method: a("methodCode") + a("methodID"),
		sample: a("labSampleCode") + a("sampleID"),
	}
	if rest != *noRest {
		r.v1Rest = &rest
	}
	if isNil(k.Attrs) {
		r.value = ""
	}
	return r
}

// fixed is the zone of a site that keeps no daylight saving: then its offset
// holds all year. With daylight saving an offset alone is no zone.
func fixed(offset, dst string) *time.Location {
	t, err := time.Parse("-07:00", offset)
	if err != nil || dst != "false" {
		return nil
	}
	_, sec := t.Zone()
	return time.FixedZone("", sec)
}

func number(s string) float64 {
	v, err := ingest.ParseDecimal(s)
	if err != nil {
		return 0
	}
	return v
}
