// Package waterml reads WaterML 2.0 Part 1 in any envelope (bare series,
// Collection, SOS 2.0 answer, SOAP, WFS feature collection), Observations and
// Measurements with scalar results and SWE data arrays, and, for history files
// only, WaterML 1.0 and 1.1 (see ParseV1).
package waterml

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// Parse reads one WaterML 2.0 or O&M document. Series whose property, station,
// unit or zone is not known are left out and named in Skipped, as are
// categorical series and result encodings that are not read. An exception
// report, a SOAP fault, a capabilities document or foreign XML is ErrInvalid;
// a valid answer without data is an empty Batch.
//
// A series that a simulation made, or all of whose values lie after its result
// time, is a forecast issued at that time; Kind of the profile overrules this.
func Parse(r io.Reader, p ingest.Profile) (ingest.Batch, error) {
	body, err := ingest.ReadBody(r, p)
	if err != nil {
		return ingest.Batch{}, err
	}
	if len(body) >= fastFrom {
		if b, ok := parseFast(body, p); ok {
			return b, nil
		}
	}
	return parseStrict(body, p)
}

// fastFrom is the size from which the scanner is worth its window.
const fastFrom = 32 << 10

// parseStrict reads a document token by token.
func parseStrict(body []byte, p ingest.Profile) (ingest.Batch, error) {
	d := newDoc(p)
	if refers(body) {
		if err := d.learn(ingest.NewXML(body, p)); err != nil {
			return ingest.Batch{}, fmt.Errorf("waterml: %w", err)
		}
	}
	if err := d.read(ingest.NewXML(body, p)); err != nil {
		return ingest.Batch{}, fmt.Errorf("waterml: %w", err)
	}
	return d.batch()
}

// parseFast reads a document with its plain points taken out by the scanner;
// ok is false when that is not surely the same as reading it strictly, errors
// included.
func parseFast(body []byte, p ingest.Profile) (ingest.Batch, bool) {
	d := newDoc(p)
	if refers(body) {
		if err := d.learn(ingest.NewXMLReader(newScanner(bytes.NewReader(body)))); err != nil {
			return ingest.Batch{}, false
		}
	}
	d.scan = newScanner(bytes.NewReader(body))
	if err := d.read(ingest.NewXMLReader(d.scan)); err != nil || !d.scan.sound() {
		return ingest.Batch{}, false
	}
	b, err := d.batch()
	return b, err == nil
}

// refers reports whether the document refers to parts of itself.
func refers(body []byte) bool {
	return bytes.Contains(body, []byte(`="#`)) || bytes.Contains(body, []byte(`='#`))
}

// doc gathers one document.
type doc struct {
	p         ingest.Profile
	b         *ingest.Builder
	forecasts map[time.Time]*ingest.Builder
	times     *ingest.Times
	features  map[string]*ingest.Node // by gml:id
	instants  map[string]*ingest.Node
	sites     map[string]ingest.SiteMeta
	links     map[string]string // station -> the link that named it
	ambiguous map[string]bool   // stations that two links name
	badTime   map[string]error  // series -> first refusal
	stack     []*observation
	rows      []ingest.Row // of the array being read
	scan      *scanner     // nil when every token is read
	st        *streaming
	known     bool // an element of the format was seen
	root      string
}

func newDoc(p ingest.Profile) *doc {
	p = p.WithDefaults()
	p.Qualifiers = withDefaults(p.Qualifiers, defaultQualifiers)
	p.Approval = withDefaults(p.Approval, defaultApproval)
	return &doc{
		p:         p,
		b:         ingest.NewBuilder(p),
		forecasts: map[time.Time]*ingest.Builder{},
		times:     ingest.NewTimes(p),
		features:  map[string]*ingest.Node{},
		instants:  map[string]*ingest.Node{},
		sites:     map[string]ingest.SiteMeta{},
		links:     map[string]string{},
		ambiguous: map[string]bool{},
		badTime:   map[string]error{},
	}
}

