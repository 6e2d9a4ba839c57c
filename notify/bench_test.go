package notify

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/smtptest"
)

// BenchmarkCompose writes a morning mail of two rivers with two pictures,
// unsigned.
func BenchmarkCompose(b *testing.B) {
	charts := sampleCharts(b)
	l := letterOf(coldseam.MailMorning,
		Content{Club: "Tamsen River Club", Briefs: []coldseam.Brief{goBrief(), stayBrief()}})
	c := composer()
	m, err := c.Compose(l, charts)
	require.NoError(b, err)
	b.SetBytes(int64(len(m.Bytes)))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := c.Compose(l, charts); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSign adds the RSA-2048 signature to a mail of that size.
func BenchmarkSign(b *testing.B) {
	l := letterOf(coldseam.MailMorning,
		Content{Club: "Tamsen River Club", Briefs: []coldseam.Brief{goBrief(), stayBrief()}})
	m, err := composer().Compose(l, sampleCharts(b))
	require.NoError(b, err)
	s := rsaSigner()
	b.SetBytes(int64(len(m.Bytes)))
	for b.Loop() {
		if _, err := s.Sign(m.Bytes); err != nil {
			b.Fatal(err)
		}
	}
}

// TestSinkProcess is the sink of the benchmarks, a process of its own, so that
// every sender meets it on the same terms. It prints its address, serves until
// its input ends and prints how many mails came.
func TestSinkProcess(t *testing.T) {
	if os.Getenv("COLDSEAM_SINK_PROCESS") == "" {
		t.Skip("the sink of the benchmarks, started by them alone")
	}
	s, err := smtptest.Start(smtptest.Config{Discard: true})
	require.NoError(t, err)
	fmt.Println("sink", s.Addr())
	_, _ = io.Copy(io.Discard, os.Stdin)
	fmt.Println("count", s.Count())
	require.NoError(t, s.Close())
}

// sinkProcess starts it; done ends it and returns the number of mails.
func sinkProcess(b *testing.B) (addr string, done func() int) {
	b.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestSinkProcess$")
	cmd.Env = append(os.Environ(), "COLDSEAM_SINK_PROCESS=1")
	in, err := cmd.StdinPipe()
	require.NoError(b, err)
	out, err := cmd.StdoutPipe()
	require.NoError(b, err)
	require.NoError(b, cmd.Start())

	lines := bufio.NewScanner(out)
	word := func(want string) string {
		for lines.Scan() {
			if rest, ok := strings.CutPrefix(lines.Text(), want+" "); ok {
				return rest
			}
		}
		b.Fatalf("the sink says no %s: %v", want, lines.Err())
		return ""
	}

	return word("sink"), func() int {
		require.NoError(b, in.Close())
		n, err := strconv.Atoi(word("count"))
		require.NoError(b, err)
		for lines.Scan() { // to its end
		}
		require.NoError(b, cmd.Wait())
		return n
	}
}

// BenchmarkSend brings a small mail (about 3 kB, so that the conversation and
// not the text is measured) to a loopback sink in a process of its own: a
// connection a mail, ten mails a connection, and the distribution's own tool
// with the same size. An operation is one mail; composing and signing are not
// part of it. "one" keeps a single connection, as the tool does.
func BenchmarkSend(b *testing.B) {
	m := Message{EnvelopeFrom: "brief@club.example", MessageID: "bench@club.example",
		Bytes: []byte("Subject: bench\r\n\r\n" +
			strings.Repeat("GO Tamsen, Bend reach, Sat 10 Apr, tie 1/4 oz, 2,410 cfs\r\n", 50))}
	send := func(b *testing.B, per int) {
		addr, count := sinkProcess(b)
		box := &queue{l: rows(b.N)}
		x := benchSender(box, addr)
		x.Relay.PerConnection = per
		x.Compose = func(_ context.Context, l coldseam.OutboxMessage) (Message, error) {
			m := m
			m.To = l.Subscriber.Email
			return m, nil
		}

		b.SetBytes(int64(len(m.Bytes)))
		b.ResetTimer()
		tally, err := x.Run(context.Background(), b.N)
		require.NoError(b, err)
		b.StopTimer()
		require.Equal(b, b.N, tally.Sent)
		require.Equal(b, b.N, count())
	}
	b.Run("fresh", func(b *testing.B) { send(b, 1) })
	b.Run("reuse", func(b *testing.B) { send(b, 10) })
	b.Run("one", func(b *testing.B) { send(b, max(b.N, 2)) })
	b.Run("smtp-source", func(b *testing.B) { smtpSource(b, m) })
}

// smtpSource sends as many mails of the same size with the distribution's own
// tool, all over one connection (-d).
func smtpSource(b *testing.B, m Message) {
	tool := ""
	for _, n := range []string{"smtp-source", "/usr/sbin/smtp-source"} {
		if p, err := exec.LookPath(n); err == nil {
			tool = p
			break
		}
	}

	if tool == "" {
		b.Skip("no smtp-source (package postfix): comparison skipped")
	}
	addr, count := sinkProcess(b)
	b.SetBytes(int64(len(m.Bytes)))
	b.ResetTimer()
	out, err := exec.Command(tool, "-d", "-s", "1", "-m", strconv.Itoa(b.N), "-l", strconv.Itoa(len(m.Bytes)), "-f",
		"brief@club.example",
		"-t", "angler@home.example", addr).CombinedOutput()
	b.StopTimer()
	require.NoError(b, err, string(out))
	require.Equal(b, b.N, count())
}

// benchSender has the patience of the program, not that of the tests.
func benchSender(box Outbox, addr string) *Sender {
	x := testSender(box, addr)
	x.Relay.Command, x.Relay.Submission, x.Relay.DialTimeout = 0, 0, 0
	return x
}

// queue is the least outbox: what the benchmark measures is the sending.
type queue struct{ l []coldseam.OutboxMessage }

func (q *queue) Claim(_ context.Context, _ string, _ time.Time, _ time.Duration, n int) ([]coldseam.OutboxMessage, error) {
	n = min(n, len(q.l))
	out := q.l[:n]
	q.l = q.l[n:]
	return out, nil
}

func (*queue) Paced(context.Context, time.Time) (time.Time, error) { return time.Time{}, nil }

func (*queue) InData(context.Context, coldseam.OutboxMessage, time.Time, time.Time) (bool, error) {
	return true, nil
}

func (*queue) Done(context.Context, coldseam.OutboxMessage, coldseam.Outcome, time.Time) error {
	return nil
}

// BenchmarkMorning composes, signs and sends: an operation is one mail of two
// rivers with pictures, over two senders. 10,000 of them are a large club's
// morning.
func BenchmarkMorning(b *testing.B) {
	charts := sampleCharts(b)
	c := composer()
	c.Signer = rsaSigner()
	payload, err := Content{Club: "Tamsen River Club", Briefs: []coldseam.Brief{goBrief(), stayBrief()}}.Marshal()
	require.NoError(b, err)
	s := startSink(b, smtptest.Config{Discard: true})
	all := make([]coldseam.OutboxMessage, b.N)
	for i := range all {
		l := letterOf(coldseam.MailMorning, Content{Briefs: []coldseam.Brief{goBrief()}})
		l.Payload, l.ID, l.Subscriber.ID = payload, int64(i+1), int64(i+1)
		l.Subscriber.Email = fmt.Sprintf("angler%d@home.example", i+1)
		all[i] = l
	}

	boxes := [2]*queue{{all[:b.N/2]}, {all[b.N/2:]}}
	b.ResetTimer()
	done := make(chan error, len(boxes))
	for _, box := range boxes {
		x := benchSender(box, s.Addr())
		x.Compose = func(_ context.Context, l coldseam.OutboxMessage) (Message, error) { return c.Compose(l, charts) }
		go func() {
			_, err := x.Run(context.Background(), b.N)
			done <- err
		}()
	}

	for range boxes {
		require.NoError(b, <-done)
	}
	require.Equal(b, b.N, s.Count())
}
