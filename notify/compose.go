package notify

import (
	"bytes"
	"embed"
	"fmt"
	"net/mail"
	"regexp"
	"strings"
	"text/template"

	"example.org/coldseam"
)

// Size limits: mail readers cut a message near 102 KB of HTML, and the cut
// hides the caution and the unsubscribe link [source: help pages of mail
// vendors, by operations notes]; the budget is ours [proposal].
const (
	MaxHTML    = 60 << 10
	MaxMessage = 200 << 10
)

// Message is a mail ready for the envelope.
type Message struct {
	Bytes        []byte
	MessageID    string // without angle brackets
	EnvelopeFrom string
	To           string
	Subject      string
}

// Composer writes mails. It is safe for concurrent use; nothing in it changes.
type Composer struct {
	Club         string       // name shown as the sender
	From         mail.Address // Address required; Name defaults to Club
	Domain       string       // of Message-IDs and List-Id
	BounceDomain string       // of envelope senders
	Owner        string       // address of the keeper, for Reply-To and List-Owner; may be empty
	Links        Links
	Signer       *Signer // nil = not signed (loopback demo)
}

//go:embed templates/mail_*.tmpl
var templates embed.FS

var textTemplate = template.Must(template.New("mail_text.txt.tmpl").Option("missingkey=error").Funcs(template.FuncMap{
	"wrap":      func(s string) string { return strings.Join(wrap(plain(s), 72), "\n") },
	"item":      func(s string) string { return "- " + strings.Join(wrap(plain(s), 70), "\n  ") },
	"day":       func(d outlookDay) string { return strings.TrimSuffix(d.Odds+", "+d.Water, ", ") },
	"indent":    func(s string) string { return "  " + strings.Join(wrap(plain(s), 68), "\n    ") },
	"plain":     plain,
	"spotLines": spotLines,
	"lower":     strings.ToLower,
	"source":    sourceText,
}).ParseFS(templates, "templates/mail_text.txt.tmpl"))

func sourceText(a coldseam.Attribution) string {
	s := a.Text
	if s == "" {
		s = a.Name
	}
	if a.Licence != "" && !strings.Contains(s, a.Licence) {
		s += " (" + a.Licence + ")"
	}
	if a.Link != "" && !strings.Contains(s, a.Link) {
		s += " " + a.Link
	}
	return s
}

// Compose writes the mail of one outbox row. charts holds the picture of each
// reach as PNG, rendered once per river; a missing one leaves its place out.
//
// The bytes depend on the row, the charts and the settings alone, but for the
// time inside the DKIM signature. Errors: ErrRejected for an address that
// cannot be mailed, ErrInvalid for a payload or setting that no retry cures.
func (c *Composer) Compose(l coldseam.OutboxMessage, charts map[coldseam.ReachID][]byte) (Message, error) {
	m, err := c.compose(l, charts)
	if err != nil {
		return Message{}, fmt.Errorf("compose outbox %d %s: %w", l.ID, l.Kind, err)
	}
	return m, nil
}

func (c *Composer) compose(l coldseam.OutboxMessage, charts map[coldseam.ReachID][]byte) (Message, error) {
	if err := ValidAddress(l.Subscriber.Email); err != nil {
		return Message{}, err
	}
	ct, err := ParseContent(l.Payload)
	if err != nil {
		return Message{}, err
	}

	if ct.Club == "" {
		ct.Club = c.Club
	}
	if err := ct.check(l.Kind); err != nil {
		return Message{}, err
	}
	SortBriefs(ct.Briefs)

	m := Message{
		MessageID: MessageID(l, c.Domain), To: l.Subscriber.Email,
		EnvelopeFrom: c.Links.Tokens.BounceAddress(l.Subscriber.ID, localDate(l), c.BounceDomain),
	}
	kind, raw, subj, err := c.render(l, ct, charts, m.MessageID)
	if err != nil {
		return Message{}, err
	}

	m.Subject = subj
	head, err := c.header(l, m, kind)
	if err != nil {
		return Message{}, fmt.Errorf("%w: %w", err, coldseam.ErrInvalid)
	}

	m.Bytes = append(append(head, "\r\n"...), raw...)
	if c.Signer != nil {
		if m.Bytes, err = c.Signer.Sign(m.Bytes); err != nil {
			return Message{}, err
		}
	}

	return m, nil
}

