package notify

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

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
		{name: "gone", to: bounceTo(), raw: dsn(bounceTo(), "failed", "5.1.1", "550 5.1.1 <angler@home.example>: no such user"),
			want: Report{Kind: ReportBounce, Class: BounceGone, Status: "5.1.1", Text: "smtp; 550 5.1.1 <address> no such user"}},
		{name: "full", to: bounceTo(), raw: dsn(bounceTo(), "failed", "5.2.2", "552 full"), want: Report{Kind: ReportBounce, Class: BounceCount, Status: "5.2.2", Text: "smtp; 552 full"}},
		{name: "given up", to: bounceTo(), raw: dsn(bounceTo(), "Failed", "4.4.1 (timed out)", "connect"), want: Report{Kind: ReportBounce, Class: BounceCount, Status: "4.4.1", Text: "smtp; connect"}},
		{name: "policy", to: bounceTo(), raw: dsn(bounceTo(), "failed", "5.7.1", "550 blocked"), want: Report{Kind: ReportBounce, Class: BounceOurs, Status: "5.7.1", Text: "smtp; 550 blocked"}},
		{name: "only delayed", to: bounceTo(), raw: dsn(bounceTo(), "delayed", "4.4.1", "later"), want: Report{Kind: ReportNothing}},
		{name: "vacation", to: bounceTo(), raw: "From: a@b.example\r\nAuto-Submitted: auto-replied\r\n\r\nI am away\r\n", want: Report{Kind: ReportNothing}},
		{name: "complaint", to: bounceTo(), raw: "Content-Type: multipart/report; report-type=feedback-report; boundary=x\r\n\r\n--x--\r\n", want: Report{Kind: ReportComplaint}},
		{name: "leave", to: leave, raw: "From: a@b.example\r\nSubject: unsubscribe\r\n\r\n", want: Report{Kind: ReportLeave}},
		{name: "a machine does not leave", to: leave, raw: "Auto-Submitted: auto-replied\r\nSubject: away\r\n\r\n", want: Report{Kind: ReportNothing}},
		{name: "a bounce does not leave", to: leave, raw: dsn(leave, "failed", "5.1.1", "x"), want: Report{Kind: ReportNothing}},
		{name: "forged", to: "b+17-20270410-aaaaaaaaaaaaaaaa@bounce.club.example", raw: dsn("x", "failed", "5.1.1", "x"), err: coldseam.ErrInvalid},
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

func TestSuppress(t *testing.T) {
	t.Parallel()
	days := func(classes ...BounceClass) []MailDay {
		var out []MailDay
		for i, c := range classes {
			out = append(out, MailDay{Date: day0.Add(i), Class: c})
		}
		return out
	}
	const ok = BounceClass("")
	for _, c := range []struct {
		name string
		days []MailDay
		want bool
	}{
		{"nothing", nil, false},
		{"gone at once", days(ok, BounceGone), true},
		{"one", days(ok, BounceCount), false},
		{"two", days(BounceCount, BounceCount), false},
		{"three", days(BounceCount, BounceCount, BounceCount), true},
		{"reset by success", days(BounceCount, BounceCount, ok, BounceCount, BounceCount), false},
		{"a success today", days(BounceCount, BounceCount, BounceCount, ok), false},
		{"policy days", days(BounceOurs, BounceOurs, BounceOurs, BounceOurs, BounceOurs), false},
		{"policy days do not count", days(BounceCount, BounceCount, BounceOurs, BounceOurs), false},
		{"policy days do not reset", days(BounceCount, BounceCount, BounceOurs, BounceCount), true},
		{"old gone, then fine", days(BounceGone, ok), false},
	} {
		got, why := Suppress(c.days)
		require.Equal(t, c.want, got, c.name)
		require.Equal(t, c.want, why != "", c.name)
	}
}

// TestOneBadDaySuppressesNobody: one provider refuses everyone by policy, or
// fails for one day; nobody may be lost.
func TestOneBadDaySuppressesNobody(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 20).Draw(t, "days")
		bad := rapid.IntRange(0, n-1).Draw(t, "bad day")
		class := rapid.SampledFrom([]BounceClass{BounceOurs, BounceCount}).Draw(t, "class")
		var days []MailDay
		for i := range n {
			d := MailDay{Date: day0.Add(i)}
			if i == bad {
				d.Class = class
			}
			days = append(days, d)
			got, _ := Suppress(days)
			require.False(t, got)
		}
	})
}

func TestPace(t *testing.T) {
	t.Parallel()
	p := Pace{}
	p = p.After(false, true, PaceDefault)
	require.InDelta(t, .5, p.PerSecond, 1e-12)
	p = p.After(false, true, PaceDefault)
	require.InDelta(t, .25, p.PerSecond, 1e-12)
	for range 99 {
		p = p.After(true, false, PaceDefault)
	}
	require.InDelta(t, .25, p.PerSecond, 1e-12)
	p = p.After(true, false, PaceDefault)
	require.InDelta(t, .5, p.PerSecond, 1e-12)
	for range 500 {
		p = p.After(true, false, PaceDefault)
	}
	require.InDelta(t, PaceDefault, p.PerSecond, 1e-12, "never above the ceiling")
	for range 50 {
		p = p.After(false, true, PaceDefault)
	}
	require.InDelta(t, PaceMin, p.PerSecond, 1e-12, "never stopped for good")
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
		fmt.Fprintf(&b, "From MAILER-DAEMON Sat Apr 10 05:00:00 2027\nDelivered-To: %s\n%s\n", to, strings.ReplaceAll(raw, "\r\n", "\n"))
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
	stop := errors.New("database gone")
	_, _, err = keys().ReadMailbox(bytes.NewReader(b.Bytes()), func(Report) error { return stop })
	require.ErrorIs(t, err, stop)
	require.Equal(t, "From x\n", unquoteFrom(">From x\n"))
	require.Equal(t, ">From x\n", unquoteFrom(">>From x\n"))
	require.Equal(t, "> x\n", unquoteFrom("> x\n"))
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
