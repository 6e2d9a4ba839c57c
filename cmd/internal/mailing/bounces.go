package mailing

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// What comes back to the club's signed addresses: delivery failures, complaints
// and wishes to leave, by LMTP from the club's mail server or from a mailbox
// file that it writes.

// StartInbox listens for reports on mail.lmtp until it is stopped.
func (ml *Mailer) StartInbox(ctx context.Context) (addr string, stop func(), err error) {
	l, err := net.Listen("tcp", ml.Config.Mail.LMTP)
	if err != nil {
		return "", nil, fmt.Errorf("mail.lmtp: listen %s: %w", ml.Config.Mail.LMTP, err)
	}
	in := &notify.Inbox{Tokens: ml.Links.Tokens, Handle: ml.returned, Log: ml.Log}
	ctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := in.Serve(ctx, l); err != nil {
			ml.Log.Error("bounces", "err", err)
		}
	}()
	return l.Addr().String(), func() { cancel(); <-done }, nil
}

// returned stores one report. A report about somebody who is not in the list
// any more is done with; any other error lets the mail server try again.
func (ml *Mailer) returned(ctx context.Context, r notify.Report) error {
	err := ml.takeReport(ctx, r)
	if errors.Is(err, coldseam.ErrNotFound) {
		return nil
	}
	if err != nil {
		ml.Log.Error("bounce", "subscriber", r.Subscriber, "err", err)
	}
	return err
}

func (ml *Mailer) takeReport(ctx context.Context, r notify.Report) error {
	switch r.Kind {
	case notify.ReportLeave:
		return ml.DB.Unsubscribe(ctx, r.Subscriber)
	case notify.ReportComplaint:
		return ml.DB.Suppress(ctx, r.Subscriber, "marked the mail as unwanted")
	case notify.ReportBounce:
		gone, err := ml.DB.RecordBounce(ctx, r.Subscriber, store.Bounce{At: ml.Now(), MailDay: r.Date, Esc: r.Status,
			Text: r.Text})
		if err != nil {
			return err
		}
		ml.Log.Info("bounce", "subscriber", r.Subscriber, "class", string(r.Class), "suppressed", gone)
		if r.Class == notify.BounceOurs {
			return ml.alarm(ctx, "bounce", ml.Now(), []string{
				"A mail server refused the club's mail for a reason that is about us: " + r.Status + " " + r.Text,
				"Nobody is taken off the list for it. Run `coldseam check` on the server: it looks at the names and keys."})
		}
	}

	return nil
}

// ReadingSuffix is that of the mailbox file while it is read.
const ReadingSuffix = ".reading"

// DrainBounces reads mail.bounce_file. The file is moved aside first, so that
// the mail server writes on into a new one; what was moved and not finished is
// read again at the next tick.
func (ml *Mailer) DrainBounces(ctx context.Context) error {
	path := ml.Config.Mail.BounceFile
	if path == "" {
		return nil
	}
	aside := path + ReadingSuffix
	if _, err := os.Stat(aside); errors.Is(err, os.ErrNotExist) {
		st, err := os.Stat(path)
		if errors.Is(err, os.ErrNotExist) || err == nil && st.Size() == 0 {
			return nil
		}
		if err := errors.Join(err, os.Rename(path, aside)); err != nil {
			return fmt.Errorf("mail.bounce_file: %w", err)
		}
		// A mail server that opened the file before the move may still write: its
		// mail is seen at the next tick.
		return nil
	}

	f, err := os.Open(aside)
	if errors.Is(err, os.ErrNotExist) {
		return nil // another server of the club was quicker
	}
	if err != nil {
		return fmt.Errorf("mail.bounce_file: %w", err)
	}
	defer f.Close()

	n, others, err := ml.Links.Tokens.ReadMailbox(io.Reader(f),
		func(r notify.Report) error { return ml.returned(ctx, r) })
	if err != nil {
		return fmt.Errorf("mail.bounce_file: %w", err)
	}
	ml.Log.Info("bounces read", "n", n, "others", others)
	if err := os.Remove(aside); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("mail.bounce_file: %w", err)
	}
	return nil
}
