package notify

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"math/big"
	"net"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
	"example.org/coldseam/notify/smtptest"
)

func startSink(t testing.TB, conf smtptest.Config) *smtptest.Server {
	t.Helper()
	s, err := smtptest.Start(conf)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

// rows are n mails to different people.
func rows(n int) []coldseam.OutboxMessage {
	out := make([]coldseam.OutboxMessage, n)
	for i := range out {
		l := letterOf(coldseam.MailConfirm, Content{Club: "Tamsen River Club"})
		l.ID, l.Subscriber.ID = int64(i+1), int64(i+1)
		l.Subscriber.Email = fmt.Sprintf("angler%d@home.example", i+1)
		out[i] = l
	}
	return out
}

func testSender(box Outbox, addr string) *Sender {
	c, now := composer(), at(4, 50)
	return &Sender{
		Outbox:  box,
		Compose: func(_ context.Context, l coldseam.OutboxMessage) (Message, error) { return c.Compose(l, nil) },
		Relay: Relay{Addr: addr, TLS: "none", Hello: "club.example", Command: 2 * time.Second,
			Submission: 400 * time.Millisecond, DialTimeout: 2 * time.Second},
		Worker: "w1",
		Now:    func() time.Time { return now },
	}
}

func TestSendAll(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := startSink(t, smtptest.Config{Dir: dir})
	box := newMemory(rows(25)...)
	tally, err := testSender(box, s.Addr()).Run(context.Background(), 100)
	require.NoError(t, err)
	require.Equal(t, Tally{Sent: 25, Connections: 3}, tally)
	require.Equal(t, 3, s.Connections(), "ten mails a connection")
	require.Equal(t, 25, s.Count())
	require.Equal(t, map[coldseam.MailState]int{coldseam.MailSent: 25}, box.states())
	again, err := testSender(box, s.Addr()).Run(context.Background(), 100)
	require.NoError(t, err)
	require.Zero(t, again.Sent, "a second run sends nothing")
	for _, m := range s.Mails() {
		require.FileExists(t, m.File)
		require.Len(t, m.To, 1)
	}
}

// TestFaults is the SMTP fault table: what each fault makes of the first row,
// whether the second row still goes out in the same run, and whether the
// mailing stops.
func TestFaults(t *testing.T) {
	t.Parallel()
	once := func(stage string, f smtptest.Fault) smtptest.Script { return smtptest.At(stage, 1, f) }

	cases := []struct {
		name     string
		script   smtptest.Script
		state    coldseam.MailState
		stage    string
		code     int
		suppress bool
		slow     bool
		breaker  bool
		accepted int // mails in the sink after the run of two rows
		err      error
	}{
		{
			name:   "421 greeting",
			script: once("greet", smtptest.Reply(421, "4.3.2", "busy")),
			state:  coldseam.MailDeferred,
			stage:  StageHello,
			code:   421,
			slow:   true,
			err:    coldseam.ErrUnavailable,
		},
		{
			name:    "554 greeting",
			script:  once("greet", smtptest.Reply(554, "5.7.1", "go away")),
			state:   coldseam.MailDeferred,
			stage:   StageHello,
			code:    554,
			breaker: true,
			err:     ErrBreaker,
		},
		{
			name:   "drop at greeting",
			script: once("greet", smtptest.Fault{Drop: true}),
			state:  coldseam.MailDeferred,
			stage:  StageHello,
			err:    coldseam.ErrUnavailable,
		},
		{
			name:     "451 at MAIL",
			script:   once("mail", smtptest.Reply(451, "4.3.0", "later")),
			state:    coldseam.MailDeferred,
			stage:    StageMail,
			code:     451,
			accepted: 1,
		},
		{
			name:    "550 at MAIL",
			script:  once("mail", smtptest.Reply(550, "5.1.8", "bad sender")),
			state:   coldseam.MailDeferred,
			stage:   StageMail,
			code:    550,
			breaker: true,
			err:     ErrBreaker,
		},
		{
			name:     "451 at RCPT",
			script:   once("rcpt", smtptest.Reply(451, "4.2.1", "greylisted")),
			state:    coldseam.MailDeferred,
			stage:    StageRcpt,
			code:     451,
			accepted: 1,
		},
		{
			name:     "452 at RCPT",
			script:   once("rcpt", smtptest.Reply(452, "4.2.2", "full")),
			state:    coldseam.MailDeferred,
			stage:    StageRcpt,
			code:     452,
			accepted: 1,
		},
		{
			name:     "too many at RCPT",
			script:   once("rcpt", smtptest.Reply(450, "4.2.0", "too many messages")),
			state:    coldseam.MailDeferred,
			stage:    StageRcpt,
			code:     450,
			slow:     true,
			accepted: 1,
		},
		{
			name:     "4.7 at RCPT",
			script:   once("rcpt", smtptest.Reply(450, "4.7.28", "rate")),
			state:    coldseam.MailDeferred,
			stage:    StageRcpt,
			code:     450,
			slow:     true,
			accepted: 1,
		},
		{
			name:     "550 5.1.1 at RCPT",
			script:   once("rcpt", smtptest.Reply(550, "5.1.1", "no such user")),
			state:    coldseam.MailFailed,
			stage:    StageRcpt,
			code:     550,
			suppress: true,
			accepted: 1,
		},
		{
			name:     "550 5.1.10 at RCPT",
			script:   once("rcpt", smtptest.Reply(556, "5.1.10", "null MX")),
			state:    coldseam.MailFailed,
			stage:    StageRcpt,
			code:     556,
			suppress: true,
			accepted: 1,
		},
		{
			name:     "bare 550 at RCPT",
			script:   once("rcpt", smtptest.Reply(550, "", "no such user")),
			state:    coldseam.MailFailed,
			stage:    StageRcpt,
			code:     550,
			suppress: true,
			accepted: 1,
		},
		{
			name:     "552 5.2.2 at RCPT",
			script:   once("rcpt", smtptest.Reply(552, "5.2.2", "mailbox full")),
			state:    coldseam.MailFailed,
			stage:    StageRcpt,
			code:     552,
			accepted: 1,
		},
		{
			name:     "550 5.7.1 at RCPT",
			script:   once("rcpt", smtptest.Reply(550, "5.7.1", "blocked")),
			state:    coldseam.MailDeferred,
			stage:    StageRcpt,
			code:     550,
			accepted: 1,
		},
		{
			name:     "drop at RCPT",
			script:   once("rcpt", smtptest.Fault{Drop: true}),
			state:    coldseam.MailDeferred,
			stage:    StageRcpt,
			accepted: 1,
		},
		{
			name:     "451 at DATA",
			script:   once("data", smtptest.Reply(451, "4.3.0", "disk")),
			state:    coldseam.MailDeferred,
			stage:    StageData,
			code:     451,
			accepted: 1,
		},
		{
			name:     "drop at DATA",
			script:   once("data", smtptest.Fault{Drop: true}),
			state:    coldseam.MailDeferred,
			stage:    StageData,
			accepted: 1,
		},
		{
			name:    "552 5.3.4 at dot",
			script:  once("dot", smtptest.Reply(552, "5.3.4", "too big")),
			state:   coldseam.MailDeferred,
			stage:   StageDot,
			code:    552,
			breaker: true,
			err:     ErrBreaker,
		},
		{
			name:    "550 5.7.1 at dot",
			script:  once("dot", smtptest.Reply(550, "5.7.1", "spam")),
			state:   coldseam.MailDeferred,
			stage:   StageDot,
			code:    550,
			breaker: true,
			err:     ErrBreaker,
		},
		{
			name:     "451 at dot",
			script:   once("dot", smtptest.Reply(451, "4.3.0", "later")),
			state:    coldseam.MailDeferred,
			stage:    StageDot,
			code:     451,
			accepted: 1,
		},
		{
			name:     "550 5.1.1 at dot",
			script:   once("dot", smtptest.Reply(550, "5.1.1", "gone")),
			state:    coldseam.MailFailed,
			stage:    StageDot,
			code:     550,
			suppress: true,
			accepted: 1,
		},
		{
			name:     "drop after dot, kept",
			script:   once("dot", smtptest.Fault{Drop: true, Keep: true}),
			state:    coldseam.MailUnknown,
			stage:    StageDot,
			accepted: 2,
		},
		{
			name:     "drop after dot, lost",
			script:   once("dot", smtptest.Fault{Drop: true}),
			state:    coldseam.MailUnknown,
			stage:    StageDot,
			accepted: 1,
		},
		{
			name:     "hang after dot",
			script:   once("dot", smtptest.Fault{Hang: 5 * time.Second, Keep: true}),
			state:    coldseam.MailUnknown,
			stage:    StageDot,
			accepted: 2,
		},
		{name: "accepted", script: nil, state: coldseam.MailSent, stage: StageSent, code: 250, accepted: 2},
	}

	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := startSink(t, smtptest.Config{Script: c.script})
			box := newMemory(rows(2)...)
			_, err := testSender(box, s.Addr()).Run(context.Background(), 2)
			if c.err == nil {
				require.NoError(t, err)
			} else {
				require.ErrorIs(t, err, c.err)
			}

			o := box.last(1)
			require.Equal(t, c.state, o.State, "%+v", o)
			require.Equal(t, c.stage, o.Stage)
			require.Equal(t, c.code, o.Code)
			require.Equal(t, c.suppress, o.Suppress != "")
			require.Equal(t, c.slow, o.Slow)
			require.Equal(t, c.breaker, o.Breaker)
			require.Equal(t, c.accepted, s.Count())

			if o.State == coldseam.MailDeferred {
				require.True(t, o.NextAt.After(at(4, 50)))
			}
			require.NotContains(t, o.Reply, "@")
			if c.err == nil {
				require.Equal(t, coldseam.MailSent, box.last(2).State, "one row's fault never stops the next")
			} else {
				require.Equal(t, coldseam.MailDeferred, box.last(2).State, "untried rows are given back")
			}
		})
	}
}

