// Package ogcfeatures reads OGC API - Features GeoJSON: long rows (one value a
// feature, as the US water-data service sends them), wide rows (several
// parameters in one feature, as the Canadian hydrometric service does), series
// and site records, and field and channel measurements.
package ogcfeatures

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

type collection struct {
	Type  string
	Links []link
	Next  json.RawMessage
	// features of all pages together; text or absent in some services
	Matched any
	seen    map[string]bool
	one     feature // members of a document that is a single feature
	fast    bool    // take plain features by template
}

type feature struct {
	ID         json.RawMessage `json:"id"`
	Geometry   json.RawMessage `json:"geometry"` // present although documented as absent, or null
	Properties map[string]any  `json:"properties"`
}

type link struct {
	Rel  string `json:"rel"`
	Href string `json:"href"`
}

// Parse reads one page. Rows of unknown parameters or units are left out and
// named in Skipped; a body that is no FeatureCollection is ErrInvalid.
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
	return parse(body, p, false)
}

// parse reads a page, with templates or without.
func parse(body []byte, p ingest.Profile, fast bool) (ingest.Batch, error) {
	d := newDoc(p.WithDefaults())
	c := collection{seen: map[string]bool{}, fast: fast}
	if err := c.read(body, d); err != nil {
		return ingest.Batch{}, fmt.Errorf("features: %w", err)
	}

	switch {
	case c.Type == "Feature":
		d.add(c.one)
	case c.Type != "FeatureCollection":
		return ingest.Batch{}, fmt.Errorf("features: type %q, want FeatureCollection: %w", short(c.Type),
			coldseam.ErrInvalid)
	case !c.seen["features"]:
		return ingest.Batch{}, fmt.Errorf("features: a FeatureCollection without features: %w", coldseam.ErrInvalid)
	}

	out, err := d.batch()
	if err != nil {
		return ingest.Batch{}, err
	}
	out.Next, out.Records = c.next(), d.features
	if n, ok := c.Matched.(json.Number); ok {
		out.Matched, _ = strconv.Atoi(n.String())
	}
	return out, nil
}

// maxFeature is the greatest size of a feature, or of another member of the document
// [proposal]: the outline of a station's basin has some ten thousand bytes.
const maxFeature = 1 << 20

// read walks the members of the document; the features go to d one by one, as
// their type may come behind them.
func (c *collection) read(body []byte, d *doc) error {
	j, err := ingest.NewPieces(body, maxFeature)
	if err != nil {
		return err
	}
	if t, err := j.Token(); err != nil || t != json.Delim('{') {
		return fmt.Errorf("want an object: %w", coldseam.ErrInvalid)
	}

	for j.More() {
		k, err := j.Token()
		if err != nil {
			return ingest.JSONError(err)
		}

		key, _ := k.(string) // a member name is always text
		if c.seen[key] {
			return fmt.Errorf("member %q twice: %w", short(key), coldseam.ErrInvalid)
		}
		if j, err = c.member(j, body, key, d); err != nil {
			return err
		}
		c.seen[key] = true
	}

	if _, err := j.Token(); err != nil {
		return ingest.JSONError(err)
	}
	return ingest.EndJSON(j)
}

// member reads one member and returns the decoder to go on with.
func (c *collection) member(j *json.Decoder, body []byte, key string, d *doc) (*json.Decoder, error) {
	dst := map[string]any{
		"type": &c.Type, "links": &c.Links, "next": &c.Next,
		"numberMatched": &c.Matched, "id": &c.one.ID, "geometry": &c.one.Geometry, "properties": &c.one.Properties,
	}[key]
	if key == "features" {
		return c.features(j, body, d)
	}
	var raw json.RawMessage
	if err := j.Decode(&raw); err != nil {
		return j, ingest.JSONError(err)
	}
	if dst == nil {
		return j, nil
	}
	return j, ingest.DecodePart(raw, dst)
}

func (c *collection) features(j *json.Decoder, body []byte, d *doc) (*json.Decoder, error) {
	t, err := j.Token()
	if err != nil {
		return j, ingest.JSONError(err)
	}
	if t != json.Delim('[') {
		return j, fmt.Errorf("features is no list: %w", coldseam.ErrInvalid)
	}

	if c.fast {
		pos, err := fastFeatures(body, int(j.InputOffset()), d)
		if err != nil {
			return j, err
		}
		if j, err = resume(body, pos); err != nil {
			return j, err
		}
	}

	for j.More() {
		var raw json.RawMessage
		if err := j.Decode(&raw); err != nil {
			return j, ingest.JSONError(err)
		}
		f, err := decodeFeature(raw)
		if err != nil {
			return j, err
		}
		d.add(f)
	}

	if _, err := j.Token(); err != nil {
		return j, ingest.JSONError(err)
	}
	return j, nil
}

// next is the link with rel=next, else a next token in the body. The number of
// returned rows is not looked at: services leave it out or get it wrong; that of
// the rows of all pages is compared when the walk ends.
func (c collection) next() string {
	for _, l := range c.Links {
		if strings.EqualFold(l.Rel, "next") && l.Href != "" {
			return l.Href
		}
	}
	var s string
	if json.Unmarshal(c.Next, &s) == nil {
		return s
	}
	var n json.Number
	if len(c.Next) > 0 && json.Unmarshal(c.Next, &n) == nil {
		return n.String()
	}
	return ""
}

// point is the position of a Point geometry; GeoJSON puts longitude first.
func (f feature) point() (lat, lon float64, ok bool) {
	var g struct {
		Type        string    `json:"type"`
		Coordinates []float64 `json:"coordinates"`
	}
	if json.Unmarshal(f.Geometry, &g) != nil || g.Type != "Point" || len(g.Coordinates) < 2 {
		return 0, 0, false
	}
	lon, lat = g.Coordinates[0], g.Coordinates[1]
	return lat, lon, lat >= -90 && lat <= 90 && lon >= -180 && lon <= 180
}

func (f feature) id() string {
	var s string
	if json.Unmarshal(f.ID, &s) == nil {
		return s
	}
	return strings.TrimSpace(string(f.ID))
}

// text is a property as text: numbers keep their digits, null and the text
// "None" are empty.
func text(v any) string {
	switch x := v.(type) {
	case string:
		if x = strings.TrimSpace(x); x == "None" || x == "null" {
			return ""
		}
		return x
	case json.Number:
		return x.String()
	case bool:
		return fmt.Sprint(x)
	}
	return ""
}

// texts is a property that is null, one text or an array of texts.
func texts(v any) []string {
	if list, ok := v.([]any); ok {
		var out []string
		for _, x := range list {
			if s := text(x); s != "" {
				out = append(out, s)
			}
		}
		return out
	}
	if s := text(v); s != "" {
		return []string{s}
	}
	return nil
}

func short(s string) string {
	if len(s) > 40 {
		return strings.ToValidUTF8(s[:40], "")
	}
	return s
}
