// Package clubtest runs the whole program of the invented club for tests:
// agency, database and mail server on loopback, the clock on an April
// morning.
package clubtest

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"mime"
	"net/mail"
	"runtime/pprof"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/club"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/democlub"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/cmd/internal/triplog"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/smtptest"
	"example.org/coldseam/store/storetest"
)

// World is the generated record, made once: it is read-only.
var World = sync.OnceValues(func() (*simagency.World, error) {
	return simagency.Generate(1, coldseam.DateOf(democlub.Start))
})

// Harness is the whole program on one machine: agency, database, mail server.
type Harness struct {
	*env.Env
	*parts.Parts
	App    *club.App
	Agency *simagency.Agency
	Sink   *smtptest.Server
	Clock  *democlub.Clock
	Output *bytes.Buffer
	Mu     *sync.Mutex

	Label  string // of all goroutines of this harness
	AtRest int    // how many there are before anything happens
}

var harnesses atomic.Int64

// LockedWriter lets the log be read while workers write.
type LockedWriter struct {
	Mu *sync.Mutex
	B  *bytes.Buffer
}

func (w LockedWriter) Write(p []byte) (int, error) {
	w.Mu.Lock()
	defer w.Mu.Unlock()
	return w.B.Write(p)
}

// New runs the program on an empty database.
func New(t *testing.T, script smtptest.Script) *Harness {
	t.Helper()
	return NewOn(t, storetest.URL(t), script)
}

// NewOn runs it on a database that the test gives.
func NewOn(t *testing.T, dbURL string, script smtptest.Script) *Harness {
	t.Helper()
	return newAt(t, dbURL, script, democlub.Start)
}

// NewAt runs it on an empty database from another day on.
func NewAt(t *testing.T, start time.Time) *Harness {
	t.Helper()
	return newAt(t, storetest.URL(t), nil, start)
}

func newAt(t *testing.T, dbURL string, script smtptest.Script, start time.Time) *Harness {
	t.Helper()
	w, err := World()
	require.NoError(t, err)
	return NewIn(t, dbURL, script, start, w, democlub.TOML)
}

// NewIn runs it in another world, with another configuration.
func NewIn(t *testing.T, dbURL string, script smtptest.Script, start time.Time, w *simagency.World,
	text string) *Harness {
	t.Helper()
	v := &Harness{
		Clock:  democlub.NewClock(start),
		Output: &bytes.Buffer{},
		Mu:     &sync.Mutex{},
		Label:  fmt.Sprintf("harness %d", harnesses.Add(1)),
	}
	pprof.SetGoroutineLabels(pprof.WithLabels(t.Context(), pprof.Labels("harness", v.Label)))
	var err error
	v.Agency, err = simagency.New(simagency.Options{Now: v.Clock.Now, World: w})
	require.NoError(t, err)
	base, err := v.Agency.Start()
	require.NoError(t, err)

	v.Sink, err = smtptest.Start(smtptest.Config{Script: script})
	require.NoError(t, err)
	cfg, err := config.Parse("demo.toml", text, simagency.Profiles(base)...)
	require.NoError(t, err)
	cfg.StateDir, cfg.Mail.SMTP, cfg.Listen = t.TempDir(), v.Sink.Addr(), "127.0.0.1:0"
	err = v.Open(t.Context(), cfg, env.Options{Now: v.Clock.Now, DBURL: dbURL, Migrate: true,
		Log:      slog.New(slog.NewJSONHandler(LockedWriter{v.Mu, v.Output}, nil)),
		TokenKey: []byte("a key of the tests that is long enough to sign")})
	require.NoError(t, err)

	t.Cleanup(func() {
		v.Parts.Close()
		v.Sink.Close()
		v.Agency.Close()
	})
	require.NoError(t, v.SyncRivers(t.Context()))
	v.Mail.Sleep = func(context.Context, time.Duration) error { return context.Canceled } // its clock stands
	v.AtRest = GoroutinesOf(v.Label)
	return v
}