func TestRelayNotReached(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	addr := l.Addr().String()
	require.NoError(t, l.Close())
	box := newMemory(rows(3)...)
	tally, err := testSender(box, addr).Run(context.Background(), 3)
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.Equal(t, 3, tally.Deferred)
	require.Equal(t, StageDial, box.last(1).Stage)
}

// TestDropAlways: a relay that loses every reply must stop the mailing within
// twenty attempts.
func TestDropAlways(t *testing.T) {
	t.Parallel()
	s := startSink(t, smtptest.Config{Script: smtptest.At("dot", -1, smtptest.Fault{Drop: true, Keep: true})})
	box := newMemory(rows(60)...)
	box.resend = false
	_, err := testSender(box, s.Addr()).Run(context.Background(), 60)
	require.ErrorIs(t, err, ErrBreaker)
	require.Equal(t, 20, s.Count())
	require.Equal(t, 20, box.states()[coldseam.MailUnknown])
	require.Equal(t, 40, box.states()[coldseam.MailPending]+box.states()[coldseam.MailDeferred])
}

func TestCorrectionsGoFirst(t *testing.T) {
	t.Parallel()
	s := startSink(t, smtptest.Config{})
	all := append(rows(3), cases()["correction"])
	box := newMemory(all...)
	_, err := testSender(box, s.Addr()).Run(context.Background(), 10)
	require.NoError(t, err)
	require.Contains(t, string(s.Mails()[0].Data), "Subject: STOP replaces GO: Tamsen")
}

