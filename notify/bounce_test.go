package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// dsn is a delivery report as a mail server writes it.
func dsn(to, action, status, diagnostic string) string {
	return strings.ReplaceAll(fmt.Sprintf(`From: MAILER-DAEMON@relay.example
To: %s
Subject: Undelivered mail
Auto-Submitted: auto-replied
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="xx"

--xx
Content-Type: text/plain

I could not deliver your mail.

--xx
Content-Type: message/delivery-status

Reporting-MTA: dns; relay.example
Arrival-Date: Sat, 10 Apr 2027 04:51:00 -0500

Final-Recipient: rfc822; angler@home.example
Action: %s
Status: %s
Diagnostic-Code: smtp; %s

--xx
Content-Type: text/rfc822-headers

Subject: GO Tamsen Sat

--xx--
`, to, action, status, diagnostic), "\n", "\r\n")
}

func bounceTo() string { return keys().BounceAddress(17, day0, "bounce.club.example") }

func TestReadReport(t *testing.T) {
	t.Parallel()
	k := keys()
	leave := k.UnsubscribeAddress(17, "bounce.club.example")

	for _, c := range []struct {
		name, to, raw string
		want          Report
		err           error
	}{
		{
			name: "gone",
			to:   bounceTo(),
			raw:  dsn(bounceTo(), "failed", "5.1.1", "550 5.1.1 <angler@home.example>: no such user"),
			want: Report{Kind: ReportBounce, Class: BounceGone, Status: "5.1.1",
				Text: "smtp; 550 5.1.1 <address> no such user"},
		},
		{
			name: "full",
			to:   bounceTo(),
			raw:  dsn(bounceTo(), "failed", "5.2.2", "552 full"),
			want: Report{Kind: ReportBounce, Class: BounceCount, Status: "5.2.2", Text: "smtp; 552 full"},
		},
		{
			name: "given up",
			to:   bounceTo(),
			raw:  dsn(bounceTo(), "Failed", "4.4.1 (timed out)", "connect"),
			want: Report{Kind: ReportBounce, Class: BounceCount, Status: "4.4.1", Text: "smtp; connect"},
		},
		{
			name: "policy",
			to:   bounceTo(),
			raw:  dsn(bounceTo(), "failed", "5.7.1", "550 blocked"),
			want: Report{Kind: ReportBounce, Class: BounceOurs, Status: "5.7.1", Text: "smtp; 550 blocked"},
		},
		{
			name: "throttled",
			to:   bounceTo(),
			raw:  dsn(bounceTo(), "failed", "4.7.28", "rate"),
			want: Report{Kind: ReportBounce, Class: BounceOurs, Status: "4.7.28", Text: "smtp; rate"},
		},
		{
			name: "foreign charset",
			to:   bounceTo(),
			raw: strings.Replace(dsn(bounceTo(), "failed", "5.1.1", "gone"), "Content-Type: text/plain",
				"Content-Type: text/plain; charset=iso-2022-xx\r\nContent-Transfer-Encoding: x-odd", 1),
			want: Report{Kind: ReportBounce, Class: BounceGone, Status: "5.1.1", Text: "smtp; gone"},
		},
		{
			name: "only delayed",
			to:   bounceTo(),
			raw:  dsn(bounceTo(), "delayed", "4.4.1", "later"),
			want: Report{Kind: ReportNothing},
		},
		{
			name: "vacation",
			to:   bounceTo(),
			raw:  "From: a@b.example\r\nAuto-Submitted: auto-replied\r\n\r\nI am away\r\n",
			want: Report{Kind: ReportNothing},
		},
		{
			name: "complaint",
			to:   bounceTo(),
			raw:  "Content-Type: multipart/report; report-type=feedback-report; boundary=x\r\n\r\n--x--\r\n",
			want: Report{Kind: ReportComplaint},
		},
		{
			name: "leave",
			to:   leave,
			raw:  "From: a@b.example\r\nSubject: unsubscribe\r\n\r\n",
			want: Report{Kind: ReportLeave},
		},
		{
			name: "a machine does not leave",
			to:   leave,
			raw:  "Auto-Submitted: auto-replied\r\nSubject: away\r\n\r\n",
			want: Report{Kind: ReportNothing},
		},
		{
			name: "a bounce does not leave",
			to:   leave,
			raw:  dsn(leave, "failed", "5.1.1", "x"),
			want: Report{Kind: ReportNothing},
		},
		{
			name: "forged",
			to:   "b+17-20270410-aaaaaaaaaaaaaaaa@bounce.club.example",
			raw:  dsn("x", "failed", "5.1.1", "x"),
			err:  coldseam.ErrInvalid,
		},
		{name: "foreign", to: "keeper@club.example", raw: dsn("x", "failed", "5.1.1", "x"), err: coldseam.ErrInvalid},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := k.ReadReport(c.to, strings.NewReader(c.raw))
			if c.err != nil {
				require.ErrorIs(t, err, c.err)
				require.Zero(t, got)
				return
			}

			require.NoError(t, err)
			c.want.Subscriber = 17
			if c.to != leave {
				c.want.Date = day0
			}
			require.Equal(t, c.want, got)
		})
	}
}

