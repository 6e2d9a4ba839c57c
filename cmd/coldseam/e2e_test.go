package main

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net/mail"
	"runtime/pprof"
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
	"example.org/coldseam/cmd/internal/triplog"
	"example.org/coldseam/ingest/agency"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/sink"
	"example.org/coldseam/store/storetest"
)

// world is the generated record, made once: it is read-only.
var world = sync.OnceValues(func() (*agency.World, error) {
	return agency.Generate(1, coldseam.DateOf(democlub.Start))
})

// town is the whole program on one machine: agency, database, mail server.
type town struct {
	*club.App
	ag    *agency.Agency
	sink  *sink.Server
	clock *democlub.Clock
	log   *bytes.Buffer
	mu    *sync.Mutex

	label  string // of all goroutines of this town
	atRest int    // how many there are before anything happens
}

var towns atomic.Int64

// lockedWriter lets the log be read while workers write.
type lockedWriter struct {
	mu *sync.Mutex
	b  *bytes.Buffer
}

func (w lockedWriter) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.Write(p)
}

func newTown(t *testing.T, script sink.Script) *town {
	t.Helper()
	return newTownOn(t, storetest.URL(t), script)
}

func newTownOn(t *testing.T, dbURL string, script sink.Script) *town {
	t.Helper()
	w, err := world()
	require.NoError(t, err)
	v := &town{clock: democlub.NewClock(democlub.Start), log: &bytes.Buffer{}, mu: &sync.Mutex{}, label: fmt.Sprintf("town %d", towns.Add(1))}
	pprof.SetGoroutineLabels(pprof.WithLabels(t.Context(), pprof.Labels("town", v.label)))
	v.ag, err = agency.New(agency.Options{Now: v.clock.Now, World: w})
	require.NoError(t, err)
	base, err := v.ag.Start()
	require.NoError(t, err)
	v.sink, err = sink.Start(sink.Config{Script: script})
	require.NoError(t, err)
	cfg, err := config.Parse("demo.toml", democlub.TOML, agency.Profiles(base)...)
	require.NoError(t, err)
	cfg.StateDir, cfg.Mail.SMTP, cfg.Listen = t.TempDir(), v.sink.Addr(), "127.0.0.1:0"
	v.App, err = club.New(t.Context(), cfg, env.Options{Now: v.clock.Now, DBURL: dbURL, Migrate: true,
		Log:      slog.New(slog.NewJSONHandler(lockedWriter{v.mu, v.log}, nil)),
		TokenKey: []byte("a key of the tests that is long enough to sign")})
	require.NoError(t, err)
	t.Cleanup(func() {
		v.App.Close()
		v.sink.Close()
		v.ag.Close()
	})
	require.NoError(t, v.SyncRivers(t.Context()))
	v.Sleep = func(context.Context, time.Duration) error { return context.Canceled } // its clock stands
	v.atRest = goroutinesOf(v.label)
	return v
}

// join enters a confirmed subscriber.
func (v *town) join(t *testing.T, email string, p coldseam.Preferences) int64 {
	t.Helper()
	p.Zone = "America/Chicago"
	s, _, err := v.DB.AddSubscriber(t.Context(), email, "", p)
	require.NoError(t, err)
	require.NoError(t, v.DB.Confirm(t.Context(), s.ID))
	return s.ID
}

// history brings the years home, and the club's log.
func (v *town) history(t *testing.T) {
	t.Helper()
	_, err := triplog.Enter(t.Context(), v.Env, democlub.Log)
	require.NoError(t, err)
	_, err = v.Backfill(t.Context(), democlub.Start.AddDate(-12, 0, 0), 20*env.Day, nil)
	require.NoError(t, err)
}

var saturday = coldseam.Date{Year: 2026, Month: time.April, Day: 18}

// send ticks at a local clock time and lets one worker empty the outbox.
func (v *town) send(t *testing.T, hhmm string) {
	t.Helper()
	at, err := notify.SendAt(saturday, hhmm, env.Zone("America/Chicago"))
	require.NoError(t, err)
	v.clock.Forward(at)
	_, _, err = v.QueueMornings(t.Context(), v.Now())
	require.NoError(t, err)
	_, err = v.Sender("test").Run(t.Context(), 100)
	require.NoError(t, err)
}