// TestRelayDownForLong: after the relay comes back no row sleeps for long,
// however often it was tried before.
func TestRelayDownForLong(t *testing.T) {
	t.Parallel()
	for _, stage := range []string{StageDial, StageHello} {
		for attempt := 1; attempt < 12; attempt++ {
			o := schedule(coldseam.Outcome{State: coldseam.MailDeferred, Stage: stage},
				coldseam.OutboxMessage{ID: 7, Attempt: attempt}, at(4, 50))
			require.LessOrEqual(t, o.NextAt.Sub(at(4, 50)), 6*time.Minute)
		}
	}
}

// TestFirstRetry: the first pause is the short one.
func TestFirstRetry(t *testing.T) {
	t.Parallel()
	s := startSink(t, smtptest.Config{Script: smtptest.At("rcpt", 1, smtptest.Reply(451, "4.2.1", "later"))})
	box := newMemory(rows(1)...)
	_, err := testSender(box, s.Addr()).Run(context.Background(), 1)
	require.NoError(t, err)
	require.WithinDuration(t, at(4, 51), box.last(1).NextAt, 12*time.Second)
}

// TestSlowRelayKeepsFewRows: rows whose lease runs down are not begun; another
// worker may have them by the time their text would go out.
func TestSlowRelayKeepsFewRows(t *testing.T) {
	t.Parallel()
	s := startSink(t, smtptest.Config{})
	box := newMemory(rows(5)...)
	x := testSender(box, s.Addr())
	now := at(4, 50)
	x.Now = func() time.Time { return now }
	x.Fail = func(step string) {
		if step == "before done" {
			now = now.Add(25 * time.Second)
		}
	}

	tally, err := x.Run(context.Background(), 5)
	require.NoError(t, err)
	require.Equal(t, 2, tally.Sent)
	require.Equal(t, map[coldseam.MailState]int{coldseam.MailSent: 2, coldseam.MailClaimed: 3}, box.states())
	now = now.Add(2 * time.Minute)
	x.Fail = nil
	tally, err = x.Run(context.Background(), 5)
	require.NoError(t, err)
	require.Equal(t, 3, tally.Sent)
}