func localDate(l coldseam.OutboxMessage) coldseam.Date {
	if l.LocalDate.IsZero() {
		return coldseam.DateOf(l.CreatedAt.UTC())
	}
	return l.LocalDate
}

// render writes the body within the size limits. When the HTML is too large its
// small print (never the dangers) is left to the text part and the page, first
// for the rivers after the first; then rivers shrink to one line. When the
// message is too large the last pictures fall out.
func (c *Composer) render(l coldseam.OutboxMessage, ct Content, charts map[coldseam.ReachID][]byte,
	id string) (kind string, raw []byte, subj string, err error) {
	for n := fullBlocks; n >= 1; n-- {
		for _, print := range []int{n, 1, 0} {
			for pics := n; pics >= 0; pics-- {
				v := c.view(l, ct, firstCharts(ct, charts, pics), n)
				v.smallPrint(print)
				text, html, err := renderParts(v)
				if err != nil {
					return "", nil, "", err
				}

				if len(html) > MaxHTML {
					break
				}
				kind, raw = body(id, text, html, imagesOf(v, charts))
				if len(raw)+headerReserve <= MaxMessage {
					return kind, raw, v.Subject, nil
				}
			}
		}
	}

	return "", nil, "", fmt.Errorf("mail larger than %d KB with one river: %w", MaxMessage>>10, coldseam.ErrInvalid)
}

// firstCharts are the pictures of n rivers, those one could fish first.
func firstCharts(ct Content, charts map[coldseam.ReachID][]byte, n int) map[coldseam.ReachID][]byte {
	out := map[coldseam.ReachID][]byte{}
	for i := range inFull(ct.Briefs, n) {
		out[ct.Briefs[i].Reach] = charts[ct.Briefs[i].Reach]
	}
	return out
}

// headerReserve is room for header and signature.
const headerReserve = 4 << 10

func imagesOf(v mailView, charts map[coldseam.ReachID][]byte) []inlineImage {
	var out []inlineImage
	for _, b := range v.Blocks {
		if b.CID != "" {
			out = append(out, inlineImage{b.CID, charts[b.Brief.Reach]})
		}
	}
	return out
}

// renderParts runs both templates and refuses what must never reach a reader.
func renderParts(v mailView) (text, html string, err error) {
	var b bytes.Buffer
	if err := textTemplate.Execute(&b, v); err != nil {
		return "", "", fmt.Errorf("text part: %w: %w", err, coldseam.ErrInvalid)
	}
	text = b.String()
	if html, err = renderHTML(v); err != nil {
		return "", "", err
	}
	for _, s := range []string{text, html, v.Subject} {
		if bad := nonsense(s); bad != "" {
			return "", "", fmt.Errorf("mail would contain %q: %w", bad, coldseam.ErrInvalid)
		}
	}
	return text, html, nil
}

// address is a link as it stands in a mail. Its token is drawn: in one of some
// hundred mails the letters of a mark come up in it by chance.
var address = regexp.MustCompile(`(?:https?://|mailto:)[^\s"'<>]*`)

// nonsense finds the marks of a value that is none, but for addresses.
func nonsense(s string) string {
	bad := nonsenseIn(s)
	if bad == "" { // nearly always, and without a look at every link
		return ""
	}
	return nonsenseIn(address.ReplaceAllString(s, ""))
}

func nonsenseIn(s string) string {
	for _, bad := range []string{"NaN", "<nil>", "&lt;nil&gt;", "%!", "+Inf", "-Inf", "<no value>", "&lt;no value&gt;",
		"ZgotmplZ"} {
		if strings.Contains(s, bad) {
			return bad
		}
	}
	return ""
}
