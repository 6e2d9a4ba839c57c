package notify

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"net"
	"strconv"
	"strings"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"example.org/coldseam"
)

// dialogue is our side of one SMTP conversation. It is our own for two reasons:
// a send must know how far it got when the link breaks, and MAIL and RCPT go
// out together where the relay offers PIPELINING [source: RFC 2920, from
// memory], so that a mail costs three round trips instead of four. Refusals are
// *smtp.SMTPError; every other error is the link's.
type dialogue struct {
	conn    net.Conn
	r       *bufio.Reader
	ext     map[string]string // of EHLO, in capitals
	command time.Duration
	out     []byte // reused from mail to mail
}

// Bounds of a reply; a relay that says more is not one [proposal; RFC 5321 has
// 512 bytes a line, from memory].
const (
	replyLine  = 4 << 10
	replyLines = 200
)

func newDialogue(conn net.Conn, command time.Duration) *dialogue {
	return &dialogue{conn: conn, r: bufio.NewReaderSize(conn, replyLine), command: command}
}

// reply reads one reply. want is the code or its first digits; another code
// is an *smtp.SMTPError.
func (d *dialogue) reply(want string) (msg string, err error) {
	var b strings.Builder
	for range replyLines {
		line, err := d.r.ReadSlice('\n')
		if err != nil {
			return "", err
		}
		line = bytes.TrimRight(line, "\r\n")
		code, cerr := strconv.Atoi(string(line[:min(3, len(line))]))
		if cerr != nil || code < 200 || code > 599 || len(line) > 3 && line[3] != ' ' && line[3] != '-' {
			return "", fmt.Errorf("no SMTP reply: %q", clip(clean(string(line)), 80))
		}
		if b.Len() > 0 {
			b.WriteByte('\n')
		}
		b.Write(line[min(4, len(line)):])
		if len(line) > 3 && line[3] == '-' {
			continue
		}
		if !strings.HasPrefix(string(line[:3]), want) {
			return "", refusal(code, b.String())
		}
		return b.String(), nil
	}
	return "", errors.New("a reply without end")
}

// refusal takes the enhanced code off the text, on every line [source: RFC
// 2034, from memory].
func refusal(code int, msg string) *smtp.SMTPError {
	e := &smtp.SMTPError{Code: code, Message: msg}
	word, rest, _ := strings.Cut(msg, " ")
	parts := strings.Split(word, ".")
	if len(parts) != 3 {
		return e
	}
	var esc smtp.EnhancedCode
	for i, p := range parts {
		n, err := strconv.Atoi(p)
		if err != nil || n < 0 || n > 999 {
			return e
		}
		esc[i] = n
	}
	e.EnhancedCode, e.Message = esc, strings.ReplaceAll(rest, "\n"+word+" ", "\n")
	return e
}

// say writes lines and gives their replies the command timeout.
func (d *dialogue) say(lines ...string) error {
	d.out = d.out[:0]
	for _, l := range lines {
		if strings.ContainsAny(l, "\r\n\x00") {
			return fmt.Errorf("line break in a command: %w", coldseam.ErrInvalid)
		}
		d.out = append(append(d.out, l...), "\r\n"...)
	}
	if err := d.conn.SetDeadline(time.Now().Add(d.command)); err != nil {
		return err
	}
	_, err := d.conn.Write(d.out)
	return err
}

// ask is one command and its reply.
func (d *dialogue) ask(want, line string) (string, error) {
	if err := d.say(line); err != nil {
		return "", err
	}
	return d.reply(want)
}

// greet waits for the greeting.
func (d *dialogue) greet() error {
	if err := d.conn.SetDeadline(time.Now().Add(d.command)); err != nil {
		return err
	}
	_, err := d.reply("220")
	return err
}

// hello introduces us and learns what the relay can; one that knows only HELO
// can nothing.
func (d *dialogue) hello(name string) error {
	if name == "" {
		name = "localhost"
	}
	d.ext = map[string]string{}
	msg, err := d.ask("250", "EHLO "+name)
	var se *smtp.SMTPError
	if errors.As(err, &se) && (se.Code == 500 || se.Code == 502) {
		_, err = d.ask("250", "HELO "+name)
		return err
	}
	if err != nil {
		return err
	}
	for i, l := range strings.Split(msg, "\n") {
		if i > 0 {
			word, params, _ := strings.Cut(l, " ")
			d.ext[strings.ToUpper(word)] = params
		}
	}
	return nil
}

func (d *dialogue) has(ext string) bool {
	_, ok := d.ext[ext]
	return ok
}

