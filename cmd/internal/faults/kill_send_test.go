package faults

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/mail"
	"os"
	"os/exec"
	"strconv"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/brieftest"
	"example.org/coldseam/notify/smtptest"
	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

// killConnections is how many connections the process that is killed has.
const killConnections = 4

// The environment of the sending process.
const (
	killDB    = "COLDSEAM_KILL_DATABASE"
	killRelay = "COLDSEAM_KILL_RELAY"
	killStep  = "COLDSEAM_KILL_STEP"
	killNth   = "COLDSEAM_KILL_NTH"
	killRound = "COLDSEAM_KILL_ROUND"
)

// killBase is when the mailing was made; every round is killApart later, so
// that the leases of the dead are over.
var killBase = time.Date(2027, 4, 10, 9, 45, 0, 0, time.UTC)

const killApart = 3 * time.Minute

func killClock(round int) time.Time { return killBase.Add(time.Duration(round) * killApart) }

// TestKillSendChild is the sending process: four senders on the outbox in
// Postgres. At the named step it tells the parent by a byte and stands still
// there until it is killed, while its other connections go on. It does nothing
// when run as a test.
func TestKillSendChild(t *testing.T) {
	url := os.Getenv(killDB)
	if url == "" {
		t.Skip("the sending process of the kills, started by them alone")
	}
	nth, err := strconv.ParseInt(os.Getenv(killNth), 10, 64)
	require.NoError(t, err)
	round, err := strconv.Atoi(os.Getenv(killRound))
	require.NoError(t, err)
	db, err := store.Open(context.Background(), url, store.Options{MaxConns: killConnections + 1})
	require.NoError(t, err)
	defer db.Close()

	c := notify.Composer{
		Club:         "Tamsen River Club",
		From:         mail.Address{Address: "brief@club.example"},
		Domain:       "club.example",
		BounceDomain: "bounce.club.example",
		Owner:        "keeper@club.example",
		Links: notify.Links{PublicURL: "https://club.example", Tokens: notify.Tokens{List: "brief",
			Current: notify.TokenKey{ID: 1, Secret: []byte("a key of the tests that is long enough to sign")}}},
	}
	told := os.NewFile(3, "told")
	started := time.Now()
	var seen atomic.Int64
	var wg sync.WaitGroup

	for i := range killConnections {
		s := &notify.Sender{Outbox: db, Worker: fmt.Sprintf("round%d-%d", round, i),
			Compose: func(_ context.Context, l coldseam.OutboxMessage) (notify.Message, error) { return c.Compose(l, nil) },
			Relay:   notify.Relay{Addr: os.Getenv(killRelay), TLS: "none", Hello: "club.example"},
			Now:     func() time.Time { return killClock(round).Add(time.Since(started)) },
			Fail: func(step string) {
				if step == os.Getenv(killStep) && seen.Add(1) == nth {
					_, _ = told.Write([]byte{1})
					select {}
				}
			}}
		wg.Go(func() {
			if _, err := s.Run(context.Background(), 1<<20); err != nil {
				t.Error(err)
			}
		})
	}

	wg.Wait()
}

// killed runs the sending process and kills it with SIGKILL when it says that
// it stands at the step. False: it came to an end without getting there.
func killed(t *testing.T, url, relay, step string, nth, round int) bool {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestKillSendChild$")
	cmd.Env = append(os.Environ(), killDB+"="+url, killRelay+"="+relay, killStep+"="+step,
		killNth+"="+strconv.Itoa(nth), killRound+"="+strconv.Itoa(round))
	r, w, err := os.Pipe()
	require.NoError(t, err)
	defer func() { _ = r.Close() }()
	cmd.ExtraFiles = []*os.File{w}
	var out lockedBuffer
	cmd.Stdout, cmd.Stderr = &out, &out

	require.NoError(t, cmd.Start())
	require.NoError(t, w.Close())
	hung := time.AfterFunc(2*time.Minute, func() { _ = cmd.Process.Kill() })
	n, _ := r.Read(make([]byte, 1)) // the byte, or the end of the file when it exits
	if n == 1 {
		require.NoError(t, cmd.Process.Signal(syscall.SIGKILL))
	}
	err = cmd.Wait()
	require.True(t, hung.Stop(), "the sending process hangs: %s", out.String())

	if n == 1 {
		require.Error(t, err)
		require.Equal(t, syscall.SIGKILL, cmd.ProcessState.Sys().(syscall.WaitStatus).Signal(), out.String())
		return true
	}
	require.NoError(t, err, out.String())
	return false
}

type lockedBuffer struct {
	mu sync.Mutex
	b  []byte
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.b = append(l.b, p...)
	return len(p), nil
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return string(l.b)
}

// TestSoakKillSend kills a real sending process on the real outbox with SIGKILL
// at every step of a send. Nothing is lost, every row ends as sent, and each
// kill doubles at most as many mails as there were connections; with the policy
// hold nothing is doubled and what is missing says unknown. COLDSEAM_SOAK: 20
// kills at each of the 12 steps, 240 for each policy; else a short seeded cut
// of one each.
func TestSoakKillSend(t *testing.T) {
	t.Parallel()
	each, people := 1, 160
	if soak {
		each, people = 20, 4000
	}

	for _, hold := range []bool{false, true} {
		t.Run(map[bool]string{false: "resend", true: "hold"}[hold], func(t *testing.T) {
			t.Parallel()
			k := newKills(t, hold, people)
			rnd := rand.New(rand.NewPCG(7, 11))
			for range each {
				for _, step := range brieftest.Steps() {
					k.kill(step, 1+rnd.IntN(killConnections))
				}
			}

			for k.open() > 0 && k.round < 1000 {
				k.kill("never", 1)
			}
			k.judge(len(brieftest.Steps()) * each)
		})
	}
}

