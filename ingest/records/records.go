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
// In a record that is a list the header of the document, or the columns of the
// map, name the positions; in text the columns are members of the row, and the
// lines before it members of its block, one level above: ^$.ts_unitsymbol. In XML
// $ is the root element; an element is an object of its attributes, $['@unit'], and
// of a list for each name of its children, $.T[*].
//
// What a map does not say is not guessed: a value without a unit, a time without
// a zone, two nodes where one is wanted, a list in the place of a number are
// refused, and a document of which more than one value in a hundred is refused
// is refused as a whole.
package records

import (
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
	if m.DecimalMark == "," { // words for "no value" are written as values are
		for i, t := range p.MissingTokens {
			p.MissingTokens = slices.Replace(slices.Clone(p.MissingTokens), i, i+1, strings.Replace(t, ",", ".", 1))
		}
	}
	d := &doc{p: p, m: m, b: ingest.NewBuilder(p), issues: map[time.Time]*ingest.Builder{}, times: ingest.NewTimes(p)}
	d.asked = map[string]string{"{site}": p.RequestSite, "{parameter}": p.RequestParameter}

	var root any
	switch m.Kind {
	case "text":
		root, err = d.text(body)
	case "xml":
		root, err = elements(body, p)
	default:
		root, err = tree(body)
	}
	if err != nil {
		return ingest.Batch{}, err
	}

	b, err := d.read(root)
	if err == nil && b.Records == 0 && len(m.require) == 0 { // nothing says that it is a good answer
		if said := ingest.ServiceError(body); said != "" {
			return ingest.Batch{}, fmt.Errorf("an error of the service instead of data: %s: %w", said, coldseam.ErrInvalid)
		}
	}
	return b, err
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
		if slices.Contains([]string{"levels", "require", "next", "count"}, x[0]) {
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
	for i := range m.Values {
		if c := m.at[fmt.Sprintf("values[%d].value", i)]; c != nil && c.path == nil {
			return nil, fmt.Errorf("records.%s: want a path: %w", c.key, coldseam.ErrInvalid)
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
