package notify

import (
	"fmt"
	"net/mail"
	"strings"
	"time"

	"example.org/coldseam"
)

// Check reports settings that cannot make a lawful mail.
func (c *Composer) Check() error {
	if err := ValidAddress(c.From.Address); err != nil {
		return fmt.Errorf("mail from: %w", err)
	}
	for name, d := range map[string]string{"mail domain": c.Domain, "bounce domain": c.BounceDomain} {
		if d == "" || !printableASCII(d) || strings.ContainsAny(d, "<>@\"") {
			return fmt.Errorf("%s %q: want a host name: %w", name, d, coldseam.ErrInvalid)
		}
	}
	if c.Owner != "" {
		if err := ValidAddress(c.Owner); err != nil {
			return fmt.Errorf("list owner: %w", err)
		}
	}
	return c.Links.Check()
}

// ValidAddress accepts a plain address that every relay takes: no display
// name, no quoting, ASCII, at most 254 bytes [source: RFC 5321 4.5.3.1 by way
// of its erratum 1690, from memory], a dot in the domain. The error never
// repeats the address.
func ValidAddress(s string) error {
	a, err := mail.ParseAddress(s)
	domain := s[strings.LastIndexByte(s, '@')+1:]
	if err != nil || a.Address != s || len(s) > 254 || !printableASCII(s) ||
		!strings.Contains(domain, ".") || strings.ContainsAny(s, "<>\"[]()\\,;:") || strings.HasSuffix(domain, ".") {
		return fmt.Errorf("mail address: want a plain name at a host with a dot, ASCII, at most 254 bytes: %w",
			coldseam.ErrRejected)
	}
	return nil
}

// header writes the fields in a fixed order. The Date is the row's, not the
// moment of sending.
func (c *Composer) header(l coldseam.OutboxMessage, m Message, contentType string) ([]byte, error) {
	from := c.From
	if from.Name == "" {
		from.Name = strings.ReplaceAll(clean(c.Club), "=?", "= ?")
	}
	var h headers
	steps := []func() error{
		func() error { return h.add("From", from.String()) },
		func() error { return h.add("To", "<"+m.To+">") },
		func() error { return h.text("Subject", m.Subject) },
		func() error { return h.add("Date", l.CreatedAt.UTC().Format(time.RFC1123Z)) },
		func() error { return h.add("Message-ID", "<"+m.MessageID+">") },
	}
	if c.Owner != "" {
		steps = append(steps, func() error { return h.add("Reply-To", "<"+c.Owner+">") })
	}

	if r := strings.Trim(clean(l.InReplyTo), "<> "); r != "" {
		steps = append(steps,
			func() error { return h.add("In-Reply-To", "<"+r+">") },
			func() error { return h.add("References", "<"+r+">") })
	}

	steps = append(steps,
		func() error { return h.add("MIME-Version", "1.0") },
		func() error { return h.add("Content-Type", contentType) },
		func() error { return h.add("Auto-Submitted", "auto-generated") },
		func() error { return h.add("X-Auto-Response-Suppress", "All") },
		func() error { return c.listHeader(&h, l) })
	for _, step := range steps {
		if err := step(); err != nil {
			return nil, err
		}
	}

	return h.bytes(), nil
}

// listHeader adds the list fields for mails to subscribers; mails to the keeper
// are no list mail.
func (c *Composer) listHeader(h *headers, l coldseam.OutboxMessage) error {
	id := l.Subscriber.ID
	if id == 0 {
		return nil
	}
	owner := c.Owner
	if owner == "" {
		owner = c.From.Address
	}

	fields := [][2]string{
		{"List-Id", "<brief." + c.Domain + ">"},
		{"List-Help", "<" + c.Links.How() + ">"},
		{"List-Owner", "<mailto:" + owner + ">"},
		{"List-Unsubscribe", "<" + c.Links.Unsubscribe(id) + ">, <mailto:" +
			c.Links.Tokens.UnsubscribeAddress(id, c.BounceDomain) + "?subject=unsubscribe>"},
		{"List-Unsubscribe-Post", "List-Unsubscribe=One-Click"},
	}
	for _, f := range fields {
		if err := h.add(f[0], f[1]); err != nil {
			return err
		}
	}

	return nil
}
