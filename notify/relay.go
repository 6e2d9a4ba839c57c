package notify

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"example.org/coldseam"
)

// Relay is the submission server of the club.
type Relay struct {
	Addr     string // host:port
	Hello    string // our name in EHLO
	TLS      string // "starttls" (default), "implicit", "none" (loopback only)
	TLSConf  *tls.Config
	User     string // empty = no AUTH
	Password string
	// Timeouts; zero = by place: 5 and 10 min for a remote relay, 60 and 120 s
	// for a loopback one [proposal; RFC 5321 asks 5 and 10 min, from memory].
	DialTimeout   time.Duration // zero = 30 s
	Command       time.Duration
	Submission    time.Duration
	PerConnection int // mails a connection; zero = 10 [proposal]
}

const (
	defaultPerConnection = 10
	defaultDial          = 30 * time.Second
)

func (r Relay) perConnection() int {
	if r.PerConnection > 0 {
		return r.PerConnection
	}
	return defaultPerConnection
}

// SubmissionTimeout is how long the reply to the final dot is waited for; the
// lease of an in_data row must exceed it.
func (r Relay) SubmissionTimeout() time.Duration {
	if r.Submission > 0 {
		return r.Submission
	}
	if r.loopback() {
		return 120 * time.Second
	}
	return 10 * time.Minute
}

// CommandTimeout bounds every other command and the transmission of the text.
func (r Relay) CommandTimeout() time.Duration {
	if r.Command > 0 {
		return r.Command
	}
	if r.loopback() {
		return 60 * time.Second
	}
	return 5 * time.Minute
}

