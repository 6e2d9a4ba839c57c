package smtptest

import (
	"fmt"
	"net"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-smtp"
)

// Event is a moment at which a script may act. Stages: greet, hello, mail,
// rcpt, data (the answer to DATA), body (in the middle of the text), dot.
type Event struct {
	Stage string
	Conn  int // number of the conversation, from 1
	N     int // how often this stage was reached before, over all conversations
	From  string
	To    string
}

// Fault is what happens instead of acceptance. The zero value accepts.
type Fault struct {
	Code int    // reply with this code
	Esc  string // enhanced code, "5.1.1"
	Text string
	Drop bool          // close the link without a reply
	Hang time.Duration // stay silent that long, then close
	Keep bool          // at dot: the mail is kept although the reply is lost or bad
}

func (f Fault) acts() bool { return f.Code != 0 || f.Drop || f.Hang > 0 }

// Script chooses the fault of an event. It is called by several conversations
// at once.
type Script func(Event) Fault

// At is a script that plays f at one stage for the first n times (n < 0 =
// always).
func At(stage string, n int, f Fault) Script {
	return func(e Event) Fault {
		if e.Stage == stage && (n < 0 || e.N < n) {
			return f
		}
		return Fault{}
	}
}

// Reply is a fault with a code: Reply(550, "5.1.1", "no such user").
func Reply(code int, esc, text string) Fault { return Fault{Code: code, Esc: esc, Text: text} }

func (f Fault) error() error {
	e := &smtp.SMTPError{Code: f.Code, EnhancedCode: smtp.NoEnhancedCode, Message: f.Text}
	var a, b, c int
	if _, err := fmt.Sscanf(f.Esc, "%d.%d.%d", &a, &b, &c); err == nil {
		e.EnhancedCode = smtp.EnhancedCode{a, b, c}
	}
	return e
}

// listener wraps every connection so that faults can be played below SMTP.
type listener struct {
	net.Listener
	s  *Server
	mu sync.Mutex
	n  int
}

func (l *listener) Accept() (net.Conn, error) {
	for {
		raw, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		l.mu.Lock()
		l.n++
		c := &conn{Conn: raw, s: l.s, id: l.n}
		l.mu.Unlock()

		l.s.mu.Lock()
		l.s.conns++
		l.s.raw[raw.RemoteAddr().String()] = c
		l.s.mu.Unlock()
		f := c.pick(Event{Stage: "greet"})
		if !f.acts() {
			return c, nil
		}
		go c.refuse(f)
	}
}

// conn can lose its link or change the answer to DATA.
type conn struct {
	net.Conn
	s  *Server
	id int

	mu   sync.Mutex
	mute bool   // writes vanish
	data *Fault // replaces the 354
}

func (c *conn) Close() error {
	c.s.mu.Lock()
	delete(c.s.raw, c.RemoteAddr().String())
	c.s.mu.Unlock()
	return c.Conn.Close()
}

// refuse plays a fault at the greeting.
func (c *conn) refuse(f Fault) {
	if f.Code != 0 {
		text := f.Text
		if f.Esc != "" {
			text = f.Esc + " " + text
		}
		_, _ = fmt.Fprintf(c.Conn, "%d %s\r\n", f.Code, text)
	}
	c.wait(f.Hang)
	_ = c.Close()
}

func (c *conn) wait(d time.Duration) {
	if d <= 0 {
		return
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-c.s.gone:
	}
}

// pick asks the script.
func (c *conn) pick(e Event) Fault {
	if c.s.conf.Script == nil {
		return Fault{}
	}
	e.Conn = c.id
	e.N = c.s.reached(e.Stage)
	return c.s.conf.Script(e)
}

// fault asks and plays.
func (c *conn) fault(e Event) error { return c.play(c.pick(e)) }

// play acts on the link or returns the reply to give.
func (c *conn) play(f Fault) error {
	if f.Drop || f.Hang > 0 {
		c.mu.Lock()
		c.mute = true
		c.mu.Unlock()
		c.wait(f.Hang)
		_ = c.Close()
		return smtp.ErrServerClosed
	}
	if f.Code != 0 {
		return f.error()
	}
	return nil
}

// armData prepares the answer to the DATA command that follows.
func (c *conn) armData(e Event) {
	f := c.pick(e)
	if !f.acts() {
		return
	}
	c.mu.Lock()
	c.data = &f
	c.mu.Unlock()
}

// Write lets everything pass but a muted reply and the 354 of an armed fault.
// Under TLS the reply cannot be seen here; scripts of the data stage need a
// plain connection.
func (c *conn) Write(b []byte) (int, error) {
	c.mu.Lock()
	mute, data := c.mute, c.data
	if data != nil && strings.HasPrefix(string(b), "354") {
		c.data = nil
	} else {
		data = nil
	}

	c.mu.Unlock()
	if mute {
		return len(b), nil
	}
	if data == nil {
		return c.Conn.Write(b)
	}

	if data.Code != 0 {
		text := data.Text
		if data.Esc != "" {
			text = data.Esc + " " + text
		}
		_, _ = fmt.Fprintf(c.Conn, "%d %s\r\n", data.Code, text)
		// The server library waits for a text now; the client goes on with
		// another command, which it would take for one. So the link ends.
	}

	c.wait(data.Hang)
	_ = c.Close()
	return len(b), nil
}

// reached counts how often a stage came.
func (s *Server) reached(stage string) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.stages == nil {
		s.stages = map[string]int{}
	}
	s.stages[stage]++
	return s.stages[stage] - 1
}
