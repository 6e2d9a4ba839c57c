package notify

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"example.org/coldseam"
)

// Relay is the submission server of the club.
type Relay struct {
	Addr  string // host:port
	Hello string // our name in EHLO
	// "starttls" (default), "implicit", "none" (this machine and its private network, without a password)
	TLS      string
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

// near: by its name the relay can be in the private network alone, as a name
// without a domain is. Where it leads is looked at again on connecting.
func (r Relay) near() bool {
	host, _, err := net.SplitHostPort(r.Addr)
	ip := net.ParseIP(host)
	return err == nil && (ip != nil && ip.IsPrivate() || ip == nil && !strings.Contains(host, "."))
}

// Check refuses a relay that would carry mail or a password in the clear.
func (r Relay) Check() error {
	if _, _, err := net.SplitHostPort(r.Addr); err != nil {
		return fmt.Errorf("smtp relay %q: want host:port: %w", r.Addr, coldseam.ErrInvalid)
	}
	switch r.TLS {
	case "", "starttls", "implicit":
	case "none":
		if !r.loopback() && (r.User != "" || !r.near()) {
			return fmt.Errorf(
				"smtp relay %s: tls none is for this machine, and without a password for its private network; "+
					"want starttls or implicit: %w", r.Addr, coldseam.ErrInvalid)
		}
	default:
		return fmt.Errorf("smtp tls %q: want starttls, implicit or none: %w", r.TLS, coldseam.ErrInvalid)
	}
	return nil
}

// watched remembers whether a write failed. When the last write did, the final
// dot never left this machine whole, and the mail was certainly not accepted.
// It also bounds what the relay may say in answer to one command: the library
// gathers a whole reply in memory, and a reply of many lines need not end.
type watched struct {
	net.Conn
	writeFailed bool
	unasked     int // bytes read since the last write
}

// longestReply is far above any greeting, list of extensions or TLS handshake
// [proposal].
const longestReply = 64 << 10

// errEndless: the relay talks on without completing a reply.
var errEndless = fmt.Errorf("more than %d KB without a complete reply: %w", longestReply>>10, coldseam.ErrUnavailable)

func (w *watched) Read(b []byte) (int, error) {
	if w.unasked >= longestReply {
		return 0, errEndless
	}
	n, err := w.Conn.Read(b)
	w.unasked += n
	return n, err
}

func (w *watched) Write(b []byte) (int, error) {
	w.unasked = 0
	n, err := w.Conn.Write(b)
	if err != nil || n < len(b) {
		w.writeFailed = true
	}
	return n, err
}

// relayConn is one open conversation.
type relayConn struct {
	c    *smtp.Client
	raw  *watched
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
	raw := &watched{Conn: conn}

	// A cancelled context must not wait for a command timeout. Sends in
	// progress are let through: only dialling is bound to ctx here.
	stop := context.AfterFunc(ctx, func() { _ = conn.SetDeadline(time.Now()) })
	c, err := r.open(raw)
	if !stop() && err == nil {
		err = ctx.Err()
	}

	if err != nil {
		_ = conn.Close()
		return nil, StageHello, err
	}

	return &relayConn{c: c, raw: raw, r: r}, StageHello, nil
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

func (r Relay) open(raw *watched) (*smtp.Client, error) {
	var c *smtp.Client
	var err error
	// The library's constructor for STARTTLS speaks before timeouts can be
	// set; this bounds it. Every later command sets its own deadline.
	if err = raw.SetDeadline(time.Now().Add(r.CommandTimeout())); err != nil {
		return nil, err
	}

	switch {
	case r.TLS == "implicit":
		c = smtp.NewClient(tls.Client(raw, r.tlsConfig()))
	case r.TLS == "none" && nearAddr(raw.RemoteAddr()):
		c = smtp.NewClient(raw)
	case r.TLS == "none":
		return nil, fmt.Errorf("relay %s is neither on this machine nor in a private network, and tls is none: %w",
			raw.RemoteAddr(), coldseam.ErrInvalid)
	default:
		if c, err = smtp.NewClientStartTLS(raw, r.tlsConfig()); err != nil {
			return nil, fmt.Errorf("starttls: %w", err)
		}
	}

	c.CommandTimeout, c.SubmissionTimeout = r.CommandTimeout(), r.SubmissionTimeout()
	if r.Hello != "" {
		if err = c.Hello(r.Hello); err != nil {
			return nil, err
		}
	} else if err = c.Noop(); err != nil {
		return nil, err
	}

	return c, r.auth(c)
}

// nearAddr is an address of this machine or of a private network, such as that
// between containers.
func nearAddr(a net.Addr) bool {
	t, ok := a.(*net.TCPAddr)
	return ok && (t.IP.IsLoopback() || t.IP.IsPrivate())
}

func (r Relay) auth(c *smtp.Client) error {
	if r.User == "" {
		return nil
	}
	if c.SupportsAuth(sasl.Plain) {
		return c.Auth(sasl.NewPlainClient("", r.User, r.Password))
	}
	if c.SupportsAuth(sasl.Login) {
		return c.Auth(sasl.NewLoginClient(r.User, r.Password))
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
	if err = rc.c.Mail(m.EnvelopeFrom, &smtp.MailOptions{Size: int64(len(m.Bytes))}); err != nil {
		return "", StageMail, err
	}
	fail("before rcpt")
	if err = rc.c.Rcpt(m.To, nil); err != nil {
		return "", StageRcpt, err
	}
	fail("before in_data")

	if err = mark(); err != nil {
		return "", StageRcpt, err
	}
	fail("after in_data")
	w, err := rc.c.Data()
	if err != nil {
		return "", StageData, err
	}
	fail("after data")

	// The library sets no deadline while the text is written.
	_ = rc.raw.SetDeadline(time.Now().Add(rc.r.CommandTimeout()))
	if _, err = io.Copy(w, bytes.NewReader(m.Bytes)); err != nil {
		return "", StageBody, err
	}
	fail("before dot")
	resp, err := w.CloseWithResponse()
	if err != nil {
		if rc.raw.writeFailed {
			return "", StageBody, err
		}
		return "", StageDot, err
	}

	fail("after dot")
	rc.sent++
	return clip(clean(resp.StatusText), 300), StageSent, nil
}

// close says goodbye; what the server answers does not matter any more.
func (rc *relayConn) close() {
	rc.c.CommandTimeout = 2 * time.Second
	_ = rc.c.Quit()
	_ = rc.raw.Close()
}

// reset forgets the mail that was begun.
func (rc *relayConn) reset() error { return rc.c.Reset() }

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