func (r Relay) loopback() bool {
	host, _, err := net.SplitHostPort(r.Addr)
	if err != nil {
		return false
	}
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// Check refuses a relay that would carry mail or a password in the clear.
func (r Relay) Check() error {
	if _, _, err := net.SplitHostPort(r.Addr); err != nil {
		return fmt.Errorf("smtp relay %q: want host:port: %w", r.Addr, coldseam.ErrInvalid)
	}
	switch r.TLS {
	case "", "starttls", "implicit":
	case "none":
		if !r.loopback() {
			return fmt.Errorf("smtp relay %s: tls none is for loopback only: %w", r.Addr, coldseam.ErrInvalid)
		}
	default:
		return fmt.Errorf("smtp tls %q: want starttls, implicit or none: %w", r.TLS, coldseam.ErrInvalid)
	}
	return nil
}

// relayConn is one open conversation.
type relayConn struct {
	d    *dialogue
	raw  net.Conn
	sent int
	r    Relay
}

// dial opens, greets, secures and logs in. On error stage says how far it got.
func (r Relay) dial(ctx context.Context) (rc *relayConn, stage string, err error) {
	d := net.Dialer{Timeout: r.DialTimeout}
	if d.Timeout == 0 {
		d.Timeout = defaultDial
	}
	conn, err := d.DialContext(ctx, "tcp", r.Addr)
	if err != nil {
		return nil, StageDial, err
	}
	// A cancelled context must not wait for a command timeout. Sends in
	// progress are let through: only dialling is bound to ctx here.
	stop := context.AfterFunc(ctx, func() { _ = conn.SetDeadline(time.Now()) })
	said, err := r.open(ctx, conn)
	if !stop() && err == nil {
		err = ctx.Err()
	}
	if err != nil {
		_ = conn.Close()
		return nil, StageHello, err
	}
	return &relayConn{d: said, raw: conn, r: r}, StageHello, nil
}

func (r Relay) tlsConfig() *tls.Config {
	conf := &tls.Config{MinVersion: tls.VersionTLS12}
	if r.TLSConf != nil {
		conf = r.TLSConf.Clone()
	}
	if conf.ServerName == "" {
		conf.ServerName, _, _ = net.SplitHostPort(r.Addr)
	}
	return conf
}

func (r Relay) open(ctx context.Context, raw net.Conn) (*dialogue, error) {
	wrap := func(c net.Conn) (net.Conn, error) {
		x := tls.Client(c, r.tlsConfig())
		if err := x.HandshakeContext(ctx); err != nil {
			return nil, fmt.Errorf("handshake: %w", err)
		}
		return x, nil
	}
	// This bounds a handshake; every command sets its own deadline.
	if err := raw.SetDeadline(time.Now().Add(r.CommandTimeout())); err != nil {
		return nil, err
	}
	conn := raw
	switch {
	case r.TLS == "implicit":
		var err error
		if conn, err = wrap(raw); err != nil {
			return nil, err
		}
	case r.TLS == "none" && !loopbackAddr(raw.RemoteAddr()):
		return nil, fmt.Errorf("relay is not on loopback and tls is none: %w", coldseam.ErrInvalid)
	}
	d := newDialogue(conn, r.CommandTimeout())
	if err := d.greet(); err != nil {
		return nil, err
	}
	if err := d.hello(r.Hello); err != nil {
		return nil, err
	}
	if r.TLS == "" || r.TLS == "starttls" {
		if err := d.secure(wrap); err != nil {
			return nil, fmt.Errorf("starttls: %w", err)
		}
		if err := d.hello(r.Hello); err != nil {
			return nil, err
		}
	}
	return d, r.auth(d)
}

func loopbackAddr(a net.Addr) bool {
	t, ok := a.(*net.TCPAddr)
	return ok && t.IP.IsLoopback()
}

func (r Relay) auth(d *dialogue) error {
	switch {
	case r.User == "":
		return nil
	case d.mechanism(sasl.Plain):
		return d.login(sasl.NewPlainClient("", r.User, r.Password))
	case d.mechanism(sasl.Login):
		return d.login(sasl.NewLoginClient(r.User, r.Password))
	}
	return &smtp.SMTPError{Code: 535, EnhancedCode: smtp.EnhancedCode{5, 7, 8},
		Message: "relay offers neither PLAIN nor LOGIN"}
}

// errNotOurs: the row was taken over before the text was sent.
var errNotOurs = errors.New("row is no longer ours")

// send carries one message. mark is called just before DATA and must have
// committed when it returns nil. The stage tells how far it got.
func (rc *relayConn) send(m Message, mark func() error, fail func(string)) (reply, stage string, err error) {
	fail("before mail")
	if stage, err = rc.d.envelope(m.EnvelopeFrom, m.To, len(m.Bytes), func() { fail("before rcpt") }); err != nil {
		return "", stage, err
	}
	fail("before in_data")
	if err = mark(); err != nil {
		return "", StageRcpt, err
	}
	fail("after in_data")
	if _, err = rc.d.ask("354", "DATA"); err != nil {
		return "", StageData, err
	}
	fail("after data")
	if err = rc.d.text(m.Bytes, func() { fail("before dot") }); err != nil {
		return "", StageBody, err
	}
	_ = rc.raw.SetDeadline(time.Now().Add(rc.r.SubmissionTimeout()))
	reply, err = rc.d.reply("25")
	if err != nil {
		return "", StageDot, err
	}
	fail("after dot")
	rc.sent++
	return clip(clean(reply), 300), StageSent, nil
}

// close says goodbye; what the server answers does not matter any more.
func (rc *relayConn) close() {
	rc.d.command = 2 * time.Second
	_, _ = rc.d.ask("221", "QUIT")
	_ = rc.raw.Close()
}

// reset forgets the mail that was begun.
func (rc *relayConn) reset() error {
	_, err := rc.d.ask("250", "RSET")
	return err
}

// usable reports whether the conversation can carry another mail after err.
func (rc *relayConn) usable(err error) bool {
	var se *smtp.SMTPError
	if err != nil && (!errors.As(err, &se) || se.Code == 421) {
		return false
	}
	if err != nil && rc.reset() != nil {
		return false
	}
	return rc.sent < rc.r.perConnection()
}
