// Package smtptest is an SMTP server on loopback for the demo and for tests: it
// keeps what it accepts in memory and as .eml files, and plays scripted faults
// of real relays.
package smtptest

import (
	"bytes"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"example.org/coldseam"
)

// Mail is one accepted message.
type Mail struct {
	From string
	To   []string
	Data []byte // as transmitted, CRLF lines
	At   time.Time
	File string // "" when no directory is set
}

// Config of a sink.
type Config struct {
	Addr       string      // default 127.0.0.1:0
	Dir        string      // for .eml files; "" = memory only
	TLS        *tls.Config // offers STARTTLS when set
	User, Pass string      // asks for AUTH when set
	Script     Script      // nil = accepts everything
	Discard    bool        // count only, keep no bytes: for benchmarks
}

// Server is a running sink.
type Server struct {
	conf Config
	srv  *smtp.Server
	l    net.Listener
	done chan struct{}

	mu     sync.Mutex
	mails  []Mail
	count  int
	conns  int
	next   int // number of the next file
	stages map[string]int
	raw    map[string]*conn
	gone   chan struct{} // closed by Close; releases hanging faults
}

// Start listens and serves until Close.
func Start(conf Config) (*Server, error) {
	if conf.Addr == "" {
		conf.Addr = "127.0.0.1:0"
	}
	s := &Server{conf: conf, done: make(chan struct{}), gone: make(chan struct{}), raw: map[string]*conn{}, next: 1}
	if conf.Dir != "" {
		if err := os.MkdirAll(conf.Dir, 0o755); err != nil {
			return nil, fmt.Errorf("sink directory: %w", err)
		}
		old, err := filepath.Glob(filepath.Join(conf.Dir, "*.eml"))
		if err != nil {
			return nil, fmt.Errorf("sink directory: %w", err)
		}
		s.next = len(old) + 1
	}

	l, err := net.Listen("tcp", conf.Addr)
	if err != nil {
		return nil, fmt.Errorf("sink: %w", err)
	}
	host, _, _ := net.SplitHostPort(l.Addr().String())
	if ip := net.ParseIP(host); ip == nil || !ip.IsLoopback() {
		_ = l.Close()
		return nil, fmt.Errorf("sink address %s: want loopback: %w", l.Addr(), coldseam.ErrInvalid)
	}

	s.l = l
	s.srv = smtp.NewServer(smtp.BackendFunc(s.session))
	s.srv.Domain = "sink.example"
	s.srv.TLSConfig = conf.TLS
	s.srv.AllowInsecureAuth = conf.TLS == nil
	s.srv.MaxMessageBytes = 4 << 20
	s.srv.ReadTimeout, s.srv.WriteTimeout = 2*time.Minute, 2*time.Minute
	s.srv.ErrorLog = log.New(io.Discard, "", 0)
	go func() {
		defer close(s.done)
		_ = s.srv.Serve(&listener{Listener: l, s: s})
	}()
	return s, nil
}

// Addr is host:port.
func (s *Server) Addr() string { return s.l.Addr().String() }

// Close stops the server and every conversation.
func (s *Server) Close() error {
	s.mu.Lock()
	select {
	case <-s.gone:
	default:
		close(s.gone)
	}
	s.mu.Unlock()
	err := s.srv.Close()
	_ = s.l.Close() // the server may not have taken the listener over yet
	<-s.done
	if errors.Is(err, net.ErrClosed) || errors.Is(err, smtp.ErrServerClosed) {
		return nil
	}
	return err
}

// Mails are the accepted messages so far.
func (s *Server) Mails() []Mail {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]Mail(nil), s.mails...)
}

// Count is the number of accepted messages.
func (s *Server) Count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.count
}

// Connections is the number of conversations opened so far.
func (s *Server) Connections() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.conns
}

func (s *Server) session(c *smtp.Conn) (smtp.Session, error) {
	s.mu.Lock()
	raw := s.raw[c.Conn().RemoteAddr().String()]
	s.mu.Unlock()
	if raw == nil {
		return nil, errors.New("unknown connection")
	}
	if err := raw.fault(Event{Stage: "hello"}); err != nil {
		return nil, err
	}
	return &session{s: s, c: raw, authed: s.conf.User == ""}, nil
}

// session is one conversation after EHLO.
type session struct {
	s      *Server
	c      *conn
	authed bool
	from   string
	to     []string
}

func (x *session) AuthMechanisms() []string {
	if x.s.conf.User == "" {
		return nil
	}
	return []string{sasl.Plain}
}

func (x *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, pass string) error {
		if user != x.s.conf.User || pass != x.s.conf.Pass {
			return smtp.ErrAuthFailed
		}
		x.authed = true
		return nil
	}), nil
}

func (x *session) Mail(from string, _ *smtp.MailOptions) error {
	if !x.authed {
		return &smtp.SMTPError{Code: 530, EnhancedCode: smtp.EnhancedCode{5, 7, 0}, Message: "authentication required"}
	}
	x.from, x.to = from, nil
	return x.c.fault(Event{Stage: "mail", From: from})
}

func (x *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	if err := x.c.fault(Event{Stage: "rcpt", From: x.from, To: to}); err != nil {
		return err
	}
	x.to = append(x.to, to)
	x.c.armData(Event{Stage: "data", From: x.from, To: to})
	return nil
}

// Data reads the whole text. A text that was cut off is no mail: the reader's
// error must be looked at, since half bodies end like whole ones.
func (x *session) Data(r io.Reader) error {
	e := Event{Stage: "dot", From: x.from, To: x.to[0]}
	if f := x.c.pick(Event{Stage: "body", From: x.from, To: x.to[0]}); f.acts() {
		_, _ = io.CopyN(io.Discard, r, 100)
		return x.c.play(f)
	}
	var b bytes.Buffer
	if _, err := io.Copy(&b, r); err != nil {
		return err
	}
	f := x.c.pick(e)
	if !f.acts() || f.Keep {
		if err := x.s.keep(Mail{From: x.from, To: x.to, Data: b.Bytes(), At: time.Now()}); err != nil {
			return &smtp.SMTPError{Code: 452, EnhancedCode: smtp.EnhancedCode{4, 3, 1}, Message: "sink cannot store"}
		}
	}
	return x.c.play(f)
}

func (x *session) Reset()        { x.from, x.to = "", nil }
func (x *session) Logout() error { return nil }

// keep stores a mail; the file appears whole or not at all.
func (s *Server) keep(m Mail) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.count++
	if s.conf.Discard {
		return nil
	}

	if s.conf.Dir != "" {
		m.File = filepath.Join(s.conf.Dir, fmt.Sprintf("%05d.eml", s.next))
		if err := os.WriteFile(m.File+".part", m.Data, 0o600); err != nil {
			s.count--
			return err
		}
		if err := os.Rename(m.File+".part", m.File); err != nil {
			s.count--
			return err
		}
		s.next++
	}

	s.mails = append(s.mails, m)
	return nil
}