// secure asks for TLS; what the relay says before the handshake is not heard
// after it.
func (d *dialogue) secure(wrap func(net.Conn) (net.Conn, error)) error {
	if !d.has("STARTTLS") {
		return errors.New("relay does not support STARTTLS")
	}
	if _, err := d.ask("220", "STARTTLS"); err != nil {
		return err
	}
	if d.r.Buffered() > 0 {
		return fmt.Errorf("words between STARTTLS and the handshake: %w", coldseam.ErrInvalid)
	}
	conn, err := wrap(d.conn)
	if err != nil {
		return err
	}
	d.conn, d.r, d.ext = conn, bufio.NewReaderSize(conn, replyLine), nil
	return nil
}

// mechanism reports whether the relay offers a login mechanism.
func (d *dialogue) mechanism(name string) bool {
	for _, m := range strings.Fields(d.ext["AUTH"]) {
		if strings.EqualFold(m, name) {
			return true
		}
	}
	return false
}

// login plays a SASL exchange [source: RFC 4954, from memory].
func (d *dialogue) login(c sasl.Client) error {
	mech, first, err := c.Start()
	if err != nil {
		return err
	}
	line := "AUTH " + mech
	switch {
	case len(first) > 0:
		line += " " + base64.StdEncoding.EncodeToString(first)
	case first != nil:
		line += " ="
	}
	for range 10 {
		if err := d.say(line); err != nil {
			return err
		}
		challenge, err := d.reply("334")
		var se *smtp.SMTPError
		if errors.As(err, &se) && se.Code == 235 {
			return nil
		}
		if err != nil {
			return err
		}
		raw, err := base64.StdEncoding.DecodeString(challenge)
		var answer []byte
		if err == nil {
			answer, err = c.Next(raw)
		}
		if err != nil {
			_, _ = d.ask("501", "*")
			return err
		}
		line = base64.StdEncoding.EncodeToString(answer)
	}
	return errors.New("a login without end")
}

// envelope names sender and recipient; between is called before the recipient
// is written. The stage tells whom an error is about.
func (d *dialogue) envelope(from, to string, size int, between func()) (stage string, err error) {
	mail, rcpt := "MAIL FROM:<"+from+">", "RCPT TO:<"+to+">"
	if strings.ContainsAny(from+to, "<> \r\n\x00") {
		return StageMail, fmt.Errorf("address: %w", coldseam.ErrInvalid)
	}
	if d.has("8BITMIME") {
		mail += " BODY=8BITMIME"
	}
	if d.has("SIZE") {
		mail += " SIZE=" + strconv.Itoa(size)
	}
	if !d.has("PIPELINING") {
		if _, err := d.ask("25", mail); err != nil {
			return StageMail, err
		}
		between()
		_, err := d.ask("25", rcpt)
		return StageRcpt, err
	}
	between()
	if err := d.say(mail, rcpt); err != nil {
		return StageMail, err
	}
	if _, err := d.reply("25"); err != nil {
		var se *smtp.SMTPError
		if errors.As(err, &se) && se.Code != 421 {
			_, _ = d.reply("25") // of the recipient, who has no sender now
		}
		return StageMail, err
	}
	_, err = d.reply("25")
	return StageRcpt, err
}

// lastPiece of the text goes out with the dot, in one write.
const lastPiece = 2 << 10

// text transmits the message with its dot; beforeDot is called when all but
// the last piece of it is on its way.
func (d *dialogue) text(raw []byte, beforeDot func()) error {
	d.out = appendStuffed(d.out[:0], raw)
	d.out = append(d.out, ".\r\n"...)
	if err := d.conn.SetDeadline(time.Now().Add(d.command)); err != nil {
		return err
	}
	first := max(len(d.out)-lastPiece, 0)
	if first > 0 {
		if _, err := d.conn.Write(d.out[:first]); err != nil {
			return err
		}
	}
	beforeDot()
	_, err := d.conn.Write(d.out[first:])
	return err
}

// appendStuffed writes CRLF lines with a second dot before a leading one
// [source: RFC 5321 4.5.2, from memory]. A lone CR or LF becomes a line end,
// so that no line can end the text early on a relay that reads them so.
func appendStuffed(dst, raw []byte) []byte {
	for len(raw) > 0 {
		if raw[0] == '.' {
			dst = append(dst, '.')
		}
		i := bytes.IndexAny(raw, "\r\n")
		if i < 0 {
			return append(append(dst, raw...), "\r\n"...)
		}
		dst = append(append(dst, raw[:i]...), "\r\n"...)
		if raw[i] == '\r' && i+1 < len(raw) && raw[i+1] == '\n' {
			i++
		}
		raw = raw[i+1:]
	}
	return dst
}