// letters are the accepted mails by recipient.
func (v *town) letters(t *testing.T) map[string][]*mail.Message {
	t.Helper()
	out := map[string][]*mail.Message{}
	for _, m := range v.sink.Mails() {
		x, err := mail.ReadMessage(bytes.NewReader(m.Data))
		require.NoError(t, err)
		out[m.To[0]] = append(out[m.To[0]], x)
	}
	return out
}

func text(t *testing.T, m *mail.Message) string {
	t.Helper()
	s, err := plainPart(m.Header.Get("Content-Type"), m.Header.Get("Content-Transfer-Encoding"), m.Body)
	require.NoError(t, err)
	require.NotEmpty(t, s)
	return s
}

// The same story as the demo, with the clock fixed on an April morning.
func TestMorningFromGaugeToMail(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := newTown(t, nil)
	v.join(t, "all@club.example.org", coldseam.Preferences{})
	v.join(t, "one@club.example.org", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	v.join(t, "two@club.example.org", coldseam.Preferences{Reaches: []coldseam.ReachID{"brandt-ledge", "hallam-sandbar"}, Units: "metric"})
	v.history(t)

	// Fetched again, nothing is new; a correction keeps both versions.
	again, err := v.FetchAll(ctx)
	require.NoError(t, err)
	require.Zero(t, again.Added)
	require.Zero(t, again.Revised)
	before := v.Now()
	v.clock.Forward(before.Add(time.Second))
	v.ag.Revise()
	later, err := v.FetchAll(ctx)
	require.NoError(t, err)
	require.Positive(t, later.Revised)
	old, err := v.DB.History(ctx, "northgauge:NG-1001", coldseam.Discharge, coldseam.Instant, before.Add(-72*time.Hour), before, before)
	require.NoError(t, err)
	now, err := v.DB.History(ctx, "northgauge:NG-1001", coldseam.Discharge, coldseam.Instant, before.Add(-72*time.Hour), before, v.Now())
	require.NoError(t, err)
	require.Equal(t, len(old.Obs), len(now.Obs))
	changed := 0
	for i := range old.Obs {
		if old.Obs[i].Value != now.Obs[i].Value {
			changed++
		}
	}
	require.Positive(t, changed, "the correction is seen only by who asks after it came")

	briefs, err := v.MakeAll(ctx, saturday)
	require.NoError(t, err)
	verdicts := map[coldseam.ReachID]coldseam.Brief{}
	for _, b := range briefs {
		verdicts[b.Reach] = b
	}
	tamsen := verdicts["tamsen-bend"]
	require.Contains(t, []coldseam.Verdict{coldseam.Go, coldseam.TossUp}, tamsen.Verdict)
	require.Equal(t, 0.25, tamsen.Jig[0].TieOz)
	require.Equal(t, coldseam.Stop, verdicts["hallam-sandbar"].Verdict)
	require.Equal(t, coldseam.NoCall, verdicts["brandt-ledge"].Verdict)
	require.Equal(t, "discharge_stale", verdicts["brandt-ledge"].Reasons[0].Code)
	require.NotEmpty(t, tamsen.Crossings)
	require.True(t, tamsen.Run.Active)

	v.send(t, "04:45")
	got := v.letters(t)
	require.Len(t, got, 3)
	for _, ms := range got {
		require.Len(t, ms, 1)
	}
	one := got["one@club.example.org"][0]
	require.Regexp(t, `^(GO|TOSS-UP) Tamsen Sat, good morning \d in 10, 42F`, subject(t, one))
	body := text(t, one)
	require.Contains(t, body, "JIG    tie 1/4 oz")
	require.Contains(t, body, "This is not a safety clearance")
	two := text(t, got["two@club.example.org"][0])
	require.Contains(t, two, "STOP Hallam Fork")
	require.Contains(t, two, "NO CALL Brandt")
	require.Contains(t, two, "m3/s")
	require.NotRegexp(t, `\bin 10\b`, two)

	// The same morning once more: nothing.
	v.send(t, "05:00")
	require.Equal(t, 3, v.sink.Count())

	// No address, no token in the log.
	v.mu.Lock()
	defer v.mu.Unlock()
	require.NotContains(t, v.log.String(), "club.example.org\"")
	require.NotContains(t, v.log.String(), "@")
}

func subject(t *testing.T, m *mail.Message) string {
	t.Helper()
	s, err := wordDecoder.DecodeHeader(m.Header.Get("Subject"))
	require.NoError(t, err)
	return s
}

// A stop that fires after the mail is out reaches everyone who was told GO or
// TOSS-UP, once.
func TestStopAfterTheMailIsCorrected(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	v := newReadyTown(t, nil)
	v.join(t, "one@club.example.org", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	v.join(t, "not@club.example.org", coldseam.Preferences{Reaches: []coldseam.ReachID{"hallam-sandbar"}})
	v.send(t, "04:45")
	require.Equal(t, 2, v.sink.Count())

	v.clock.Forward(v.Now().Add(40 * time.Minute))
	now := v.Now()
	require.NoError(t, v.DB.SaveAlerts(ctx, []coldseam.Alert{{Provider: agency.ProfileAlerts, Sender: "northgauge", Identifier: "planted", Sent: now.Add(-time.Minute),
		Status: "Actual", MsgType: "Alert", Event: "Flood Warning %! NaN", Severity: "Severe", Urgency: "Immediate", Certainty: "Observed", From: now.Add(-time.Minute),
		End: now.Add(24 * time.Hour), GaugeCodes: []string{"TAMX1"}, KnownAt: now.Add(-time.Second)}}))
	_, err := v.FetchAll(ctx)
	require.NoError(t, err)
	for range 3 { // later issues repeat the stop; the mail does not
		v.clock.Forward(v.Now().Add(15 * time.Minute))
		_, err = v.MakeAll(ctx, saturday)
		require.NoError(t, err)
		_, err = v.Sender("test").Run(ctx, 100)
		require.NoError(t, err)
	}
	got := v.letters(t)
	require.Len(t, got["one@club.example.org"], 2)
	require.Len(t, got["not@club.example.org"], 1)
	first, second := got["one@club.example.org"][0], got["one@club.example.org"][1]
	require.Regexp(t, `^STOP replaces (GO|TOSS-UP): Tamsen`, subject(t, second))
	require.Equal(t, first.Header.Get("Message-Id"), second.Header.Get("In-Reply-To"))
	require.NotRegexp(t, `\bin 10\b`, text(t, second))

	// Page and calendar show the same word.
	board, err := club.Pages{App: v.App}.Board(ctx)
	require.NoError(t, err)
	for _, b := range board {
		if b.Reach == "tamsen-bend" {
			require.Equal(t, coldseam.Stop, b.Verdict)
		}
	}
}

// One dead service takes its own part away and nothing else.
func TestFailingWeatherIsNoCallAndTheOthersGoOn(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	v := newReadyTown(t, nil)
	v.clock.Forward(democlub.Start.Add(5 * time.Minute)) // past the making of the ready town
	_, err := v.DB.Pool().Exec(ctx, `DELETE FROM coldseam.forecast`)
	require.NoError(t, err)
	v.join(t, "all@club.example.org", coldseam.Preferences{})
	v.ag.ScriptForever("/edr/", agency.Step{Status: 500})
	v.Fetcher.RetryWait = time.Millisecond
	tally, err := v.FetchAll(ctx)
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.Equal(t, 1, tally.Failed)
	require.Greater(t, tally.Feeds, 4, "the other feeds were asked all the same")
	briefs, err := v.MakeAll(ctx, saturday)
	require.NoError(t, err)
	require.Len(t, briefs, 3)
	for _, b := range briefs {
		if b.Reach == "tamsen-bend" {
			require.Equal(t, coldseam.NoCall, b.Verdict)
			codes := []string{}
			for _, r := range b.Reasons {
				codes = append(codes, r.Code)
			}
			require.True(t, strings.Contains(strings.Join(codes, " "), "weather"), codes)
		}
	}
	v.send(t, "04:45")
	require.Equal(t, 1, v.sink.Count())
	body := text(t, v.letters(t)["all@club.example.org"][0])
	require.Contains(t, body, "This is not a go")
}
