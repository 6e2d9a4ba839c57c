package records

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// ownText is the member of an element that holds the text beside its attributes.
const ownText = "#text"

// elements decodes one XML document into what paths select from: an element is an
// object of its attributes ("@name") and of a list for each name of its children,
// also where there is one child, so that a path does not depend on their number.
// An element without either is its text. Names are without their namespace.
func elements(body []byte, p ingest.Profile) (any, error) {
	x := ingest.NewXML(body, p)
	t := &elementReader{x: x}
	for {
		tok, err := x.Token()
		if err != nil {
			return nil, err
		}
		start, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		if strings.EqualFold(start.Name.Local, "html") {
			return nil, fmt.Errorf("a web page instead of data: %w", coldseam.ErrInvalid)
		}
		root, err := t.element(start)
		if err != nil {
			return nil, err
		}
		if _, err := x.Token(); !errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("xml: data after the end of the document: %w", coldseam.ErrInvalid)
		}
		return root, nil
	}
}

type elementReader struct {
	x *ingest.XML
	n int
}

func (t *elementReader) element(start xml.StartElement) (any, error) {
	var object map[string]any
	put := func(name string, v any) {
		if object == nil {
			object, t.n = map[string]any{}, t.n+objectNodes
		}
		object[name] = v
	}
	for _, a := range start.Attr {
		if t.n++; a.Name.Space != "xmlns" && a.Name.Local != "xmlns" {
			if _, twice := object["@"+a.Name.Local]; twice {
				return nil, fmt.Errorf("xml: attribute %q stands twice: %w", clip(a.Name.Local), coldseam.ErrInvalid)
			}
			put("@"+a.Name.Local, strings.TrimSpace(a.Value))
		}
	}

	var text []byte
	for {
		tok, err := t.x.Token()
		if err != nil {
			return nil, err
		}
		switch tok := tok.(type) {
		case xml.CharData:
			text = append(text, tok...)
		case xml.StartElement:
			if t.n += 2; t.n > maxNodes {
				return nil, fmt.Errorf("xml: more than %d values: %w", maxNodes, coldseam.ErrInvalid)
			}
			name := tok.Name.Local
			v, err := t.element(tok)
			if err != nil {
				return nil, err
			}
			list, _ := object[name].([]any)
			put(name, append(list, v))
		case xml.EndElement:
			own := strings.TrimSpace(string(text))
			if object == nil {
				return own, nil
			}
			if own != "" || len(start.Attr) > 0 {
				put(ownText, own)
			}
			return object, nil
		}
	}
}
