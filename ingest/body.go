package ingest

import (
	"bytes"
	"cmp"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"example.org/coldseam"
	"golang.org/x/net/html/charset"
)

// Shape is what the first bytes of a body look like. The Content-Type of a
// service is not trusted.
type Shape int

// The shapes.
const (
	ShapeOther Shape = iota
	ShapeJSON
	ShapeXML
	ShapeEmpty
)

// Sniff skips a byte order mark and white space and looks at the first byte.
func Sniff(body []byte) Shape {
	b := bytes.TrimLeft(trimBOM(body), " \t\r\n")
	switch {
	case len(b) == 0:
		return ShapeEmpty
	case b[0] == '{' || b[0] == '[':
		return ShapeJSON
	case b[0] == '<':
		return ShapeXML
	}
	return ShapeOther
}

func trimBOM(b []byte) []byte { return bytes.TrimPrefix(b, []byte("\xef\xbb\xbf")) }

// ReadBody reads a whole document within the profile's cap, applies
// encoding_override and strips a byte order mark.
func ReadBody(r io.Reader, p Profile) ([]byte, error) {
	limit := p.WithDefaults().MaxBodyBytes
	body, err := readAll(r, limit)
	if err != nil {
		return nil, fmt.Errorf("read document: %w", err)
	}
	if int64(len(body)) > limit {
		return nil, fmt.Errorf("document is larger than %d bytes: %w", limit, coldseam.ErrInvalid)
	}

	if p.EncodingOverride != "" {
		cr, err := charset.NewReaderLabel(p.EncodingOverride, bytes.NewReader(body))
		if err != nil {
			return nil, fmt.Errorf("encoding_override %q: %w", p.EncodingOverride, coldseam.ErrInvalid)
		}
		if body, err = io.ReadAll(io.LimitReader(cr, 4*limit)); err != nil {
			return nil, fmt.Errorf("encoding_override %q: %w", p.EncodingOverride, coldseam.ErrInvalid)
		}
	}

	return trimBOM(body), nil
}

// readAll reads up to one byte more than limit. A reader that knows its length
// is read into memory of that size, not into slices that grow.
func readAll(r io.Reader, limit int64) ([]byte, error) {
	l, ok := r.(interface{ Len() int })
	if !ok {
		return io.ReadAll(io.LimitReader(r, limit+1))
	}
	body := make([]byte, min(int64(l.Len()), limit+1))
	_, err := io.ReadFull(r, body)
	return body, err
}

// DecodeJSON decodes exactly one JSON value into v. Numbers keep their text
// where v asks for json.Number. Trailing data, a member that stands twice, text
// that is not UTF-8 and a body that is no JSON are ErrInvalid; the first 80 bytes
// are quoted.
func DecodeJSON(body []byte, v any) error {
	d, err := NewJSON(body)
	if err != nil {
		return err
	}
	if err := memberTwice(body); err != nil {
		return err
	}
	if err := d.Decode(v); err != nil {
		return JSONError(err)
	}
	return EndJSON(d)
}

// DecodePart decodes one value of a document that was checked as it was opened,
// as DecodeJSON does; it may be a text or a number.
func DecodePart(raw json.RawMessage, v any) error {
	if err := memberTwice(raw); err != nil {
		return err
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	if err := d.Decode(v); err != nil {
		return JSONError(err)
	}
	return nil
}

// memberTwice refuses an object with two members of one name: the decoder takes
// the last without a word. It takes names that differ in case for one, too.
func memberTwice(body []byte) error {
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	type level struct {
		seen map[string]bool // nil = a list
		name bool            // a name comes next
	}
	var open []level
	for {
		t, err := d.Token()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return JSONError(err)
		}

		top := len(open) - 1
		if s, ok := t.(string); ok && top >= 0 && open[top].name {
			low := strings.ToLower(s)
			if open[top].seen[low] {
				return fmt.Errorf("json: member %q stands twice: %w", clip(s), coldseam.ErrInvalid)
			}
			open[top].seen[low], open[top].name = true, false
			continue
		}
		switch t {
		case json.Delim('{'):
			open = append(open, level{seen: map[string]bool{}, name: true})
			continue
		case json.Delim('['):
			open = append(open, level{})
			continue
		case json.Delim('}'), json.Delim(']'):
			open = open[:top]
		}
		if top = len(open) - 1; top >= 0 && open[top].seen != nil {
			open[top].name = true // a value has ended
		} else if top < 0 {
			return nil
		}
	}
}

// NewJSON is a decoder for formats that are read piece by piece, so that many
// small rows cost no more than one of them. EndJSON must follow.
func NewJSON(body []byte) (*json.Decoder, error) {
	if err := checkJSON(body); err != nil {
		return nil, err
	}
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	return d, nil
}

// NewPieces is NewJSON for documents whose parts are small: a part of more than
// most bytes is refused before it is held in memory a second time.
func NewPieces(body []byte, most int64) (*json.Decoder, error) {
	if err := checkJSON(body); err != nil {
		return nil, err
	}
	return Pieces(bytes.NewReader(body), most), nil
}

// Pieces is the decoder of NewPieces over a reader.
func Pieces(r io.Reader, most int64) *json.Decoder {
	p := &pieceReader{r: r, most: most}
	p.d = json.NewDecoder(p)
	p.d.UseNumber()
	return p.d
}

type pieceReader struct {
	r          io.Reader
	d          *json.Decoder
	most, read int64
}

func (p *pieceReader) Read(b []byte) (int, error) {
	if p.read-p.d.InputOffset() > p.most {
		return 0, fmt.Errorf("a part of more than %d bytes", p.most)
	}
	n, err := p.r.Read(b)
	p.read += int64(n)
	return n, err
}