func TestDeadline(t *testing.T) {
	t.Parallel()
	s := startSink(t, smtptest.Config{})
	box := newMemory(rows(1)...)
	x := testSender(box, s.Addr())
	x.Now = func() time.Time { return at(6, 0) }
	tally, err := x.Run(context.Background(), 1)
	require.NoError(t, err)
	require.Equal(t, 1, tally.Expired)
	require.Zero(t, s.Count())
}

func TestSchedule(t *testing.T) {
	t.Parallel()
	now := at(4, 50)
	deferred := coldseam.Outcome{State: coldseam.MailDeferred}

	for _, c := range []struct {
		name     string
		attempt  int
		deadline time.Time
		lo, hi   time.Duration
		expired  bool
	}{
		{name: "first", attempt: 1, lo: 48 * time.Second, hi: 72 * time.Second},
		{name: "second", attempt: 2, lo: 4 * time.Minute, hi: 6 * time.Minute},
		{name: "fifth", attempt: 5, lo: 48 * time.Minute, hi: 72 * time.Minute},
		{name: "far", attempt: 40, lo: 48 * time.Minute, hi: 72 * time.Minute},
		{name: "drawn in", attempt: 5, deadline: now.Add(10 * time.Minute), lo: 9 * time.Minute, hi: 9 * time.Minute},
		{name: "too late", attempt: 5, deadline: now.Add(time.Minute), expired: true},
	} {
		for id := int64(1); id < 50; id++ {
			o := schedule(deferred, coldseam.OutboxMessage{ID: id, Attempt: c.attempt, Deadline: c.deadline}, now)
			if c.expired {
				require.Equal(t, coldseam.MailExpired, o.State, c.name)
				continue
			}
			wait := o.NextAt.Sub(now)
			require.GreaterOrEqual(t, wait, c.lo, c.name)
			require.LessOrEqual(t, wait, c.hi, c.name)
		}
	}
}

// TestTakenOver: a row that another worker took is not sent and not recorded.
func TestTakenOver(t *testing.T) {
	t.Parallel()
	s := startSink(t, smtptest.Config{})
	box := newMemory(rows(2)...)
	x := testSender(box, s.Addr())
	x.Fail = func(step string) {
		if step == "before in_data" {
			box.mu.Lock()
			if box.rows[1].l.State == coldseam.MailClaimed {
				box.rows[1].l.Worker = "w2"
			}
			box.mu.Unlock()
		}
	}

	tally, err := x.Run(context.Background(), 2)
	require.NoError(t, err)
	require.Equal(t, Tally{Sent: 1, Skipped: 1, Connections: 1}, tally)
	require.Equal(t, 1, s.Count())
	require.Empty(t, box.rows[1].outcome)
}

