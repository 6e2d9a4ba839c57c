package waterml

import (
	"encoding/xml"
	"net/url"
	"strings"

	"example.org/coldseam/ingest"
)

// space is a namespace family. Services redeclare prefixes at will, so
// elements are matched by family and local name, never by prefix.
type space byte

const (
	otherSpace space = iota
	wml              // WaterML 2.0
	wmlDR            // its domain-range annex
	om               // Observations and Measurements, 1.0 and 2.0
	gml
	swe
	xlink
	xsi
	ows
	soap
)

var spacePrefixes = []struct {
	uri string
	s   space
}{
	{"http://www.opengis.net/waterml-dr/", wmlDR}, {"http://www.opengis.net/waterml/2", wml}, {"http://www.opengis.net/om/", om},
	{"http://www.opengis.net/gmlcov/", gml}, {"http://www.opengis.net/gml", gml}, {"http://www.opengis.net/swe/", swe},
	{"http://www.w3.org/1999/xlink", xlink}, {"http://www.w3.org/2001/XMLSchema-instance", xsi},
	{"http://www.opengis.net/ows", ows}, {"http://www.opengis.net/ogc", ows},
	{"http://www.w3.org/2003/05/soap-envelope", soap}, {"http://schemas.xmlsoap.org/soap/envelope", soap},
}

func spaceOf(uri string) space {
	for _, p := range spacePrefixes {
		if strings.HasPrefix(uri, p.uri) {
			return p.s
		}
	}
	return otherSpace
}

// node is a small subtree held in memory: the head of an observation, one
// point, one array.
type node struct {
	space space
	local string
	attrs []xml.Attr
	text  string // direct character data
	kids  []*node
}

// readTree reads the element that start opened, to its end tag.
func readTree(x *ingest.XML, start xml.StartElement) (*node, error) {
	root := newNode(start)
	open := []*node{root}
	texts := [][]byte{nil}
	for len(open) > 0 {
		t, err := x.Token()
		if err != nil {
			return nil, err // at the end of the input XML.Token has an error of its own
		}
		top := len(open) - 1
		switch t := t.(type) {
		case xml.StartElement:
			n := newNode(t)
			open[top].kids = append(open[top].kids, n)
			open = append(open, n)
			texts = append(texts, nil)
		case xml.EndElement:
			open[top].text = string(texts[top])
			open, texts = open[:top], texts[:top]
		case xml.CharData:
			texts[top] = append(texts[top], t...)
		}
	}
	return root, nil
}

func newNode(s xml.StartElement) *node {
	return &node{space: spaceOf(s.Name.Space), local: s.Name.Local, attrs: append([]xml.Attr(nil), s.Attr...)}
}

// skipTree passes over the element that has just been opened.
func skipTree(x *ingest.XML) error {
	for depth := x.Depth(); x.Depth() >= depth; {
		if _, err := x.Token(); err != nil {
			return err
		}
	}
	return nil
}

func (n *node) is(s space, local string) bool { return n != nil && n.space == s && n.local == local }

// kid is the first direct child of that name, nil when there is none.
func (n *node) kid(s space, local string) *node {
	if n == nil {
		return nil
	}
	for _, k := range n.kids {
		if k.is(s, local) {
			return k
		}
	}
	return nil
}

func (n *node) children() []*node {
	if n == nil {
		return nil
	}
	return n.kids
}

// first is the only child, whatever its name: the object inside a property.
func (n *node) first() *node {
	if n == nil || len(n.kids) == 0 {
		return nil
	}
	return n.kids[0]
}

// find is the first descendant of that name, in document order.
func (n *node) find(s space, local string) *node {
	if n == nil {
		return nil
	}
	for _, k := range n.kids {
		if k.is(s, local) {
			return k
		}
		if f := k.find(s, local); f != nil {
			return f
		}
	}
	return nil
}

func (n *node) attr(s space, local string) string {
	if n == nil {
		return ""
	}
	return attr(n.attrs, s, local)
}

// attr finds an attribute; a namespace-less name has otherSpace.
func attr(list []xml.Attr, s space, local string) string {
	for _, a := range list {
		if a.Name.Local == local && spaceOf(a.Name.Space) == s {
			return strings.TrimSpace(a.Value)
		}
	}
	return ""
}

// val is the trimmed text; "" for a nil node.
func (n *node) val() string {
	if n == nil {
		return ""
	}
	return strings.TrimSpace(n.text)
}

func (n *node) href() string  { return n.attr(xlink, "href") }
func (n *node) title() string { return n.attr(xlink, "title") }
func (n *node) id() string    { return n.attr(gml, "id") }

func isNil(attrs []xml.Attr) bool {
	v := attr(attrs, xsi, "nil")
	return v == "true" || v == "1"
}

// codeOf is the code that a reference means: the value of a query key such as
// sites or parmCd, else the tail of the address or URN. Spaces may stand
// literally or percent-encoded.
func codeOf(ref string, keys ...string) string {
	ref = strings.TrimSpace(ref)
	path, query, hasQuery := strings.Cut(ref, "?")
	if hasQuery {
		v, err := url.ParseQuery(query)
		for _, k := range keys {
			if err == nil && v.Get(k) != "" {
				return v.Get(k)
			}
		}
	}
	if strings.HasPrefix(strings.ToLower(ref), "urn:") {
		return urnCode(ref)
	}
	if i := strings.LastIndexAny(path, "/#"); i >= 0 && i < len(path)-1 {
		path = path[i+1:]
	}
	if s, err := url.PathUnescape(path); err == nil {
		path = s
	}
	return strings.TrimSpace(path)
}

// urnCode keeps what follows "station:" and the like, so that two networks
// with the same number stay apart; else the last part.
func urnCode(urn string) string {
	low := strings.ToLower(urn)
	for _, w := range []string{":station:", ":stations:", ":feature:", ":property:", ":procedure:"} {
		if i := strings.LastIndex(low, w); i >= 0 && i+len(w) < len(urn) {
			return urn[i+len(w):]
		}
	}
	return urn[strings.LastIndex(urn, ":")+1:]
}

func xlinkAttrs(href, title string) []xml.Attr {
	ns := "http://www.w3.org/1999/xlink"
	return []xml.Attr{{Name: xml.Name{Space: ns, Local: "href"}, Value: href}, {Name: xml.Name{Space: ns, Local: "title"}, Value: title}}
}
