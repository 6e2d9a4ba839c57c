package notify

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net/textproto"
	"strings"

	"github.com/emersion/go-message"

	"example.org/coldseam"
)

// ReportKind is what came back.
type ReportKind string

// The kinds of report.
const (
	ReportBounce    ReportKind = "bounce"
	ReportComplaint ReportKind = "complaint" // the reader marked the mail as unwanted
	ReportLeave     ReportKind = "leave"     // mail to the unsubscribe address
	ReportNothing   ReportKind = "nothing"   // delay notices, vacation replies, chatter
)

// BounceClass is what a bounce means for the address.
type BounceClass string

// The classes.
const (
	BounceGone  BounceClass = "gone"  // no such mailbox or domain: suppress at once
	BounceCount BounceClass = "count" // counts: failing mail days in a row suppress
	BounceOurs  BounceClass = "ours"  // policy about us: stop and alert, never suppress
)

// Report is one mail that came back to a signed address of ours.
type Report struct {
	Kind       ReportKind
	Subscriber int64
	Date       coldseam.Date // of the mail that bounced
	Class      BounceClass   // bounces only
	Status     string        // enhanced status code, "5.1.1"
	Text       string        // the server's own words, without addresses
}

// maxReport bounds what is read of a report.
const maxReport = 1 << 20

// ReadReport reads a mail that arrived at envelopeTo. The signature of the
// address is checked before the text is looked at: a report to an address that
// is not ours is ErrInvalid and changes nothing.
func (t Tokens) ReadReport(envelopeTo string, raw io.Reader) (Report, error) {
	purpose, sub, day, err := t.ParseAddress(envelopeTo)
	if err != nil {
		return Report{}, fmt.Errorf("report: %w", err)
	}
	r := Report{Kind: ReportNothing, Subscriber: sub, Date: day}
	m, err := message.Read(io.LimitReader(raw, maxReport))
	if err != nil && !unread(err) {
		return Report{}, fmt.Errorf("report: %w: %w", err, coldseam.ErrInvalid)
	}

	kind, params, _ := m.Header.ContentType()
	reportType := strings.ToLower(params["report-type"])
	switch {
	case kind == "multipart/report" && reportType == "feedback-report":
		r.Kind = ReportComplaint
		return r, nil
	case purpose == ForUnsubscribe:
		if !automatic(m.Header) && kind != "multipart/report" {
			r.Kind = ReportLeave
		}
		return r, nil
	case kind == "multipart/report":
		return r, readStatus(m, &r)
	}

	return r, nil
}

// unread: a text in a foreign charset or encoding; the status part is ASCII and
// can be read all the same.
func unread(err error) bool {
	return message.IsUnknownCharset(err) || message.IsUnknownEncoding(err)
}

// automatic: answers of machines are no wish of a person [source: RFC 3834,
// from memory].
func automatic(h message.Header) bool {
	auto := strings.ToLower(h.Get("Auto-Submitted"))
	return auto != "" && auto != "no" || h.Get("X-Autoreply") != "" ||
		strings.EqualFold(h.Get("Precedence"), "auto_reply")
}

// readStatus walks the parts for message/delivery-status (RFC 3464). A mail of
// ours has one recipient, so the worst recipient block is the mail's.
func readStatus(m *message.Entity, r *Report) error {
	mr := m.MultipartReader()
	if mr == nil {
		return fmt.Errorf("report without parts: %w", coldseam.ErrInvalid)
	}

	for range 20 {
		p, err := mr.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil && !unread(err) {
			return fmt.Errorf("report part: %w: %w", err, coldseam.ErrInvalid)
		}

		kind, _, _ := p.Header.ContentType()
		if kind != "message/delivery-status" && kind != "message/global-delivery-status" {
			continue
		}
		if err := readRecipients(p.Body, r); err != nil {
			return err
		}
	}

	return nil
}

// readRecipients reads the field groups: the first is about the message, each
// further one about a recipient.
func readRecipients(body io.Reader, r *Report) error {
	tp := textproto.NewReader(bufio.NewReader(body))
	for group := 0; group < 20; {
		h, err := tp.ReadMIMEHeader()
		if len(h) > 0 {
			if group > 0 {
				r.take(h)
			}
			group++
		}

		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return fmt.Errorf("delivery status: %w: %w", err, coldseam.ErrInvalid)
		}
		if _, err := tp.R.Peek(1); err != nil {
			return nil
		}
	}

	return nil
}

// take reads one recipient group.
func (r *Report) take(h textproto.MIMEHeader) {
	if !strings.EqualFold(strings.TrimSpace(h.Get("Action")), "failed") {
		return // delayed, delivered, relayed, expanded
	}
	status := h.Get("Status")
	if i := strings.IndexAny(status, " ("); i > 0 {
		status = status[:i]
	}
	r.Kind, r.Status = ReportBounce, clip(clean(status), 12)
	r.Text = withoutAddresses(clip(clean(h.Get("Diagnostic-Code")), 300))
	r.Class = ClassifyBounce(r.Status)
}

// withoutAddresses keeps the server's words and drops what looks like an
// address, since they are stored and shown.
func withoutAddresses(s string) string {
	w := strings.Fields(s)
	for i := range w {
		if strings.Contains(w[i], "@") {
			w[i] = "<address>"
		}
	}
	return strings.Join(w, " ")
}

// ClassifyBounce reads an enhanced status code [source: the codes of RFC 3463
// as listed in the operations notes]. A bounce without one counts. What follows
// from the class (suppress at once, or after failing days in a row) is the
// store's rule, which knows the days on which mail went through.
func ClassifyBounce(status string) BounceClass {
	switch {
	case status == "5.1.1" || status == "5.1.2" || status == "5.1.10":
		return BounceGone
	case strings.HasPrefix(status, "5.7.") || strings.HasPrefix(status, "4.7.") || status == "5.3.4":
		return BounceOurs
	}
	return BounceCount
}
