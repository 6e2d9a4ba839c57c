package ogcfeatures

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"time"

	"example.org/coldseam/ingest"
)

// Large pages are the same feature over and over: only id, time, value and the
// stamp of the last change differ. So a feature that was read by the standard
// decoder becomes a template: its own bytes with holes where those four texts
// stand. A feature that equals a template byte for byte around the holes, and
// has plain text in them, is the same JSON with other texts, and needs no
// decoder. Everything else is read by the standard decoder, and any error by
// reading the whole page again without templates: this can make a page faster,
// but never different.
type template struct {
	parts [][]byte // literal bytes: before, between and behind the holes
	slots []slot
	line  *ingest.Line
	site  string
	stamp ingest.Precision
}

type slot byte

const (
	slotID slot = iota
	slotTime
	slotValue
	slotModified
)

const (
	fastFrom     = 16 << 10
	maxTemplates = 64 // series of a page that are remembered
	maxTemplate  = 4 << 10
	maxMisses    = 200 // features without a template after which the page is left to the decoder
)

var errNotPlain = errors.New("the page is not of the plain kind")

// fastFeatures reads the elements of a list from pos on and returns where it
// stopped: at an element, or at the end of the list.
func fastFeatures(body []byte, pos int, d *doc) (int, error) {
	var ts []*template
	hits, misses := 0, 0

	for {
		pos = space(body, pos)
		if pos >= len(body) || body[pos] != '{' {
			return 0, errNotPlain
		}
		end, ok := 0, false
		for i, t := range ts {
			if end, ok = t.take(body, pos, d); ok {
				if i > 0 {
					copy(ts[1:i+1], ts[:i])
					ts[0] = t
				}
				break
			}
		}

		if ok {
			hits++
			d.features++
		} else {
			if misses++; misses > maxMisses && hits < 4*misses {
				return pos, nil
			}
			var err error
			if end, ts, err = slowFeature(body, pos, d, ts); err != nil {
				return 0, err
			}
		}

		end = space(body, end)
		switch {
		case end >= len(body):
			return 0, errNotPlain
		case body[end] == ']':
			return end, nil
		case body[end] != ',':
			return 0, errNotPlain
		}

		pos = end + 1
	}
}

// slowFeature reads one element with the standard decoder.
func slowFeature(body []byte, pos int, d *doc, ts []*template) (int, []*template, error) {
	j := ingest.Pieces(bytes.NewReader(body[pos:]), maxFeature)
	var raw json.RawMessage
	if err := j.Decode(&raw); err != nil {
		return 0, ts, errNotPlain
	}
	f, err := decodeFeature(raw)
	if err != nil {
		return 0, ts, errNotPlain
	}
	d.add(f)
	if t := d.template(raw, f); t != nil {
		if len(ts) == maxTemplates {
			ts = ts[:maxTemplates-1]
		}
		ts = append([]*template{t}, ts...)
	}
	return pos + int(j.InputOffset()), ts, nil
}

func decodeFeature(raw []byte) (feature, error) {
	var f feature
	err := ingest.DecodePart(raw, &f)
	return f, err
}

func space(b []byte, i int) int {
	for i < len(b) && (b[i] == ' ' || b[i] == '\n' || b[i] == '\r' || b[i] == '\t') {
		i++
	}
	return i
}

// template of a feature that d.add has read as a long row; nil where there is
// anything out of the ordinary.
func (d *doc) template(raw []byte, f feature) *template {
	if len(raw) > maxTemplate || bytes.IndexByte(raw, '\\') >= 0 || d.kind(f) != kindLong ||
		d.m.has(f.Properties, fTimeOfDay) {
		return nil
	}
	r, site, _, err := d.row(f)
	if _, mapped := d.p.Fields["id"]; mapped || err != nil || r.Stamp.Ambiguous {
		return nil
	}

	if _, isText := f.Properties[d.source(f, fValue)].(string); !isText && d.source(f, fValue) != "" {
		return nil
	}
	t := &template{site: site, stamp: r.Stamp.Precision}
	want := []struct {
		name string
		hole slot
		text string
	}{{"id", slotID, f.id()}, {d.source(f, fTime), slotTime, ""}, {d.source(f, fValue), slotValue, ""},
		{d.source(f, fModified), slotModified, ""}}

	at := map[int]slot{}
	for _, w := range want {
		i, ok := textAt(raw, w.name)
		switch {
		case ok:
			at[i] = w.hole
		case w.hole == slotTime || bytes.Count(raw, []byte(`"`+w.name+`"`)) > 1:
			return nil // an id that changes elsewhere would never fit again
		}
	}

	t.cut(raw, at)
	t.line = d.rows.Line(r)
	return t
}