// kills is a mailing on its way through many deaths.
type kills struct {
	t      *testing.T
	url    string
	db     *store.DB
	relay  *smtptest.Server
	people int
	hold   bool
	round  int
	done   int            // kills that hit
	missed int            // rounds that ended before the step
	atRisk map[string]int // rows in transmission at the moment of death, by step
}

func newKills(t *testing.T, hold bool, people int) *kills {
	t.Helper()
	k := &kills{t: t, url: storetest.URL(t), people: people, hold: hold, atRisk: map[string]int{}}
	var err error
	k.db, err = store.Open(t.Context(), k.url, store.Options{HoldUnknown: hold, MaxConns: 3})
	require.NoError(t, err)
	t.Cleanup(k.db.Close)
	k.relay, err = smtptest.Start(smtptest.Config{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, k.relay.Close()) })

	payload, err := notify.Content{Club: "Tamsen River Club", Briefs: brieftest.All()[:1]}.Marshal()
	require.NoError(t, err)
	e := store.NewMailing{Kind: coldseam.MailMorning, MadeAt: killBase, MailDomain: "club.example"}
	for i := range people {
		s, _, err := k.db.AddSubscriber(t.Context(), fmt.Sprintf("angler%d@home%d.example", i+1, i%5), "",
			coldseam.Preferences{Zone: "America/Chicago", SendAt: "04:45"})
		require.NoError(t, err)
		require.NoError(t, k.db.Confirm(t.Context(), s.ID))
		e.Messages = append(e.Messages, store.NewMessage{
			Subscriber: s.ID,
			LocalDate:  brieftest.Day,
			Deadline:   killBase.AddDate(0, 1, 0),
			Payload:    payload,
		})
	}

	_, n, err := k.db.QueueMailing(t.Context(), e)
	require.NoError(t, err)
	require.Equal(t, people, n)
	return k
}

func (k *kills) count(state coldseam.MailState) (n int) {
	k.t.Helper()
	require.NoError(k.t, k.db.Pool().QueryRow(k.t.Context(), `SELECT count(*) FROM coldseam.outbox WHERE state = $1`,
		state).Scan(&n))
	return n
}

// open are the rows that are not at their end.
func (k *kills) open() int {
	n := k.people - k.count(coldseam.MailSent)
	if k.hold {
		n -= k.count(coldseam.MailUnknown)
	}
	return n
}

// kill lets the process die once, and then time passes and the sweep of the
// next tick finds what it left.
func (k *kills) kill(step string, nth int) {
	k.t.Helper()
	if killed(k.t, k.url, k.relay.Addr(), step, nth, k.round) {
		k.done++
		// Of this round's senders: the last word of a process killed before may
		// be written only now.
		var risk int
		require.NoError(k.t, k.db.Pool().QueryRow(k.t.Context(),
			`SELECT count(*) FROM coldseam.outbox WHERE state = 'in_data' AND worker LIKE $1`,
			fmt.Sprintf("round%d-%%", k.round)).Scan(&risk))
		require.LessOrEqual(k.t, risk, killConnections, "more in transmission than connections, killed at %q", step)
		k.atRisk[step] += risk
	} else if step != "never" {
		k.missed++
	}

	k.round++
	for range 2 { // one finds those without an answer, the next puts them back
		_, err := k.db.Sweep(k.t.Context(), killClock(k.round))
		require.NoError(k.t, err)
	}
}

func (k *kills) judge(want int) {
	t := k.t
	t.Helper()
	require.Equal(t, want, k.done, "every kill hits; %d ended before their step", k.missed)
	got := map[string]int{}
	for _, m := range k.relay.Mails() {
		require.Len(t, m.To, 1)
		got[m.To[0]]++
	}

	missing, doubled := 0, 0
	for i := range k.people {
		n := got[fmt.Sprintf("angler%d@home%d.example", i+1, i%5)]
		if n == 0 {
			missing++
		} else {
			doubled += n - 1
		}
	}

	sent, unknown := k.count(coldseam.MailSent), k.count(coldseam.MailUnknown)
	t.Logf("%d mails, %d kills in %d rounds: %d lost or not delivered, %d duplicates (bound %d), %d sent, %d unknown; in transmission at death by step %v",
		k.people, k.done, k.round, missing, doubled, k.done*killConnections, sent, unknown, k.atRisk)
	if k.hold {
		require.Zero(t, doubled, "hold never sends twice")
		require.Equal(t, k.people, sent+unknown, "every row is sent or says unknown")
		require.LessOrEqual(t, missing, unknown, "what is missing is explained")
		return
	}

	require.Zero(t, missing, "no mail is lost")
	require.Equal(t, k.people, sent, "every row ends as sent")
	require.LessOrEqual(t, doubled, k.done*killConnections)
}