func TestComposeFailureConcernsOneRow(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name    string
		compose func() (Message, error)
		state   coldseam.MailState
	}{
		{"panic", func() (Message, error) { panic("template") }, coldseam.MailDeferred},
		{"bad payload", func() (Message, error) {
			return Message{}, fmt.Errorf("payload: %w", coldseam.ErrInvalid)
		}, coldseam.MailDeferred},
		{"bad address", func() (Message, error) {
			return Message{}, fmt.Errorf("address: %w", coldseam.ErrRejected)
		}, coldseam.MailFailed},
		{"not now", func() (Message, error) {
			return Message{}, fmt.Errorf("read: %w", coldseam.ErrUnavailable)
		}, coldseam.MailDeferred},
		{"void", func() (Message, error) {
			return Message{}, fmt.Errorf("turned back: %w", ErrVoid)
		}, coldseam.MailSkipped},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := startSink(t, smtptest.Config{})
			box := newMemory(rows(2)...)
			x := testSender(box, s.Addr())
			well := x.Compose
			x.Compose = func(ctx context.Context, l coldseam.OutboxMessage) (Message, error) {
				if l.ID == 1 {
					return c.compose()
				}
				return well(ctx, l)
			}

			_, err := x.Run(context.Background(), 5)
			require.NoError(t, err)
			require.Equal(t, c.state, box.last(1).State)
			require.False(t, box.last(1).Breaker)
			require.Equal(t, coldseam.MailSent, box.last(2).State)
		})
	}
}

func TestOutboxDown(t *testing.T) {
	t.Parallel()
	s := startSink(t, smtptest.Config{})
	box := newMemory(rows(3)...)
	broken := errors.New("database gone")
	x := testSender(box, s.Addr())
	x.Fail = func(step string) {
		if step == "before in_data" {
			box.mu.Lock()
			box.fail = broken
			box.mu.Unlock()
		}
	}
	_, err := x.Run(context.Background(), 3)
	require.ErrorIs(t, err, broken)
	require.Zero(t, s.Count(), "nothing is transmitted that cannot be recorded")
}

func TestRunEndsBeforeItsDeadline(t *testing.T) {
	t.Parallel()
	s := startSink(t, smtptest.Config{})
	box := newMemory(rows(3)...)
	x := testSender(box, s.Addr())
	x.Relay.Submission = time.Hour
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	tally, err := x.Run(ctx, 3)
	require.NoError(t, err)
	require.Equal(t, Tally{}, tally, "no row is claimed that could not be waited for")
}

// certificate makes a self-signed one for 127.0.0.1.
func certificate(t *testing.T, host string) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	tmpl := &x509.Certificate{
		SerialNumber:          big.NewInt(1),
		Subject:               pkix.Name{CommonName: host},
		NotBefore:             time.Now().Add(-time.Hour),
		NotAfter:              time.Now().Add(time.Hour),
		IsCA:                  true,
		BasicConstraintsValid: true,
		KeyUsage:              x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}

	if ip := net.ParseIP(host); ip != nil {
		tmpl.IPAddresses = []net.IP{ip}
	} else {
		tmpl.DNSNames = []string{host}
	}

	der, err := x509.CreateCertificate(rand.Reader, tmpl, tmpl, &key.PublicKey, key)
	require.NoError(t, err)
	cert, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	pool := x509.NewCertPool()
	pool.AddCert(cert)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, pool
}