// Open wires the program for a configuration.
func (v *Harness) Open(ctx context.Context, cfg config.Config, o env.Options) (err error) {
	if v.Parts, err = parts.Open(ctx, cfg, o); err != nil {
		return err
	}
	v.Env, v.App = v.Parts.Env, club.New(v.Parts)
	return nil
}

// Join enters a confirmed subscriber.
func (v *Harness) Join(t *testing.T, email string, p coldseam.Preferences) int64 {
	t.Helper()
	p.Zone = "America/Chicago"
	s, _, err := v.DB.AddSubscriber(t.Context(), email, "", p)
	require.NoError(t, err)
	require.NoError(t, v.DB.Confirm(t.Context(), s.ID))
	return s.ID
}

// History fetches the past years and enters the club's log.
func (v *Harness) History(t *testing.T) {
	t.Helper()
	_, err := triplog.Enter(t.Context(), v.Env, democlub.Log)
	require.NoError(t, err)
	_, err = v.Feeds.Backfill(t.Context(), democlub.Start.AddDate(-12, 0, 0), 20*env.Day, nil)
	require.NoError(t, err)
}

// Saturday is the morning of the tests.
var Saturday = coldseam.Date{Year: 2026, Month: time.April, Day: 18}

// Send ticks at a local clock time and lets one worker empty the outbox.
func (v *Harness) Send(t *testing.T, hhmm string) {
	t.Helper()
	at, err := notify.SendAt(Saturday, hhmm, env.Zone("America/Chicago"))
	require.NoError(t, err)
	v.Clock.Forward(at)
	_, _, err = v.Mail.QueueMornings(t.Context(), v.Now())
	require.NoError(t, err)
	_, err = v.Mail.Sender("test").Run(t.Context(), 100)
	require.NoError(t, err)
}

// Messages are the accepted mails by recipient.
func (v *Harness) Messages(t *testing.T) map[string][]*mail.Message {
	t.Helper()
	out := map[string][]*mail.Message{}
	for _, m := range v.Sink.Mails() {
		x, err := mail.ReadMessage(bytes.NewReader(m.Data))
		require.NoError(t, err)
		out[m.To[0]] = append(out[m.To[0]], x)
	}
	return out
}

// Text is the plain part of a mail.
func Text(t *testing.T, m *mail.Message) string {
	t.Helper()
	read, err := democlub.ReadMail(m)
	require.NoError(t, err)
	require.NotEmpty(t, read.Text)
	return read.Text
}

// Subject is the subject of a mail, decoded.
func Subject(t *testing.T, m *mail.Message) string {
	t.Helper()
	s, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	require.NoError(t, err)
	return s
}

// Count is query for counts, on the harness's own pool.
func (v *Harness) Count(t testing.TB, sql string, args ...any) int {
	t.Helper()
	var n int
	require.NoError(t, v.DB.Pool().QueryRow(context.Background(), sql, args...).Scan(&n))
	return n
}

// AssertEventually asks until it is so or the time is over.
func AssertEventually(limit time.Duration, ok func() bool) bool {
	for end := time.Now().Add(limit); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			return false
		}
	}
	return true
}

// GoroutinesOf counts the goroutines under a label.
func GoroutinesOf(label string) int {
	var b bytes.Buffer
	_ = pprof.Lookup("goroutine").WriteTo(&b, 1)
	n, group := 0, 0
	for _, l := range strings.Split(b.String(), "\n") {
		if k, _, ok := strings.Cut(l, " @ "); ok {
			group, _ = strconv.Atoi(k)
		}
		if strings.HasPrefix(l, "# labels: ") && strings.Contains(l, strconv.Quote(label)) {
			n += group
		}
	}
	return n
}

// ReachOf reads a reach.
func (v *Harness) ReachOf(t *testing.T, id coldseam.ReachID) coldseam.Reach {
	t.Helper()
	r, err := v.DB.Reach(t.Context(), id)
	require.NoError(t, err)
	return r
}
