package ingest

import (
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"sort"
	"strings"
)

// Schema is the shape of a document: path of a field -> its types. Array steps
// are written [], so the shape does not depend on the number of rows. Paths of
// XML are local names; @ marks an attribute.
type Schema map[string]string

// Shapes are taken from the head of a document: rows repeat.
const (
	schemaTokens = 20000
	schemaPaths  = 400
)

// cutMark stands in the shape of a document that is longer than its head: what
// follows the rows was not looked at, and is neither new nor gone.
const cutMark = "(cut)"

// SchemaOf reads the shape of a body, nil when it is neither JSON nor XML.
func SchemaOf(body []byte) Schema {
	s := Schema{}
	switch Sniff(body) {
	case ShapeJSON:
		s.json(trimBOM(body))
	case ShapeXML:
		s.xml(trimBOM(body))
	default:
		return nil
	}
	return s
}

func (s Schema) add(path, typ string) {
	old, ok := s[path]
	switch {
	case !ok && len(s) >= schemaPaths:
	case !ok:
		s[path] = typ
	case !contains(strings.Split(old, "|"), typ):
		all := append(strings.Split(old, "|"), typ)
		sort.Strings(all)
		s[path] = strings.Join(all, "|")
	}
}

// json walks tokens; it stops at the first error, the parser names those.
func (s Schema) json(body []byte) {
	d := json.NewDecoder(bytes.NewReader(body))
	type level struct {
		path  string
		array bool
		key   string
		isKey bool
	}
	stack := []level{{}}

	for range schemaTokens {
		t, err := d.Token()
		if err != nil {
			return
		}

		top := &stack[len(stack)-1]
		if top.isKey {
			if k, ok := t.(string); ok {
				top.key, top.isKey = clip(k), false
				continue
			}
		}

		path := top.path
		if top.array {
			path += "[]"
		} else if top.key != "" {
			path = strings.TrimPrefix(path+"."+top.key, ".")
		}

		if d, ok := t.(json.Delim); ok {
			switch d {
			case '{', '[':
				if len(stack) > MaxXMLDepth {
					return
				}
				s.add(path, map[json.Delim]string{'{': "object", '[': "list"}[d])
				stack = append(stack, level{path: path, array: d == '[', isKey: d == '{'})
			default:
				stack = stack[:len(stack)-1]
				if up := &stack[len(stack)-1]; !up.array && len(stack) > 1 {
					up.isKey = true
				}
			}

			continue
		}

		s.add(path, jsonType(t))
		if !top.array {
			top.isKey = true
		}
	}

	s[cutMark] = "true"
}

func jsonType(t json.Token) string {
	switch t.(type) {
	case string:
		return "text"
	case bool:
		return "bool"
	case nil:
		return "null"
	}
	return "number"
}

func (s Schema) xml(body []byte) {
	d := xml.NewDecoder(bytes.NewReader(body))
	d.Strict = false
	var path []string

	for range schemaTokens {
		t, err := d.Token()
		if err != nil {
			return
		}

		switch e := t.(type) {
		case xml.StartElement:
			if len(path) >= MaxXMLDepth {
				return
			}
			path = append(path, clip(e.Name.Local))
			p := strings.Join(path, "/")
			s.add(p, "element")
			for _, a := range e.Attr {
				if a.Name.Space != "xmlns" && a.Name.Local != "xmlns" {
					s.add(p+"/@"+clip(a.Name.Local), "text")
				}
			}
		case xml.EndElement:
			if len(path) > 0 {
				path = path[:len(path)-1]
			}
		}
	}

	s[cutMark] = "true"
}

// unseen reports whether a path may lie behind the head that was looked at: in
// the rows of a list every field has been seen.
func (s Schema) unseen(p string) bool {
	return p == cutMark || s[cutMark] != "" && !strings.Contains(p, "[]")
}

// String lists the paths, one a line, sorted.
func (s Schema) String() string {
	lines := make([]string, 0, len(s))
	for p, t := range s {
		lines = append(lines, strings.ReplaceAll(p, "\n", " ")+"\t"+t)
	}
	sort.Strings(lines)
	return strings.Join(lines, "\n")
}