// The quality words of WaterML 2.0 [seen: good, bad and suspect in the OGC's
// example documents; unchecked, poor and estimate from memory of the
// standard], and the one-letter approval codes of the US documents [seen].
var (
	defaultQualifiers = map[string]string{"good": "ok", "unchecked": "ok", "poor": "warn", "bad": "bad",
		"missing": "missing", "estimate": "estimated"}
	defaultApproval = map[string]string{"P": "provisional", "A": "approved"}
)

func withDefaults(m, def map[string]string) map[string]string {
	out := maps.Clone(def)
	for k, v := range m {
		for d := range def {
			if strings.EqualFold(d, k) {
				delete(out, d)
			}
		}
		out[k] = v
	}
	return out
}

// learn collects the features and instants that the document refers to by
// #id, which may come after the reference. Only documents with such references
// are read twice.
func (d *doc) learn(x *ingest.XML) error {
	for {
		t, err := x.Token()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}

		s, ok := t.(xml.StartElement)
		if !ok || ingest.Attr(s.Attr, gml, "id") == "" {
			continue
		}
		id := ingest.Attr(s.Attr, gml, "id")
		switch {
		case isFeature(s.Name.Local):
			if d.features[id], err = x.Tree(s); err != nil {
				return err
			}
			d.site(d.features[id])
		case s.Name.Local == "TimeInstant" || s.Name.Local == "TimePeriod":
			if d.instants[id], err = x.Tree(s); err != nil {
				return err
			}
		}
	}
}

func isFeature(local string) bool {
	return local == "MonitoringPoint" || strings.HasPrefix(local, "SF_") || local == "SamplingPoint"
}

// read is the token loop.
func (d *doc) read(x *ingest.XML) error {
	for {
		t, err := x.Token()
		if errors.Is(err, io.EOF) {
			return d.finish()
		}
		if err != nil {
			return err
		}

		switch t := t.(type) {
		case xml.StartElement:
			if err := d.open(x, t); err != nil {
				return err
			}
		case xml.EndElement:
			d.close(x.Depth())
		case xml.CharData:
			if o := d.top(); o != nil && o.resultDepth == x.Depth() && o.resultDepth > 0 {
				o.resultText = append(o.resultText, t...)
			}
		}
	}
}

func (d *doc) finish() error {
	if !d.known {
		return fmt.Errorf("root element %q holds neither series nor observations: %w", d.root, coldseam.ErrInvalid)
	}
	return nil
}

func (d *doc) top() *observation {
	if len(d.stack) == 0 {
		return nil
	}
	return d.stack[len(d.stack)-1]
}

// open handles a start tag.
func (d *doc) open(x *ingest.XML, s xml.StartElement) error {
	sp, local := ingest.SpaceOf(s.Name.Space), s.Name.Local
	if d.root == "" {
		d.root = local
	}

	switch {
	case local == "ExceptionReport" || local == "ServiceExceptionReport" || local == "Fault" && sp == soap:
		return d.exception(x, s)
	case local == "Capabilities":
		return fmt.Errorf("a capabilities document holds no data: %w", coldseam.ErrInvalid)
	case sp == wml && (local == "MeasurementTimeseries" || local == "Timeseries"):
		d.known = true
		return d.series(x, s)
	case sp == wmlDR && local == "MeasurementTimeseriesDomainRange":
		d.known = true
		return d.block(x, s, d.domainRange)
	case local == "CategoricalTimeseries" || local == "CategoricalTimeseriesDomainRange":
		d.known = true
		d.took()
		d.b.Skip(d.describe(ingest.Attr(s.Attr, gml, "id")), ingest.CodeEncoding, "categorical values are not read")
		return x.Skip()
	case sp == swe && (local == "DataArray" || local == "DataRecord"):
		d.known = true
		d.took()
		return d.block(x, s, d.dataBlock)
	case isFeature(local):
		d.known = true
		return d.tree(x, s, func(n *ingest.Node) error { d.site(n); return nil })
	case strings.HasSuffix(local, "Observation") && local != "GetObservation" && len(d.stack) < 8:
		d.known = true
		d.stack = append(d.stack, &observation{depth: x.Depth(), id: ingest.Attr(s.Attr, gml, "id")})
		return nil
	}

	if envelopes[local] {
		d.known = true
	}
	if o := d.top(); o != nil {
		return d.head(x, s, o)
	}
	return nil
}

