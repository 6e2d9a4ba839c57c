package mailing_test

import (
	"fmt"
	"math"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/smtptest"
	"example.org/coldseam/store"
)

// dsnText is a delivery report as a mail server writes it.
func dsnText(to, status, words string) string {
	return strings.ReplaceAll(fmt.Sprintf(`From: MAILER-DAEMON@relay.example
To: %s
Subject: Undelivered
Auto-Submitted: auto-replied
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="b"

--b
Content-Type: text/plain

Not delivered.
--b
Content-Type: message/delivery-status

Reporting-MTA: dns; relay.example

Final-Recipient: rfc822; somebody@home.example
Action: failed
Status: %s
Diagnostic-Code: smtp; %s

--b--
`, to, status, words), "\n", "\r\n")
}

// lmtp hands one mail to the service as the club's mail server does.
func lmtp(t *testing.T, addr, to, text string) error {
	t.Helper()
	conn, err := net.Dial("tcp", addr)
	require.NoError(t, err)
	c := smtp.NewClientLMTP(conn)
	defer c.Close()
	require.NoError(t, c.Hello("relay.example"))
	require.NoError(t, c.Mail("", nil))
	if err := c.Rcpt(to, nil); err != nil {
		return err
	}
	w, err := c.Data()
	require.NoError(t, err)
	_, err = w.Write([]byte(text))
	require.NoError(t, err)
	_, err = w.CloseWithLMTPResponse()
	return err
}

// What comes back reaches the list: a dead address is suppressed, a wish to
// leave is kept, a refusal that is about us alarms the admin and takes nobody
// off, a forged address changes nothing.
func TestReportsComeHome(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.NewReady(t, nil)
	v.Config.Mail.LMTP = "127.0.0.1:0"
	v.Config.Mail.BounceFile = filepath.Join(t.TempDir(), "bounces")
	dead := v.Join(t, "dead@home.example", coldseam.Preferences{})
	left := v.Join(t, "leaves@home.example", coldseam.Preferences{})
	policy := v.Join(t, "policy@home.example", coldseam.Preferences{})
	boxed := v.Join(t, "boxed@home.example", coldseam.Preferences{})
	inbox, stop, err := v.Mail.StartInbox(ctx)
	require.NoError(t, err)
	t.Cleanup(stop)
	tok, domain := v.Mail.Links.Tokens, v.Config.Mail.BounceDomain
	state := func(id int64) string {
		s, err := v.DB.Subscriber(ctx, id)
		require.NoError(t, err)
		return s.State
	}

	require.NoError(t, lmtp(t, inbox, tok.BounceAddress(dead, clubtest.Saturday, domain),
		dsnText("x", "5.1.1", "550 5.1.1 no such user")))
	require.Equal(t, "suppressed", state(dead))

	require.NoError(t, lmtp(t, inbox, tok.UnsubscribeAddress(left, domain),
		"From: leaves@home.example\r\nSubject: unsubscribe\r\n\r\nplease\r\n"))
	require.Equal(t, "unsubscribed", state(left))

	forged := strings.Replace(tok.BounceAddress(policy, clubtest.Saturday, domain), "b+", "b+9", 1)
	require.Error(t, lmtp(t, inbox, forged, dsnText("x", "5.1.1", "550 5.1.1 no such user")))
	require.Equal(t, "confirmed", state(policy))

	for range 3 { // the same fault three times: one alarm
		require.NoError(t, lmtp(t, inbox, tok.BounceAddress(policy, clubtest.Saturday, domain),
			dsnText("x", "5.7.1", "550 5.7.1 refused by policy")))
	}
	require.Equal(t, "confirmed", state(policy))
	v.SendAll(t)
	require.Len(t, v.Messages(t)[v.Config.Club.AdminEmail], 1)
	require.Contains(t, clubtest.Text(t, v.Messages(t)[v.Config.Club.AdminEmail][0]), "5.7.1")

	// The mailbox file: moved aside, read, gone; with an address of the key before.
	box := "From MAILER-DAEMON Sat Apr 18 05:00:00 2026\nDelivered-To: " + tok.BounceAddress(boxed, clubtest.Saturday,
		domain) + "\n" +
		strings.ReplaceAll(dsnText("x", "5.1.10", "550 5.1.10 gone"), "\r\n", "\n")
	require.NoError(t, os.WriteFile(v.Config.Mail.BounceFile, []byte(box), 0o600))
	for range 3 {
		require.NoError(t, v.Mail.DrainBounces(ctx))
	}
	require.Equal(t, "suppressed", state(boxed))
	left2, err := filepath.Glob(v.Config.Mail.BounceFile + "*")
	require.NoError(t, err)
	require.Empty(t, left2)
	v.Mu.Lock()
	defer v.Mu.Unlock()
	require.NotContains(t, v.Output.String(), "home.example")
}