// source is the name of the field that has our meaning in this feature.
func (d *doc) source(f feature, ours string) string {
	for _, theirs := range d.m[ours] {
		if v, ok := f.Properties[theirs]; ok && v != nil {
			return theirs
		}
	}
	return ""
}

// textAt finds the text of a member that stands once in raw: the position
// behind its opening quote. In JSON without escapes a quoted name with a colon
// behind it is a member name and nothing else.
func textAt(raw []byte, name string) (int, bool) {
	key := []byte(`"` + name + `"`)
	if name == "" || bytes.Count(raw, key) != 1 {
		return 0, false
	}
	i := space(raw, bytes.Index(raw, key)+len(key))
	if i >= len(raw) || raw[i] != ':' {
		return 0, false
	}
	if i = space(raw, i+1); i >= len(raw) || raw[i] != '"' {
		return 0, false
	}
	return i + 1, true
}

// cut makes the literal parts around the texts at the given positions.
func (t *template) cut(raw []byte, at map[int]slot) {
	from := 0
	for i := range raw {
		h, ok := at[i]
		if !ok {
			continue
		}
		t.parts, t.slots = append(t.parts, raw[from:i]), append(t.slots, h)
		from = i + bytes.IndexByte(raw[i:], '"')
	}
	t.parts = append(t.parts, raw[from:])
}

// take reads the feature at pos if it fits the template, and adds its row.
func (t *template) take(body []byte, pos int, d *doc) (end int, ok bool) {
	var text [slotModified + 1][]byte
	for i, h := range t.slots {
		p := t.parts[i]
		if len(body)-pos < len(p) || string(body[pos:pos+len(p)]) != string(p) {
			return 0, false
		}
		pos += len(p)
		n := plainText(body[pos:])
		if n < 0 {
			return 0, false
		}
		text[h] = body[pos : pos+n]
		pos += n
	}

	p := t.parts[len(t.parts)-1]
	if len(body)-pos < len(p) || string(body[pos:pos+len(p)]) != string(p) {
		return 0, false
	}
	return pos + len(p), t.add(text, d)
}

// plainText is the length of a text up to its closing quote; -1 when it holds
// an escape, a control character or more than ASCII.
func plainText(b []byte) int {
	for i, c := range b {
		switch {
		case c == '"':
			return i
		case c < ' ' || c == '\\' || c >= 0x80 || i > 200:
			return -1
		}
	}
	return -1
}

// add adds the row of a feature; false leaves it to the decoder.
func (t *template) add(text [slotModified + 1][]byte, d *doc) bool {
	at, ok := t.time(text[slotTime], d)
	if !ok {
		return false
	}
	var mod time.Time
	if b := text[slotModified]; b != nil {
		sec, nsec, n := ingest.FastTime(b)
		if n != len(b) {
			return false
		}
		mod = time.Unix(sec, int64(nsec)).UTC()
	}

	if b := text[slotValue]; b != nil {
		v, n := ingest.FastDecimal(b)
		if n == 0 || n != len(b) {
			return false
		}
		t.line.Add(at, v)
	} else {
		t.line.Missing(at)
	}

	t.line.Modified(mod)
	return true
}

// time reads an instant, or a civil day as its end.
func (t *template) time(b []byte, d *doc) (time.Time, bool) {
	if sec, nsec, n := ingest.FastTime(b); n == len(b) && n > 0 {
		return time.Unix(sec, int64(nsec)).UTC(), t.stamp == ingest.ToInstant
	}
	st, err := d.times.Parse(string(b), t.site)
	if err != nil || st.Ambiguous || st.Precision != t.stamp {
		return time.Time{}, false
	}
	if st.Precision != ingest.ToInstant {
		return st.End.UTC(), true
	}
	return st.At.UTC(), true
}

// parseFast reads a page with templates; ok is false when that is not surely
// the same as reading it without.
func parseFast(body []byte, p ingest.Profile) (ingest.Batch, bool) {
	b, err := parse(body, p, true)
	return b, err == nil
}

// resume goes on with the standard decoder at pos, an element or the end of
// the list of features.
func resume(body []byte, pos int) (*json.Decoder, error) {
	j := ingest.Pieces(io.MultiReader(strings.NewReader(`{"features":[`), bytes.NewReader(body[pos:])), maxFeature)
	for range 3 {
		if _, err := j.Token(); err != nil {
			return nil, ingest.JSONError(err)
		}
	}
	return j, nil
}
