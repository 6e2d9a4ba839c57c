package notify

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log"
	"log/slog"
	"net"
	"net/textproto"
	"strings"
	"time"

	"github.com/emersion/go-smtp"

	"example.org/coldseam"
)

// Inbox receives reports by LMTP (RFC 2033) from the club's mail server. It
// accepts mail for signed addresses alone.
type Inbox struct {
	Tokens Tokens
	// Handle stores a report; an error makes the mail server try again.
	Handle func(context.Context, Report) error
	Log    *slog.Logger
}

// Serve accepts conversations on l until ctx ends.
func (in *Inbox) Serve(ctx context.Context, l net.Listener) error {
	srv := smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) {
		return &inboxSession{in: in, ctx: ctx}, nil
	}))
	srv.LMTP = true
	srv.Domain = "coldseam"
	srv.MaxMessageBytes, srv.MaxRecipients = maxReport, 50
	srv.ReadTimeout, srv.WriteTimeout = time.Minute, time.Minute
	srv.ErrorLog = log.New(io.Discard, "", 0)
	stop := context.AfterFunc(ctx, func() { _ = srv.Close(); _ = l.Close() })
	defer stop()
	err := srv.Serve(l)
	if ctx.Err() != nil || errors.Is(err, net.ErrClosed) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("bounce inbox: %w: %w", err, coldseam.ErrUnavailable)
	}
	return nil
}

type inboxSession struct {
	in  *Inbox
	ctx context.Context
	to  []string
}

func (x *inboxSession) Mail(string, *smtp.MailOptions) error { return nil }

func (x *inboxSession) Rcpt(to string, _ *smtp.RcptOptions) error {
	if _, _, _, err := x.in.Tokens.ParseAddress(to); err != nil {
		return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such address"}
	}
	x.to = append(x.to, to)
	return nil
}

// Data is the answer for all recipients; LMTPData below is used instead.
func (x *inboxSession) Data(r io.Reader) error {
	_, err := io.Copy(io.Discard, r)
	return err
}

// LMTPData answers each recipient for itself. The reader's error is looked at
// first: half a text is no report.
func (x *inboxSession) LMTPData(r io.Reader, status smtp.StatusCollector) error {
	var b bytes.Buffer
	if _, err := io.Copy(&b, r); err != nil {
		return err
	}
	for _, to := range x.to {
		status.SetStatus(to, x.one(to, b.Bytes()))
	}
	return nil
}

func (x *inboxSession) one(to string, raw []byte) error {
	rep, err := x.in.Tokens.ReadReport(to, bytes.NewReader(raw))
	if err != nil {
		// A text that cannot be read will not read better later.
		if x.in.Log != nil {
			x.in.Log.Warn("bounce not read", "err", coldseam.ErrInvalid)
		}
		return nil
	}
	if err := x.in.Handle(x.ctx, rep); err != nil {
		return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 3, 0}, Message: "try again later"}
	}
	return nil
}

func (x *inboxSession) Reset()        { x.to = nil }
func (x *inboxSession) Logout() error { return nil }

// ReadMailbox reads a mailbox file (mboxrd: "From " lines part the mails,
// ">From " inside is quoted) and hands every report to a signed address of ours
// to handle. It returns how many reports and how many other mails it saw. A
// mail that cannot be read does not stop the others; an error of handle does,
// so that the file is kept and read again.
func (t Tokens) ReadMailbox(r io.Reader, handle func(Report) error) (reports, others int, err error) {
	sc := bufio.NewReaderSize(r, 64<<10)
	var cur bytes.Buffer
	inMail := false
	flush := func() error {
		if !inMail {
			return nil
		}
		rep, err := t.readMailboxMail(cur.Bytes())
		cur.Reset()
		if err != nil {
			others++
			return nil
		}
		reports++
		return handle(rep)
	}
	start := true // of a line; a very long one comes in pieces

	for {
		piece, rerr := sc.ReadSlice('\n')
		l := string(piece)
		switch {
		case start && strings.HasPrefix(l, "From "):
			if err := flush(); err != nil {
				return reports, others, err
			}
			inMail = true
		case inMail && cur.Len() < maxReport:
			if start {
				l = unquoteFrom(l)
			}
			cur.WriteString(l)
		}

		start = rerr == nil
		switch {
		case errors.Is(rerr, io.EOF):
			err := flush()
			return reports, others, err
		case rerr != nil && !errors.Is(rerr, bufio.ErrBufferFull):
			return reports, others, fmt.Errorf("mailbox: %w: %w", rerr, coldseam.ErrUnavailable)
		}
	}
}

func unquoteFrom(l string) string {
	if t := strings.TrimLeft(l, ">"); len(t) < len(l) && strings.HasPrefix(t, "From ") {
		return l[1:]
	}
	return l
}

// readMailboxMail finds the signed address among the fields in which delivery
// agents and senders write the recipient.
func (t Tokens) readMailboxMail(raw []byte) (Report, error) {
	h, err := textproto.NewReader(bufio.NewReader(bytes.NewReader(raw))).ReadMIMEHeader()
	if err != nil && len(h) == 0 {
		return Report{}, fmt.Errorf("mailbox mail: %w: %w", err, coldseam.ErrInvalid)
	}
	for _, name := range []string{"Delivered-To", "X-Original-To", "Envelope-To", "To"} {
		for _, v := range h.Values(name) {
			if _, _, _, err := t.ParseAddress(v); err == nil {
				return t.ReadReport(v, bytes.NewReader(raw))
			}
		}
	}
	return Report{}, fmt.Errorf("mailbox mail is not for us: %w", coldseam.ErrInvalid)
}