// envelopes are the wrappers that may be empty: then the answer has no data,
// which is no error.
var envelopes = map[string]bool{
	"Collection": true, "GetObservationResponse": true, "GetFeatureOfInterestResponse": true, "FeatureCollection": true,
	"ObservationCollection": true,
}

// tree reads the element and hands it over.
func (d *doc) tree(x *ingest.XML, s xml.StartElement, use func(*ingest.Node) error) error {
	n, err := x.Tree(s)
	if err != nil {
		return err
	}
	return use(n)
}

// block is tree for an element that holds values: under Stream they leave at
// once.
func (d *doc) block(x *ingest.XML, s xml.StartElement, use func(*ingest.Node) error) error {
	if err := d.tree(x, s, use); err != nil || d.st == nil {
		return err
	}
	return d.give()
}

// exception turns the server's own words into the error.
func (d *doc) exception(x *ingest.XML, s xml.StartElement) error {
	n, err := x.Tree(s)
	if err != nil {
		return err
	}

	code, words := "", []string{}
	var walk func(*ingest.Node)
	walk = func(n *ingest.Node) {
		if c := n.Attr(otherSpace, "exceptionCode") + n.Attr(otherSpace, "code"); c != "" && code == "" {
			code = c
		}
		if t := strings.Join(strings.Fields(n.Text), " "); t != "" {
			words = append(words, t)
		}
		for _, k := range n.Kids {
			walk(k)
		}
	}
	walk(n)

	text := strings.Join(words, " ")
	if len(text) > 200 {
		text = strings.ToValidUTF8(text[:200], "") + "..."
	}
	return fmt.Errorf("the service answered %s %s: %s: %w", s.Name.Local, code, text, coldseam.ErrInvalid)
}

// close pops observations whose end tag has been read and takes scalar
// results.
func (d *doc) close(depth int) {
	o := d.top()
	if o == nil {
		return
	}
	if o.resultDepth > 0 && depth < o.resultDepth {
		d.endResult(o)
		o.resultDepth = 0
	}
	if depth < o.depth {
		d.stack = d.stack[:len(d.stack)-1]
	}
}

// batch joins observations and forecasts.
func (d *doc) batch() (ingest.Batch, error) {
	out, err := d.b.Batch(ingest.FormatWaterML2)
	if err != nil {
		return out, err
	}
	var issues []time.Time
	for t := range d.forecasts {
		issues = append(issues, t)
	}
	sort.Slice(issues, func(i, j int) bool { return issues[i].Before(issues[j]) })

	for _, t := range issues {
		f, err := d.forecasts[t].Batch(ingest.FormatWaterML2)
		if err != nil {
			return out, err
		}
		for _, s := range f.Series {
			out.Forecasts = append(out.Forecasts, ingest.ForecastOf(s, t))
		}
		out.Meta = append(out.Meta, f.Meta...)
		out.Skipped = append(out.Skipped, f.Skipped...)
	}

	for _, s := range d.sites {
		out.Sites = append(out.Sites, s)
	}
	d.dropAmbiguous(&out)
	sort.Slice(out.Sites, func(i, j int) bool { return out.Sites[i].ID < out.Sites[j].ID })
	return out, nil
}

// dropAmbiguous leaves out the stations whose name two links share: nothing tells
// the one from the other.
func (d *doc) dropAmbiguous(b *ingest.Batch) {
	for code := range d.ambiguous {
		site, n := d.p.SiteID(code), b.Rows()
		b.Series = slices.DeleteFunc(b.Series, func(s coldseam.Series) bool { return s.Site == site })
		b.Forecasts = slices.DeleteFunc(b.Forecasts, func(f coldseam.Forecast) bool { return f.Site == site })
		b.Meta = slices.DeleteFunc(b.Meta, func(m ingest.SeriesMeta) bool { return m.Key.Site == site })
		if n -= b.Rows(); n > 0 {
			b.Skipped = append(b.Skipped, ingest.Skipped{What: string(site), Code: ingest.CodeStation,
				Why: "two stations of the document have this name, told apart by their links alone", N: n})
		}
	}
}
