// Package capalert reads official warnings: CAP 1.2 and 1.1 documents, alone or
// wrapped (a list of alerts, EDXL-DE, inline in Atom), and the Atom and RSS
// indexes that point to them. Resolve applies updates and cancels, Place finds
// the warnings of a reach.
//
// A safety message is never dropped for its form: what is wrong is named in
// Alert.Defects and the alert counts as the worst plausible case.
package capalert

import (
	"cmp"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// FieldLanguage is the key of Profile.Fields that names the language whose
// texts are shown, such as "en" or "de-AT"; without it "en".
const FieldLanguage = "language"

// Parse reads a CAP document, a wrapper of several, an index, or alerts as
// GeoJSON features. What an index points to comes as Entries, its next page as
// Next. Acknowledgements and error messages are skipped. XML that is neither is
// ErrInvalid, as are a document that ends early and one that says of an error.
func Parse(r io.Reader, p ingest.Profile) (ingest.Batch, error) {
	body, err := ingest.ReadBody(r, p)
	if err != nil {
		return ingest.Batch{}, err
	}

	d := &doc{p: p.WithDefaults(), times: ingest.NewTimes(p), out: ingest.Batch{Format: ingest.FormatCAP}}
	if ingest.Sniff(body) == ingest.ShapeJSON {
		err = d.readGeo(body)
	} else {
		x := ingest.NewXML(body, p)
		x.Bound(ingest.Bound{Elements: maxElements, Bytes: maxAlertBytes})
		err = d.read(x)
	}

	if err == nil && max(len(d.out.Alerts), len(d.out.Entries)) > maxAlerts {
		err = fmt.Errorf("more than %d messages in one document: %w", maxAlerts, coldseam.ErrInvalid)
	}
	if err != nil {
		return ingest.Batch{}, fmt.Errorf("cap: %w", err)
	}

	return d.out, nil
}

// Bounds of a document [proposal]: real messages are of some thousand bytes,
// those of a whole continent some hundred in a document. One that passes them
// fails the feed, and a failing feed of warnings never reads as "no warnings".
const (
	maxAlerts     = 10_000
	maxElements   = 20_000 // of one message or entry of an index
	maxAlertBytes = 2 << 20
	maxDefects    = 50 // named; more are not
	maxEventText  = 500
)

type doc struct {
	p        ingest.Profile
	times    *ingest.Times
	out      ingest.Batch
	known    bool
	root     string
	answered bool // an index says whose it is: an empty one must
	links    map[string]bool
}

func (d *doc) read(x *ingest.XML) error {
	for {
		t, err := x.Token()
		if errors.Is(err, io.EOF) {
			if !d.known || !d.answered && len(d.out.Alerts)+len(d.out.Entries)+len(d.out.Skipped) == 0 {
				return fmt.Errorf("root element %q holds no alerts: %w", d.root, coldseam.ErrInvalid)
			}
			return nil
		}
		if err != nil {
			return err
		}
		if s, ok := t.(xml.StartElement); ok {
			if err := d.open(x, s); err != nil {
				return err
			}
		}
	}
}

func (d *doc) open(x *ingest.XML, s xml.StartElement) error {
	local, isRoot := s.Name.Local, d.root == ""
	if isRoot {
		d.root = local
	}

	switch local {
	case "alerts", "EDXLDistribution":
		d.known = d.known || isRoot
		d.answered = d.answered || isRoot
	case "feed", "rss", "RDF":
		d.known = d.known || isRoot
	case "channel", "id", "title", "updated":
		d.answered = true
	case "link":
		if ingest.Attr(s.Attr, ingest.OtherSpace, "rel") == "next" && d.out.Next == "" {
			d.out.Next = ingest.Attr(s.Attr, ingest.OtherSpace, "href")
		}
	case "alert":
		if d.known = true; len(d.out.Alerts) > maxAlerts {
			return x.Skip()
		}
		n, err := x.Tree(s)
		if err == nil {
			d.alert(n, s.Name.Space)
		}
		return err
	case "entry", "item":
		if len(d.out.Entries) > maxAlerts {
			return x.Skip()
		}
		n, err := x.Tree(s)
		if err == nil {
			d.entry(n)
		}
		return err
	case "EDXLDistributionContent", "ExceptionReport", "Exception", "Fault", "error", "errors":
		return fmt.Errorf("the service answered %s: %w", local, coldseam.ErrInvalid)
	}

	return nil
}

// entry of an index: the alert itself where it is inline, else its address.
func (d *doc) entry(n *ingest.Node) {
	if a := inline(n); a != nil {
		d.alert(a, "")
		return
	}
	e := ingest.Entry{
		Link:    link(n),
		Updated: n.Word("updated"),
		ID:      clip(cmp.Or(n.Word("id"), n.Word("guid"))),
		Title:   clip(flat(n.Word("title"))),
	}
	e.Updated = cmp.Or(e.Updated, n.Word("pubDate"), n.Word("date"), n.Word("sent"))
	if d.links == nil {
		d.links = map[string]bool{}
	}
	if id := e.Link + " " + e.Updated; e.Link == "" || !d.links[id] {
		d.links[id] = true
		e.About = d.about(n)
		d.out.Entries = append(d.out.Entries, e)
	}
}

// about is what an entry says of its warning in elements of its own.
func (d *doc) about(n *ingest.Node) coldseam.Alert {
	a := coldseam.Alert{Feed: d.p.Name, Provider: d.p.Provider, Event: n.Word("event"), Severity: n.Word("severity")}
	b := &builder{d: d, a: &a, n: n}
	b.area(n)
	return a
}

func inline(n *ingest.Node) *ingest.Node {
	for _, k := range n.Children() {
		if k.Local == "alert" {
			return k
		}
		if a := inline(k); a != nil {
			return a
		}
	}
	return nil
}

const capType = "application/cap+xml"

// link prefers what calls itself CAP (a link or an enclosure of that type),
// then the alternate link of Atom, the link of RSS, and an id or guid that is
// an address.
func link(n *ingest.Node) string {
	plain := ""
	for _, k := range n.Children() {
		href := k.Attr(ingest.OtherSpace, "href")
		if k.Local == "enclosure" {
			href = k.Attr(ingest.OtherSpace, "url")
		}
		kind, rel := k.Attr(ingest.OtherSpace, "type"), k.Attr(ingest.OtherSpace, "rel")
		switch {
		case k.Local != "link" && k.Local != "enclosure":
		case kind == capType && href != "":
			return href
		case k.Local == "link" && href != "" && (rel == "" || rel == "alternate") && plain == "":
			plain = href
		case k.Local == "link" && href == "" && plain == "":
			plain = k.Val()
		}
	}

	if plain != "" {
		return plain
	}
	for _, w := range []string{n.Word("id"), n.Word("guid")} {
		if strings.HasPrefix(w, "https://") || strings.HasPrefix(w, "http://") {
			return w
		}
	}

	return ""
}

func (d *doc) skip(what, why string) {
	for i := range d.out.Skipped {
		if s := &d.out.Skipped[i]; s.What == what && s.Why == why {
			s.N++
			return
		}
	}
	if n := len(d.out.Skipped); n >= maxDefects { // the list is for people
		d.out.Skipped[n-1].N++
		return
	}
	d.out.Skipped = append(d.out.Skipped, ingest.Skipped{What: what, Code: ingest.CodeEncoding, Why: why, N: 1})
}

// alert reads one alert element; space is its namespace as written.
func (d *doc) alert(n *ingest.Node, space string) {
	b := &builder{d: d, a: &coldseam.Alert{}, n: n}
	b.single(n, "identifier", "sender", "sent", "status", "msgType", "scope")
	msg := n.Word("msgType")
	if strings.EqualFold(msg, "Ack") || strings.EqualFold(msg, "Error") {
		d.skip("message "+clip(n.Word("identifier")), "msgType "+msg)
		return
	}
	*b.a = coldseam.Alert{
		Feed:       d.p.Name,
		Provider:   d.p.Provider,
		Defects:    b.a.Defects,
		Sender:     n.Word("sender"),
		Identifier: n.Word("identifier"),
		Status:     n.Word("status"),
		MsgType:    msg,
		References: strings.Fields(n.Word("references")),
	}
	if space != "" && n.Space != ingest.SpaceCAP {
		b.defect("namespace %q is not CAP", clip(space))
	}
	b.head()
	b.infos()
	b.end()
	d.out.Alerts = append(d.out.Alerts, *b.a)
}

func clip(s string) string {
	if len(s) <= 80 {
		return s
	}
	return strings.ToValidUTF8(s[:80], "") + "..."
}