func TestTLSAndLogin(t *testing.T) {
	t.Parallel()
	good, pool := certificate(t, "127.0.0.1")
	other, otherPool := certificate(t, "elsewhere.example")
	otherPool.AppendCertsFromPEM(nil)

	for _, c := range []struct {
		name       string
		cert       *tls.Certificate
		pool       *x509.CertPool
		mode       string
		user, pass string
		sent       int
		stage      string
		breaker    bool
	}{
		{name: "starttls and login", cert: &good, pool: pool, user: "club", pass: "secret", sent: 1},
		{
			name:    "wrong password",
			cert:    &good,
			pool:    pool,
			user:    "club",
			pass:    "wrong",
			stage:   StageHello,
			breaker: true,
		},
		{name: "login missing", cert: &good, pool: pool, stage: StageMail, breaker: true},
		{name: "unknown certificate", cert: &good, user: "club", pass: "secret", stage: StageHello, breaker: true},
		{
			name:    "certificate of another host",
			cert:    &other,
			pool:    otherPool,
			user:    "club",
			pass:    "secret",
			stage:   StageHello,
			breaker: true,
		},
		{name: "starttls not offered", pool: pool, user: "club", pass: "secret", stage: StageHello, breaker: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			conf := smtptest.Config{User: "club", Pass: "secret"}
			if c.cert != nil {
				conf.TLS = &tls.Config{Certificates: []tls.Certificate{*c.cert}}
			}
			s := startSink(t, conf)
			box := newMemory(rows(1)...)
			x := testSender(box, s.Addr())
			x.Relay.TLS, x.Relay.TLSConf = "starttls", &tls.Config{RootCAs: c.pool, MinVersion: tls.VersionTLS12}

			x.Relay.User, x.Relay.Password = c.user, c.pass
			tally, err := x.Run(context.Background(), 1)
			require.Equal(t, c.sent, tally.Sent, "%+v", box.last(1))
			require.Equal(t, c.sent, s.Count())
			if c.breaker {
				require.ErrorIs(t, err, ErrBreaker)
				require.Equal(t, c.stage, box.last(1).Stage, "%+v", box.last(1))
			}
		})
	}
}

func TestRelayCheck(t *testing.T) {
	t.Parallel()
	require.NoError(t, Relay{Addr: "127.0.0.1:25", TLS: "none"}.Check())
	require.NoError(t, Relay{Addr: "mail.example:587"}.Check())
	require.ErrorIs(t, Relay{Addr: "mail.example:25", TLS: "none"}.Check(), coldseam.ErrInvalid)
	require.ErrorIs(t, Relay{Addr: "mail.example"}.Check(), coldseam.ErrInvalid)
	require.ErrorIs(t, Relay{Addr: "mail.example:25", TLS: "maybe"}.Check(), coldseam.ErrInvalid)
}

// TestStepsAreAllReached keeps the list of failpoints honest.
func TestStepsAreAllReached(t *testing.T) {
	t.Parallel()
	s := startSink(t, smtptest.Config{})
	box := newMemory(rows(1)...)
	x := testSender(box, s.Addr())
	var got []string
	x.Fail = func(step string) { got = append(got, step) }
	_, err := x.Run(context.Background(), 1)
	require.NoError(t, err)
	require.Equal(t, brieftest.Steps(), got)
}

// TestLeaseIsRenewed: while the reply to the dot is waited for the row stays the
// worker's, however short its lease; another worker finds nothing.
func TestLeaseIsRenewed(t *testing.T) {
	t.Parallel()
	answer := make(chan struct{})
	s := startSink(t, smtptest.Config{Script: func(e smtptest.Event) smtptest.Fault {
		if e.Stage == "dot" {
			<-answer
		}
		return smtptest.Fault{}
	}})

	box := newMemory(rows(1)...)
	x := testSender(box, s.Addr())
	x.Now, x.Lease, x.Relay.Submission = time.Now, 600*time.Millisecond, time.Minute
	box.rows[1].l.Deadline = time.Time{}
	done := make(chan Tally, 1)
	go func() {
		tally, _ := x.Run(context.Background(), 1)
		done <- tally
	}()

	y := testSender(box, s.Addr())
	y.Now, y.Worker = time.Now, "w2"
	lease := func() (coldseam.MailState, time.Time) {
		box.mu.Lock()
		defer box.mu.Unlock()
		return box.rows[1].l.State, box.rows[1].lease
	}

	var first time.Time
	require.Eventually(t, func() bool {
		st, until := lease()
		first = until
		return st == coldseam.MailInData
	}, 30*time.Second, 10*time.Millisecond)
	require.Eventually(t, func() bool {
		tally, err := y.Run(context.Background(), 1)
		_, until := lease()
		return err == nil && tally == (Tally{}) && until.Sub(first) > 3*x.Lease
	}, 30*time.Second, 20*time.Millisecond)
	close(answer)
	require.Equal(t, 1, (<-done).Sent)
	require.Equal(t, 1, s.Count())
}

// away is an outbox whose database is away for the first calls of Done; the
// third try finds that one whose answer was lost had worked.
type away struct {
	*memory
	calls int
	last  error
	hang  bool
}

