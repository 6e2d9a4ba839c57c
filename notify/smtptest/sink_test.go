package smtptest

import (
	"bufio"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func start(t *testing.T, conf Config) *Server {
	t.Helper()
	s, err := Start(conf)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

func dial(t *testing.T, s *Server) *smtp.Client {
	t.Helper()
	c, err := smtp.Dial(s.Addr())
	require.NoError(t, err)
	c.CommandTimeout, c.SubmissionTimeout = 3*time.Second, 3*time.Second
	t.Cleanup(func() { _ = c.Close() })
	return c
}

func send(c *smtp.Client, body string) error {
	return c.SendMail("a@club.example", []string{"b@home.example"}, strings.NewReader(body))
}

// TestKeeps: accepted mails are in memory and as files whose numbers go on
// over a restart.
func TestKeeps(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "mail")
	s := start(t, Config{Dir: dir})
	c := dial(t, s)
	require.NoError(t, send(c, "Subject: one\r\n\r\n.dot\r\n"))
	require.NoError(t, send(c, "Subject: two\r\n\r\n"))
	require.Equal(t, 2, s.Count())
	require.Equal(t, 1, s.Connections())

	m := s.Mails()
	require.Equal(t, "a@club.example", m[0].From)
	require.Equal(t, []string{"b@home.example"}, m[0].To)
	require.Equal(t, "Subject: one\r\n\r\n.dot\r\n", string(m[0].Data))
	raw, err := os.ReadFile(filepath.Join(dir, "00001.eml"))
	require.NoError(t, err)
	require.Equal(t, m[0].Data, raw)

	again := start(t, Config{Dir: dir})
	require.NoError(t, send(dial(t, again), "Subject: three\r\n\r\n"))
	require.Equal(t, filepath.Join(dir, "00003.eml"), again.Mails()[0].File)
	left, err := filepath.Glob(filepath.Join(dir, "*.part"))
	require.NoError(t, err)
	require.Empty(t, left)
}

// TestHalfBody: a text that was cut off is no mail.
func TestHalfBody(t *testing.T) {
	t.Parallel()
	s := start(t, Config{})
	conn, err := net.Dial("tcp", s.Addr())
	require.NoError(t, err)
	r := bufio.NewReader(conn)
	for _, cmd := range []string{"", "HELO x", "MAIL FROM:<a@club.example>", "RCPT TO:<b@home.example>", "DATA"} {
		if cmd != "" {
			_, err = fmt.Fprintf(conn, "%s\r\n", cmd)
			require.NoError(t, err)
		}
		_, err = r.ReadString('\n')
		require.NoError(t, err)
	}

	_, err = fmt.Fprint(conn, "Subject: half\r\n\r\nthis is no")
	require.NoError(t, err)
	require.NoError(t, conn.Close())
	require.Eventually(t, func() bool { // the conversation has ended
		s.mu.Lock()
		defer s.mu.Unlock()
		return len(s.raw) == 0
	}, 5*time.Second, time.Millisecond)
	require.Zero(t, s.Count())
}

func TestRefusesToListenOutside(t *testing.T) {
	t.Parallel()
	_, err := Start(Config{Addr: "0.0.0.0:0"})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	_, err = Start(Config{Addr: "nowhere"})
	require.Error(t, err)
}

// TestScript: faults are played where and as often as the script says.
func TestScript(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	stages := map[string]int{}
	s := start(t, Config{Script: func(e Event) Fault {
		mu.Lock()
		defer mu.Unlock()
		require.Equal(t, stages[e.Stage], e.N)
		stages[e.Stage]++
		if e.Stage == "rcpt" && e.N == 0 {
			require.Equal(t, "b@home.example", e.To)
			return Reply(550, "5.1.1", "no such user")
		}
		return Fault{}
	}})
	c := dial(t, s)
	err := send(c, "Subject: x\r\n\r\n")

	var se *smtp.SMTPError
	require.ErrorAs(t, err, &se)
	require.Equal(t, 550, se.Code)
	require.Equal(t, smtp.EnhancedCode{5, 1, 1}, se.EnhancedCode)
	require.NoError(t, send(c, "Subject: x\r\n\r\n"))
	mu.Lock()
	defer mu.Unlock()
	require.Equal(t, map[string]int{"greet": 1, "hello": 1, "mail": 2, "rcpt": 2, "data": 1, "body": 1, "dot": 1},
		stages)
}

// TestCloseReleasesHangs: a hanging fault does not outlive the server.
func TestCloseReleasesHangs(t *testing.T) {
	t.Parallel()
	s, err := Start(Config{Script: At("dot", -1, Fault{Hang: time.Hour})})
	require.NoError(t, err)
	c, err := smtp.Dial(s.Addr())
	require.NoError(t, err)
	done := make(chan error, 1)
	go func() { done <- send(c, "Subject: x\r\n\r\n") }()
	require.Eventually(t, func() bool { return s.Connections() > 0 }, 5*time.Second, time.Millisecond)
	require.NoError(t, s.Close())
	require.Error(t, <-done)
	require.Zero(t, s.Count())
	require.NoError(t, s.Close(), "closing twice is fine")
}

func TestDiscard(t *testing.T) {
	t.Parallel()
	s := start(t, Config{Discard: true})
	require.NoError(t, send(dial(t, s), "Subject: x\r\n\r\n"))
	require.Equal(t, 1, s.Count())
	require.Empty(t, s.Mails())
}
