package waterml

import (
	"encoding/xml"
	"net/url"
	"strings"

	"example.org/coldseam/ingest"
)

// Short names of the namespace families that this format is made of.
const (
	wml        = ingest.SpaceWML
	wmlDR      = ingest.SpaceWMLDR
	om         = ingest.SpaceOM
	gml        = ingest.SpaceGML
	sam        = ingest.SpaceSampling
	swe        = ingest.SpaceSWE
	xlink      = ingest.SpaceXLink
	xsi        = ingest.SpaceXSI
	soap       = ingest.SpaceSOAP
	otherSpace = ingest.OtherSpace
)

func href(n *ingest.Node) string  { return n.Attr(xlink, "href") }
func title(n *ingest.Node) string { return n.Attr(xlink, "title") }
func id(n *ingest.Node) string    { return n.Attr(gml, "id") }

func isNil(attrs []xml.Attr) bool {
	v := ingest.Attr(attrs, xsi, "nil")
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

// identityOf is codeOf for what must be told from others: a query without any of
// the keys belongs to the name, for links may differ in nothing else.
func identityOf(ref string, keys ...string) string {
	code := codeOf(ref, keys...)
	if tail := codeOf(ref); code == tail {
		if _, query, ok := strings.Cut(ref, "?"); ok && query != "" {
			code += "?" + strings.TrimSpace(query)
		}
	}
	return code
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
	return []xml.Attr{{Name: xml.Name{Space: ns, Local: "href"}, Value: href},
		{Name: xml.Name{Space: ns, Local: "title"}, Value: title}}
}