// TestReportOfOurOwnMail: what the composer writes as envelope sender is what
// the reader accepts.
func TestReportOfOurOwnMail(t *testing.T) {
	t.Parallel()
	m, err := composer().Compose(cases()["go_day"], nil)
	require.NoError(t, err)
	r, err := keys().ReadReport(m.EnvelopeFrom, strings.NewReader(dsn(m.EnvelopeFrom, "failed", "5.1.1", "gone")))
	require.NoError(t, err)
	require.Equal(t, int64(17), r.Subscriber)
	require.Equal(t, day0, r.Date)
}

func TestBreaker(t *testing.T) {
	t.Parallel()
	var b Breaker
	for i := range 19 {
		require.False(t, b.Add(true), i)
	}
	require.True(t, b.Add(true), "twenty in a row")
	b.Reset()
	for i := range 400 { // every sixth: 17 %
		require.False(t, b.Add(i%6 == 0), i)
	}

	b.Reset()
	tripped := false
	for i := range 60 { // every fourth: 25 %
		tripped = tripped || b.Add(i%4 == 0)
	}
	require.True(t, tripped)
	b.Reset()
	for range 300 {
		require.False(t, b.Add(false))
	}
}

func startInbox(t *testing.T, handle func(context.Context, Report) error) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- (&Inbox{Tokens: keys(), Handle: handle}).Serve(ctx, l) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-done)
	})
	return l.Addr().String()
}

func lmtp(t *testing.T, addr string) *smtp.Client {
	t.Helper()
	conn, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	c := smtp.NewClientLMTP(conn)
	c.CommandTimeout, c.SubmissionTimeout = 5*time.Second, 5*time.Second
	t.Cleanup(func() { _ = c.Close() })
	require.NoError(t, c.Hello("relay.example"))
	return c
}

func TestInbox(t *testing.T) {
	t.Parallel()
	got := make(chan Report, 10)
	fail := make(chan error, 10)
	addr := startInbox(t, func(_ context.Context, r Report) error {
		select {
		case err := <-fail:
			return err
		default:
			got <- r
			return nil
		}
	})

	c := lmtp(t, addr)
	send := func(raw string) error {
		require.NoError(t, c.Mail("", nil))
		require.NoError(t, c.Rcpt(bounceTo(), nil))
		w, err := c.Data()
		require.NoError(t, err)
		_, err = w.Write([]byte(raw))
		require.NoError(t, err)
		return w.Close()
	}
	require.NoError(t, send(dsn(bounceTo(), "failed", "5.1.1", "gone")))
	require.Equal(t, BounceGone, (<-got).Class)

	require.NoError(t, c.Mail("", nil))
	err := c.Rcpt("keeper@club.example", nil)
	var se *smtp.SMTPError
	require.ErrorAs(t, err, &se, "only signed addresses are taken")
	require.Equal(t, 550, se.Code)
	require.NoError(t, c.Reset())

	fail <- errors.New("database gone")
	err = send(dsn(bounceTo(), "failed", "5.1.1", "gone"))
	require.ErrorContains(t, err, "try again later")
	require.NoError(t, send("\x00 no mail at all"), "what cannot be read is taken and dropped")
	require.Empty(t, got)
}