func (a *away) Done(ctx context.Context, l coldseam.OutboxMessage, o coldseam.Outcome, now time.Time) error {
	a.calls++
	switch {
	case a.calls == 3 && a.last != nil:
		if err := a.memory.Done(ctx, l, o, now); err != nil {
			return err
		}
		return a.last
	case a.calls == 1 && a.hang: // a connection that the restart left hanging
		<-ctx.Done()
		return ctx.Err()
	case a.calls < 3:
		return fmt.Errorf("the database restarts: %w", coldseam.ErrUnavailable)
	}
	return a.memory.Done(ctx, l, o, now)
}

// TestOutcomeWaitsForTheDatabase: what the relay took while the database was
// away is recorded when it is back, and not sent again.
func TestOutcomeWaitsForTheDatabase(t *testing.T) {
	t.Parallel()
	for name, last := range map[string]error{"back": nil, "its answer lost": fmt.Errorf("taken: %w", coldseam.ErrStale),
		"hanging": nil} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := startSink(t, smtptest.Config{})
			box := &away{memory: newMemory(rows(2)...), last: last, hang: name == "hanging"}
			tally, err := testSender(box, s.Addr()).Run(context.Background(), 5)
			require.NoError(t, err)
			require.Equal(t, 2, tally.Sent)
			require.Equal(t, map[coldseam.MailState]int{coldseam.MailSent: 2}, box.states())
			require.Equal(t, 2, s.Count())
			require.GreaterOrEqual(t, box.calls, 4)
		})
	}
}

// unmarked is an outbox that is away at the moment before the text.
type unmarked struct{ *memory }

func (unmarked) InData(context.Context, coldseam.OutboxMessage, time.Time, time.Time) (bool, error) {
	return false, fmt.Errorf("the database restarts: %w", coldseam.ErrUnavailable)
}

// TestOwnDatabaseIsNotTheRelaysFault: rows that our own database kept from going
// are tried again soon, however often they were tried, and no mailing stops.
func TestOwnDatabaseIsNotTheRelaysFault(t *testing.T) {
	t.Parallel()
	s := startSink(t, smtptest.Config{})
	box := newMemory(rows(30)...)
	for _, r := range box.rows {
		r.l.Attempt, r.l.Deadline = 6, time.Time{}
	}
	tally, err := testSender(unmarked{box}, s.Addr()).Run(context.Background(), 30)
	require.NoError(t, err)
	require.Equal(t, 30, tally.Deferred)
	require.Zero(t, s.Count())
	require.LessOrEqual(t, box.last(1).NextAt.Sub(at(4, 50)), 6*time.Minute)
}

// endless is a relay that begins a reply at one stage and never ends it. It
// counts what was taken from it.
func endless(t *testing.T, before, line string) (addr string, taken *atomic.Int64) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	taken = &atomic.Int64{}

	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}

			go func() {
				defer c.Close()
				_ = c.SetDeadline(time.Now().Add(20 * time.Second))
				if before != "" {
					_, _ = c.Write([]byte(before))
					_, _ = c.Read(make([]byte, 512))
				}

				for taken.Load() < 64<<20 {
					n, err := c.Write([]byte(line))
					taken.Add(int64(n))
					if err != nil {
						return
					}
				}
			}()
		}
	}()

	return l.Addr().String(), taken
}

// TestReplyWithoutEnd: whatever the reply, a relay that never completes it is
// given up after a few kilobytes, by a probe and by a send.
func TestReplyWithoutEnd(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ before, line string }{
		"greeting": {"", "220-welcome\r\n"}, "no line end": {"", "220 welcome welcome "},
		"list of extensions": {"220 here\r\n", "250-SIZE\r\n"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			addr, taken := endless(t, c.before, c.line)
			s := testSender(newMemory(rows(1)...), addr)
			s.Relay.Command = 15 * time.Second // the bound is of bytes, not of time
			require.ErrorIs(t, s.Relay.Probe(context.Background()), coldseam.ErrUnavailable)
			_, err := s.Run(context.Background(), 1)
			require.ErrorIs(t, err, coldseam.ErrUnavailable)
			require.Less(t, taken.Load(), int64(32<<20), "what the kernel buffers, and no more")
		})
	}
}