// A safety input that goes missing after the mail is as good as a stop.
func TestMissingInputReplacesGo(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.NewReady(t, nil)
	v.Join(t, "one@home.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	v.Send(t, "04:45")
	require.Len(t, v.Messages(t)["one@home.example"], 1)

	// No feed answers any more; the gauge's age passes its limit by half past nine.
	v.Agency.ScriptForever("/", simagency.Step{Status: 503})
	v.Feeds.Fetcher.RetryWait = time.Millisecond
	for v.Now().Before(clubtest.MorningAt(10, 0)) && len(v.Messages(t)["one@home.example"]) == 1 {
		v.Clock.Forward(v.Now().Add(30 * time.Minute))
		_, err := v.Morning.MakeAll(ctx, clubtest.Saturday)
		require.NoError(t, err)
		v.SendAll(t)
	}

	got := v.Messages(t)["one@home.example"]
	require.Len(t, got, 2)
	require.Regexp(t, `^NO CALL replaces (GO|TOSS-UP): Tamsen`, clubtest.Subject(t, got[1]))
}

// The club's clock jumps an hour and a day, forward and back: nobody gets a
// morning twice, and nothing older than today goes out.
func TestClockJumps(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := clubtest.NewReady(t, nil)
	for i := range 8 {
		v.Join(t, fmt.Sprintf("a%d@home.example", i), coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	}
	now := clubtest.MorningAt(4, 46)
	v.Now = func() time.Time { return now }
	v.Mail.Now = v.Now

	look := func(jump time.Duration) {
		now = now.Add(jump)
		_, _, err := v.Mail.QueueMornings(ctx, now)
		require.NoError(t, err)
		_, err = v.DB.Sweep(ctx, now)
		require.NoError(t, err)
		v.SendAll(t)
	}
	look(0)

	require.Equal(t, 8, v.Sink.Count())
	for _, jump := range []time.Duration{time.Hour, -time.Hour, -24 * time.Hour, 24 * time.Hour, time.Minute} {
		look(jump)
	}
	for k, n := range clubtest.ByMessage(t, v.Sink) {
		require.Equal(t, 1, n, k)
	}
	require.Zero(t, v.Count(t,
		`SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state = 'sent' AND done_at > deadline`))

	// A mail that waits when the clock jumps a day is never sent late.
	late := v.Join(t, "late@home.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	_, _, err := v.Mail.QueueMornings(ctx, now)
	require.NoError(t, err)
	before := v.Sink.Count()
	now = now.Add(24 * time.Hour)
	_, err = v.DB.Sweep(ctx, now)
	require.NoError(t, err)
	v.SendAll(t)
	require.Equal(t, before, v.Sink.Count())
	require.Equal(t, 1, v.Count(t,
		`SELECT count(*) FROM coldseam.outbox WHERE subscriber_id = $1 AND state = 'expired'`, late))
}

// A relay that drops every link after the text: sending stops after 20
// attempts, the rows are kept, the admin is told once.
func TestBreakerStopsAndTells(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	var broken atomic.Bool
	broken.Store(true)
	v := clubtest.NewReady(t, func(e smtptest.Event) smtptest.Fault {
		if broken.Load() && e.Stage == "data" && !strings.HasPrefix(e.To, "keeper@") {
			return smtptest.Fault{Drop: true}
		}
		return smtptest.Fault{}
	})

	for i := range 60 {
		v.Join(t, fmt.Sprintf("a%d@home.example", i), coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	}
	v.Clock.Forward(clubtest.MorningAt(4, 45))
	_, _, err := v.Mail.QueueMornings(ctx, v.Now())
	require.NoError(t, err)

	tries := 0
	for range 8 { // runs of one worker follow one another, as jobs do
		tl, err := v.Mail.Sender("test").Run(ctx, 10)
		tries += tl.Connections
		if err != nil {
			require.ErrorIs(t, err, notify.ErrBreaker)
			break
		}
	}

	require.LessOrEqual(t, tries, 20)
	require.Equal(t, 60, v.Count(t,
		`SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state IN ('pending', 'deferred')`), "kept")
	for range 3 {
		v.Clock.Forward(v.Now().Add(time.Minute))
		require.NoError(t, v.Mail.Watch(ctx, v.Now()))
		_, err = v.Mail.Sender("admin").Run(ctx, 100)
		require.NoError(t, err)
	}

	alarms := 0
	for _, m := range v.Messages(t)[v.Config.Club.AdminEmail] {
		if strings.Contains(clubtest.Text(t, m), "was stopped") {
			alarms++
		}
	}
	require.Equal(t, 1, alarms)
	require.Empty(t, v.Messages(t)["a1@home.example"])

	// Mended and released, the morning goes out.
	broken.Store(false)
	require.NoError(t, v.DB.Release(ctx, store.Edit{Who: "admin", Why: "relay mended"}))
	v.Clock.Forward(v.Now().Add(10 * time.Minute))
	v.SendAll(t)
	require.Equal(t, 60, v.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state = 'sent'`))
}

// A brief that cannot be written stops its mailing and tells the admin; no mail
// carries what is no number.
func TestUnwritableMailIsHeld(t *testing.T) {
	t.Parallel()

	for _, row := range []struct {
		name  string
		spoil func(v *clubtest.Harness, b *coldseam.Brief)
		tells string
	}{
		{"not a number", func(v *clubtest.Harness, b *coldseam.Brief) { b.Odds = math.NaN(); b.Windows[0].Odds = math.Inf(1) }, ""},
		{"empty forecast", func(v *clubtest.Harness, b *coldseam.Brief) {
			*b = coldseam.Brief{
				Reach:   b.Reach,
				River:   b.River,
				Zone:    b.Zone,
				Day:     b.Day,
				Issued:  b.Issued,
				Verdict: coldseam.Go,
			}
		}, ""},
		{"panic in the letter", func(v *clubtest.Harness, b *coldseam.Brief) { b.WindowI = 99; b.Verdict = coldseam.Go }, ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			ctx := t.Context()
			v := clubtest.NewReady(t, nil)
			v.Join(t, "one@home.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
			v.Clock.Forward(clubtest.MorningAt(4, 45))
			b, err := v.DB.Brief(ctx, "tamsen-bend", clubtest.Saturday)
			require.NoError(t, err)
			b.Issued = v.Now().Add(-time.Minute)
			row.spoil(v, &b)

			if _, err := v.DB.SaveBrief(ctx, b); err != nil {
				require.ErrorIs(t, err, coldseam.ErrInvalid, "refused before it is stored")
				return
			}

			_, _, err = v.Mail.QueueMornings(ctx, v.Now())
			require.NoError(t, err)
			_, err = v.Mail.Sender("test").Run(ctx, 10)
			if err != nil {
				require.ErrorIs(t, err, notify.ErrBreaker)
				require.NoError(t, v.Mail.Watch(ctx, v.Now()))
				_, err = v.Mail.Sender("admin").Run(ctx, 10)
				require.NoError(t, err)
				require.NotEmpty(t, v.Messages(t)[v.Config.Club.AdminEmail])
			}

			for _, m := range v.Messages(t)["one@home.example"] {
				body := clubtest.Subject(t, m) + clubtest.Text(t, m)
				for _, bad := range []string{"NaN", "<nil>", "%!", "+Inf"} {
					require.NotContains(t, body, bad)
				}
				require.NotRegexp(t, `^(GO|TOSS-UP) .*\b0 in 10`, clubtest.Subject(t, m))
			}
		})
	}
}