func checkJSON(body []byte) error {
	if Sniff(body) != ShapeJSON {
		return fmt.Errorf("not JSON: begins %q: %w", clip(string(bytes.TrimSpace(body))), coldseam.ErrInvalid)
	}
	if !utf8.Valid(body) {
		return fmt.Errorf("json: text is not UTF-8 (set encoding_override): %w", coldseam.ErrInvalid)
	}
	return Dense(body, jsonObject)
}

// Objects and members of a document come with text of their own; one that is
// made of next to nothing but brackets costs many times its size in memory. The
// least bytes each [proposal]: the densest collected documents have 60 an object
// and 14 a member.
const (
	jsonObject = 30
	jsonMember = 10
	alwaysFew  = 20_000 // as many are never too many
)

// Dense refuses a JSON body with more objects than one in perObject bytes, or
// more members than one in jsonMember, before anything is decoded.
func Dense(body []byte, perObject int) error {
	if n := bytes.Count(body, []byte{'{'}); n > alwaysFew && n > len(body)/perObject {
		return fmt.Errorf("json: %d objects in %d bytes are no data: %w", n, len(body), coldseam.ErrInvalid)
	}
	if n := bytes.Count(body, []byte(`":`)); n > alwaysFew && n > len(body)/jsonMember {
		return fmt.Errorf("json: %d members in %d bytes are no data: %w", n, len(body), coldseam.ErrInvalid)
	}
	return nil
}

// EndJSON refuses data after the document.
func EndJSON(d *json.Decoder) error {
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return fmt.Errorf("json: data after the end of the document: %w", coldseam.ErrInvalid)
	}
	return nil
}

// JSONError puts an error of the decoder into its class.
func JSONError(err error) error {
	if errors.Is(err, io.EOF) {
		err = io.ErrUnexpectedEOF
	}
	return fmt.Errorf("json: %s: %w", clip(err.Error()), coldseam.ErrInvalid)
}

// XML reads tokens with the limits every XML format shares: no DTD, depth at
// most MaxXMLDepth, text within the body cap. io.EOF comes only after the last
// end tag, so a cut document is an error.
type XML struct {
	d     *xml.Decoder
	depth int
	seen  bool
	bound Bound
}

// Bound limits the trees that Tree builds: a tree costs many times the size of
// a document that is made of next to nothing but tags. A zero leaves the usual
// bound, which is none for Elements and Bytes.
type Bound struct {
	Each     int64 // least bytes that an element comes with
	Elements int64 // most elements of a tree
	Bytes    int64 // greatest size of a tree in the document
}

// xmlElement is the usual least size of an element [proposal]: the densest
// collected documents have 25 bytes.
const xmlElement = 20

// Bound sets the limits of the trees to come.
func (x *XML) Bound(b Bound) { x.bound = b }

// roomy refuses a tree of n elements that began at an offset of the input.
func (x *XML) roomy(n, began int64) error {
	size := x.d.InputOffset() - began
	switch b := x.bound; {
	case b.Elements > 0 && n > b.Elements:
		return fmt.Errorf("xml: more than %d elements in one: %w", b.Elements, coldseam.ErrInvalid)
	case b.Bytes > 0 && size > b.Bytes:
		return fmt.Errorf("xml: an element of more than %d bytes: %w", b.Bytes, coldseam.ErrInvalid)
	case n > alwaysFew && n*cmp.Or(b.Each, xmlElement) > size:
		return fmt.Errorf("xml: %d elements in %d bytes are no data: %w", n, size, coldseam.ErrInvalid)
	}
	return nil
}

// NewXML returns a token reader over a body of ReadBody. With
// encoding_override the body is UTF-8 already and the declared encoding is not
// believed.
func NewXML(body []byte, p Profile) *XML {
	d := xml.NewDecoder(bytes.NewReader(body))
	d.CharsetReader = charset.NewReaderLabel
	if p.EncodingOverride != "" {
		d.CharsetReader = func(_ string, r io.Reader) (io.Reader, error) { return r, nil }
	}
	return &XML{d: d}
}

// Depth is the number of open elements.
func (x *XML) Depth() int { return x.depth }

// Token returns the next token; its bytes are valid until the next call.
// Comments and processing instructions are passed over.
func (x *XML) Token() (xml.Token, error) {
	for {
		t, err := x.d.Token()
		if errors.Is(err, io.EOF) {
			if x.depth > 0 || !x.seen {
				return nil, fmt.Errorf("xml: document ends early: %w", coldseam.ErrInvalid)
			}
			return nil, io.EOF
		}

		if err != nil {
			return nil, fmt.Errorf("xml: %s: %w", clip(err.Error()), coldseam.ErrInvalid)
		}

		switch s := t.(type) {
		case xml.Directive:
			return nil, fmt.Errorf("xml: document type declarations are not read: %w", coldseam.ErrInvalid)
		case xml.StartElement:
			if x.depth == 0 && x.seen {
				return nil, fmt.Errorf("xml: a second root element: %w", coldseam.ErrInvalid)
			}
			x.seen = true
			for i, a := range s.Attr {
				same := func(b xml.Attr) bool { return b.Name == a.Name }
				if slices.ContainsFunc(s.Attr[:i], same) {
					return nil, fmt.Errorf("xml: attribute %q stands twice: %w", clip(a.Name.Local), coldseam.ErrInvalid)
				}
			}
			if x.depth++; x.depth > MaxXMLDepth {
				return nil, fmt.Errorf("xml: nested deeper than %d: %w", MaxXMLDepth, coldseam.ErrInvalid)
			}
		case xml.EndElement:
			x.depth--
		case xml.Comment, xml.ProcInst:
			continue
		}

		return t, nil
	}
}