// Pack is the form kept with a fetch: the fingerprint and the compressed
// paths, "schema=hash:base64". A shape that stays too long is the hash alone.
func (s Schema) Pack() string {
	if len(s) == 0 {
		return ""
	}
	var b bytes.Buffer
	w, err := flate.NewWriter(&b, flate.BestCompression)
	if err == nil {
		_, err = w.Write([]byte(s.String()))
		err = errors.Join(err, w.Close())
	}
	out := schemaMark + s.Fingerprint() + ":"
	if data := base64.RawStdEncoding.EncodeToString(b.Bytes()); err == nil && len(data) < maxPacked {
		out += data
	}
	return out
}

const (
	schemaMark = "schema="
	maxPacked  = 1900
)

// UnpackSchema reads what Pack wrote. The shape is nil when only its
// fingerprint was kept; both are empty for other text.
func UnpackSchema(attributes string) (fingerprint string, s Schema) {
	rest, ok := strings.CutPrefix(attributes, schemaMark)
	if !ok {
		return "", nil
	}
	fingerprint, data, _ := strings.Cut(rest, ":")
	raw, err := base64.RawStdEncoding.DecodeString(data)
	if err != nil || len(raw) == 0 {
		return fingerprint, nil
	}
	text, err := io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(raw)), 1<<20))
	if err != nil {
		return fingerprint, nil
	}
	return fingerprint, parseSchema(string(text))
}

// parseSchema reads what String wrote; lines of another form are left out.
func parseSchema(text string) Schema {
	s := Schema{}
	for _, l := range strings.Split(text, "\n") {
		if p, t, ok := strings.Cut(l, "\t"); ok {
			s[p] = t
		}
	}
	return s
}

// Fingerprint is a short hash of the shape.
func (s Schema) Fingerprint() string {
	h := sha256.Sum256([]byte(s.String()))
	return hex.EncodeToString(h[:6])
}

// Moved says in words what changed from old to s: a field that is gone, with
// the new names beside it, a field of another type, a new field. A field that
// is null in one of the two did not change its type. Fields below something
// that itself is absent or empty are not reported, nor links: a page has them
// when there is a next one.
func (s Schema) Moved(old Schema) []string {
	fresh := map[string][]string{}
	for p := range s {
		if _, ok := old[p]; !ok && !isLink(p) && !old.unseen(p) {
			fresh[parent(p)] = append(fresh[parent(p)], p)
		}
	}
	var out []string
	named := map[string]bool{}

	for p, was := range old {
		now, ok := s[p]
		switch {
		case ok:
			if a, b := notNull(was), notNull(now); a != "" && b != "" && a != b {
				out = append(out, fmt.Sprintf("%s is %s, was %s", p, b, a))
			}
		case s.hasParent(p) && !isLink(p) && !s.unseen(p):
			text := p + " is gone"
			if names := fresh[parent(p)]; len(names) > 0 {
				sort.Strings(names)
				for _, n := range names {
					named[n] = true
				}
				text += "; new there: " + strings.Join(names, ", ")
			}
			out = append(out, text)
		}
	}

	for _, names := range fresh {
		for _, n := range names {
			if !named[n] && old.hasParent(n) {
				out = append(out, n+" is new")
			}
		}
	}
	sort.Strings(out)
	return out
}

// isLink reports whether a path leads to or lies in the links of a page.
func isLink(p string) bool {
	return strings.Contains("."+strings.ReplaceAll(p, "[]", "")+".", ".links.")
}

// hasParent reports whether what p lies in is there and filled. The elements
// of a list are never missed: it may be empty today.
func (s Schema) hasParent(p string) bool {
	up := parent(p)
	return !strings.HasSuffix(p, "[]") && (up == "" || notNull(s[up]) != "")
}

func parent(p string) string {
	if t, ok := strings.CutSuffix(p, "[]"); ok {
		return t
	}
	if i := strings.LastIndexAny(p, "./"); i >= 0 {
		return p[:i]
	}
	return ""
}

func notNull(t string) string {
	var out []string
	for _, x := range strings.Split(t, "|") {
		if x != "null" {
			out = append(out, x)
		}
	}
	return strings.Join(out, "|")
}
