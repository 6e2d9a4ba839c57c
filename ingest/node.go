package ingest

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"example.org/coldseam"
)

// Space is a family of XML namespaces: all versions of one vocabulary.
// Services redeclare prefixes at will and mix versions, so elements are
// matched by family and local name, never by prefix.
type Space byte

// The families. OtherSpace is also that of names without a namespace.
const (
	OtherSpace    Space = iota
	SpaceWML            // WaterML 2.0
	SpaceWMLDR          // its domain-range annex
	SpaceOM             // Observations and Measurements, 1.0 and 2.0
	SpaceGML            // GML and its coverages
	SpaceSWE            // SWE Common
	SpaceSampling       // sampling features
	SpaceXLink          //
	SpaceXSI            // XML Schema instance
	SpaceOWS            // OGC service exceptions
	SpaceSOAP           // 1.1 and 1.2
	SpaceWaterML1       // WaterML 1.0 and 1.1
	SpaceCAP            // Common Alerting Protocol 1.1 and 1.2
	SpaceAtom
)

var spacePrefixes = []struct {
	uri string
	s   Space
}{
	{"http://www.opengis.net/waterml-dr/", SpaceWMLDR}, {"http://www.opengis.net/waterml/2", SpaceWML},
	{"http://www.opengis.net/om/", SpaceOM},
	{"http://www.opengis.net/gmlcov/", SpaceGML}, {"http://www.opengis.net/gml", SpaceGML},
	{"http://www.opengis.net/swe/", SpaceSWE}, {"http://www.opengis.net/sampling/", SpaceSampling},
	{"http://www.w3.org/1999/xlink", SpaceXLink}, {"http://www.w3.org/2001/XMLSchema-instance", SpaceXSI},
	{"http://www.opengis.net/ows", SpaceOWS}, {"http://www.opengis.net/ogc", SpaceOWS},
	{"http://www.w3.org/2003/05/soap-envelope", SpaceSOAP}, {"http://schemas.xmlsoap.org/soap/envelope", SpaceSOAP},
	{"http://www.cuahsi.org/waterML/", SpaceWaterML1},
	{"urn:oasis:names:tc:emergency:cap:1.", SpaceCAP}, {"http://www.w3.org/2005/Atom", SpaceAtom},
}

// SpaceOf is the family of a namespace.
func SpaceOf(uri string) Space {
	for _, p := range spacePrefixes {
		if strings.HasPrefix(uri, p.uri) {
			return p.s
		}
	}
	return OtherSpace
}

// Node is a small subtree held in memory: the head of an observation, one
// point, one warning. All methods take a nil node as one that holds nothing.
type Node struct {
	Space Space
	Local string
	Attrs []xml.Attr
	Text  string // direct character data, untrimmed
	Kids  []*Node
}

// Tree reads the element that start opened, to its end tag.
func (x *XML) Tree(start xml.StartElement) (*Node, error) { return x.Trunk(start, nil) }

// Trunk is Tree without the elements that take wants: they are many, and what is
// read of one costs less than the element. A nil take wants none.
func (x *XML) Trunk(start xml.StartElement, take func(parent, kid *Node) bool) (*Node, error) {
	root := newNode(start)
	open, texts := []*Node{root}, [][]byte{nil}
	n, began := int64(1), x.d.InputOffset()

	for len(open) > 0 {
		t, err := x.Token()
		if err != nil {
			return nil, err // at the end of the input Token has an error of its own
		}
		top := len(open) - 1

		switch t := t.(type) {
		case xml.StartElement:
			if n++; n%1024 == 0 || x.bound.Bytes > 0 {
				if err := x.roomy(n, began); err != nil {
					return nil, err
				}
			}
			k := newNode(t)
			open[top].Kids = append(open[top].Kids, k)
			open, texts = append(open, k), append(texts, nil)
		case xml.EndElement:
			if x.bound.Bytes > 0 {
				if err := x.roomy(n, began); err != nil {
					return nil, err
				}
			}
			kid := open[top]
			kid.Text = string(texts[top])
			if open, texts = open[:top], texts[:top]; top > 0 && take != nil && take(open[top-1], kid) {
				up := open[top-1]
				up.Kids = up.Kids[:len(up.Kids)-1]
			}
		case xml.CharData:
			texts[top] = append(texts[top], t...)
		}
	}

	return root, nil
}

func newNode(s xml.StartElement) *Node {
	return &Node{Space: SpaceOf(s.Name.Space), Local: s.Name.Local, Attrs: append([]xml.Attr(nil), s.Attr...)}
}

// Skip passes over the element that has just been opened.
func (x *XML) Skip() error {
	for depth := x.Depth(); x.Depth() >= depth; {
		if _, err := x.Token(); err != nil {
			return err
		}
	}
	return nil
}

// Is compares family and local name.
func (n *Node) Is(s Space, local string) bool { return n != nil && n.Space == s && n.Local == local }

// Children are the direct children.
func (n *Node) Children() []*Node {
	if n == nil {
		return nil
	}
	return n.Kids
}

// Kid is the first direct child of that name, nil when there is none.
func (n *Node) Kid(s Space, local string) *Node {
	for _, k := range n.Children() {
		if k.Is(s, local) {
			return k
		}
	}
	return nil
}

// Named are the direct children of a local name, whatever their family.
func (n *Node) Named(local string) []*Node {
	var out []*Node
	for _, k := range n.Children() {
		if k.Local == local {
			out = append(out, k)
		}
	}
	return out
}

// Word is the trimmed text of the first child of a local name, whatever its
// family; "" when there is none.
func (n *Node) Word(local string) string {
	for _, k := range n.Children() {
		if k.Local == local {
			return k.Val()
		}
	}
	return ""
}

// First is the first child: the object inside a property.
func (n *Node) First() *Node {
	if n == nil || len(n.Kids) == 0 {
		return nil
	}
	return n.Kids[0]
}

// Find is the first descendant of that name, in document order.
func (n *Node) Find(s Space, local string) *Node {
	for _, k := range n.Children() {
		if k.Is(s, local) {
			return k
		}
		if f := k.Find(s, local); f != nil {
			return f
		}
	}
	return nil
}

// Attr is a trimmed attribute; one without a namespace has OtherSpace.
func (n *Node) Attr(s Space, local string) string {
	if n == nil {
		return ""
	}
	return Attr(n.Attrs, s, local)
}

// Attr finds an attribute in a list, trimmed.
func Attr(list []xml.Attr, s Space, local string) string {
	for _, a := range list {
		if a.Name.Local == local && SpaceOf(a.Name.Space) == s {
			return strings.TrimSpace(a.Value)
		}
	}
	return ""
}

// Val is the trimmed text.
func (n *Node) Val() string {
	if n == nil {
		return ""
	}
	return strings.TrimSpace(n.Text)
}

// NewXMLReader is NewXML over a stream in UTF-8; a document that declares
// another encoding is refused. A reader that is an io.ByteReader is read a byte
// at a time and never ahead of the tokens.
func NewXMLReader(r io.Reader) *XML {
	d := xml.NewDecoder(r)
	d.CharsetReader = func(label string, _ io.Reader) (io.Reader, error) {
		return nil, fmt.Errorf("encoding %q in a stream: %w", clip(label), coldseam.ErrInvalid)
	}
	return &XML{d: d}
}