func TestReadMailbox(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	add := func(to, raw string) {
		fmt.Fprintf(&b, "From MAILER-DAEMON Sat Apr 10 05:00:00 2027\nDelivered-To: %s\n%s\n", to,
			strings.ReplaceAll(raw, "\r\n", "\n"))
	}
	add(bounceTo(), dsn(bounceTo(), "failed", "5.1.1", "gone"))
	add("keeper@club.example", "Subject: hello\n\n>From the river\n")
	add(bounceTo(), dsn(bounceTo(), "failed", "5.2.2", "full"))
	b.WriteString("From nobody\n\x00\x01 garbage")

	var got []BounceClass
	n, others, err := keys().ReadMailbox(bytes.NewReader(b.Bytes()), func(r Report) error {
		got = append(got, r.Class)
		return nil
	})
	require.NoError(t, err)
	require.Equal(t, []BounceClass{BounceGone, BounceCount}, got)
	require.Equal(t, 2, n)
	require.Equal(t, 2, others)

	long := "From x\nDelivered-To: " + bounceTo() + "\nX-Long: " + strings.Repeat("From ", 40<<10) + "\n\nhello\n"
	n, others, err = keys().ReadMailbox(strings.NewReader(long), func(Report) error { return nil })
	require.NoError(t, err)
	require.Equal(t, 1, n+others, "a line longer than the buffer does not part a mail")
	stop := errors.New("database gone")
	_, _, err = keys().ReadMailbox(bytes.NewReader(b.Bytes()), func(Report) error { return stop })
	require.ErrorIs(t, err, stop)
	require.Equal(t, "From x\n", unquoteFrom(">From x\n"))
	require.Equal(t, ">From x\n", unquoteFrom(">>From x\n"))
	require.Equal(t, "> x\n", unquoteFrom("> x\n"))
}

// TestDrain: a mailbox file is read under its locks and emptied; while a
// delivery agent holds it, or when a report cannot be stored, it stays whole.
func TestDrain(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "bounces")
	var got []Report
	var fail error
	in := &Inbox{Tokens: keys(), Handle: func(_ context.Context, r Report) error {
		got = append(got, r)
		return fail
	}}
	n, err := in.Drain(context.Background(), path)
	require.NoError(t, err, "no file yet is no fault")
	require.Zero(t, n)
	mail := "From x Sat Apr 10 05:00:00 2027\nDelivered-To: " + bounceTo() + "\n" +
		strings.ReplaceAll(dsn(bounceTo(), "failed", "5.1.1", "gone"), "\r", "")
	require.NoError(t, os.WriteFile(path, []byte(mail), 0o600))

	require.NoError(t, os.WriteFile(path+".lock", nil, 0o600))
	_, err = in.Drain(context.Background(), path)
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.NoError(t, os.Remove(path+".lock"))
	require.Empty(t, got)

	fail = errors.New("database gone")
	_, err = in.Drain(context.Background(), path)
	require.ErrorIs(t, err, fail)
	kept, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, mail, string(kept))

	fail, got = nil, nil
	n, err = in.Drain(context.Background(), path)
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.Equal(t, BounceGone, got[0].Class)
	kept, err = os.ReadFile(path)
	require.NoError(t, err)
	require.Empty(t, kept)
	require.NoFileExists(t, path+".lock")
}

func FuzzReadReport(f *testing.F) {
	f.Add(dsn(bounceTo(), "failed", "5.1.1", "gone"))
	f.Add("Content-Type: multipart/report; report-type=delivery-status; boundary=\"\"\r\n\r\n")
	f.Add("")
	f.Fuzz(func(t *testing.T, raw string) {
		r, err := keys().ReadReport(bounceTo(), strings.NewReader(raw))
		if err == nil && r.Subscriber != 17 {
			t.Fatal("the subscriber comes from the address alone")
		}
		if strings.Contains(r.Text, "@") {
			t.Fatal("an address in the stored words")
		}
		_, _, _ = keys().ReadMailbox(strings.NewReader(raw), func(Report) error { return nil })
	})
}
