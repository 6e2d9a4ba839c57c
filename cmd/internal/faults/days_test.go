package faults

import (
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/notify/brieftest"
	"example.org/coldseam/notify/smtptest"
	"example.org/coldseam/store"
)

// days is a run of simulated days with random faults, the same for a seed.
type days struct {
	n       int
	readers int
	seed    uint64
	step    int // minutes between ticks of the morning
}

// hours are the times of a day, in minutes after local midnight, at which a
// server ticks; the morning is dense.
func (x days) hours() []int {
	out := []int{4*60 + 15, 4*60 + 32, 4*60 + 40}
	for m := 4*60 + 45; m <= 5*60+20; m += x.step {
		out = append(out, m)
	}
	return append(out, 5*60+47, 6*60+32, 10*60+5, 19*60+2)
}

// chaos is the fault of one hour.
type chaos struct {
	name string
	// on begins it and returns what check should say while it lasts, asked after
	// the tick and its work. before is nil or runs beside the tick.
	on     func(r *daysRun) (lasting func() []trouble)
	beside func(r *daysRun)
}

// daysRun is the state of a run.
type daysRun struct {
	*clubtest.Harness
	t     *testing.T
	rng   *rand.Rand
	dbURL string

	gate  sync.Mutex // of what the mail server's conversations see
	fault smtptest.Script
	lost  int // replies that got lost, and workers that died near one
}

func (r *daysRun) script(e smtptest.Event) smtptest.Fault {
	r.gate.Lock()
	defer r.gate.Unlock()
	return r.fault(e)
}

func (r *daysRun) setFault(f smtptest.Script) {
	r.gate.Lock()
	defer r.gate.Unlock()
	r.fault = f
}

// lose allows n more copies and returns how many are.
func (r *daysRun) lose(n int) int {
	r.gate.Lock()
	defer r.gate.Unlock()
	r.lost += n
	return r.lost
}

func fine(smtptest.Event) smtptest.Fault { return smtptest.Fault{} }

func (r *daysRun) mailTrouble(states string) []trouble {
	if r.Count(r.t, `SELECT count(*) FROM coldseam.outbox WHERE state = ANY(string_to_array($1, ',')) AND local_date >= $2`, states, coldseam.DateOf(r.Now().UTC()).Add(-1).UTC()) == 0 {
		return nil
	}
	return []trouble{{states + " mail", []string{"mail"}}}
}

var allChaos = []chaos{
	{name: "nothing"},
	{name: "feeds down", on: func(r *daysRun) func() []trouble {
		asked := len(r.Agency.Requests())
		r.Agency.ScriptForever("/", simagency.Step{Status: 503})
		return func() []trouble {
			if len(r.Agency.Requests()) == asked {
				return nil // no slot had come
			}
			return []trouble{{"feeds down", []string{"feed "}}}
		}
	}},
	{name: "relay busy", on: func(r *daysRun) func() []trouble {
		r.setFault(func(e smtptest.Event) smtptest.Fault {
			if e.Stage == "rcpt" && e.N%2 == 0 {
				return smtptest.Reply(451, "4.3.0", "busy")
			}
			return smtptest.Fault{}
		})
		return func() []trouble { return r.mailTrouble("deferred") }
	}},
	{name: "reply lost", on: func(r *daysRun) func() []trouble {
		once := true
		r.setFault(func(e smtptest.Event) smtptest.Fault {
			if e.Stage == "dot" && once {
				once = false
				r.lost++
				return smtptest.Fault{Drop: true, Keep: true}
			}
			return smtptest.Fault{}
		})
		return func() []trouble { return r.mailTrouble("unknown") }
	}},
	{name: "worker died with claims", on: func(r *daysRun) func() []trouble {
		_, err := r.DB.Claim(r.t.Context(), "dead", r.Now(), time.Minute, 3)
		require.NoError(r.t, err)
		return nil
	}},
	{name: "worker died at a step", on: func(r *daysRun) func() []trouble {
		steps := brieftest.Steps()
		_, _, err := r.Mail.QueueMornings(r.t.Context(), r.Now())
		require.NoError(r.t, err)
		if dieAt(r.t.Context(), r.Harness, steps[r.rng.IntN(len(steps))]) {
			r.lose(1)
		}
		return nil
	}},
	{name: "two ticks at once", beside: func(r *daysRun) { _ = r.App.Tick(r.t.Context(), r.Now()) }},
	{name: "Postgres ends all sessions", beside: func(r *daysRun) {
		time.Sleep(time.Duration(r.rng.IntN(120)) * time.Millisecond)
		require.NoError(r.t, endSessions(r.t.Context(), r.Harness, r.dbURL))
		r.lose(2) // an answer to the outbox may be lost beside that of the relay
	}},
	{name: "agency corrects", on: func(r *daysRun) func() []trouble { r.Agency.Revise(); return nil }},
	{name: "sending held", on: func(r *daysRun) func() []trouble {
		require.NoError(r.t, r.DB.Hold(r.t.Context(), store.Edit{Who: "admin", Why: "a look first"}))
		return func() []trouble { return []trouble{{"held", []string{"sending"}}} }
	}},
}

func (x days) run(t *testing.T) {
	r := &daysRun{t: t, rng: rand.New(rand.NewPCG(x.seed, 1)), fault: fine}
	r.Harness = clubtest.NewReady(t, r.script)
	r.dbURL = r.DB.Pool().Config().ConnString()
	r.Feeds.Fetcher.RetryWait = time.Millisecond
	for i := range x.readers {
		r.Join(t, fmt.Sprintf("a%d@home%d.example", i, i%4),
			coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	}
	left := r.Join(t, "left@home.example", coldseam.Preferences{})
	require.NoError(t, r.DB.Unsubscribe(t.Context(), left))
	kinds, named, checks := map[string]int{}, 0, 0

	for d := range x.n {
		local := clubtest.Saturday.Add(d).In(env.Zone("America/Chicago"))
		for _, m := range x.hours() {
			r.Clock.Forward(local.Add(time.Duration(m) * time.Minute))
			if r.rng.IntN(12) == 0 {
				kinds["tick missed"]++
				continue
			}
			c := allChaos[r.rng.IntN(len(allChaos))]
			kinds[c.name]++
			named += r.hour(c)
			checks++
		}
	}

	r.Clock.Forward(r.Now().Add(26 * time.Hour))
	_, err := r.DB.Sweep(t.Context(), r.Now())
	require.NoError(t, err)
	invariants(t, r.Harness, r.lose(0))
	for d := range x.n {
		n := r.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND local_date = $1`,
			clubtest.Saturday.Add(d).UTC())
		require.Equal(t, x.readers, n, "day %d: every reader has one row", d+1)
	}

	sent := r.Count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state = 'sent'`)
	require.GreaterOrEqual(t, float64(sent), 0.9*float64(x.n*x.readers),
		"faults of minutes do not cost the morning: %s", states(t, r.Harness))
	copies := 0
	for _, n := range clubtest.ByMessage(t, r.Sink) {
		copies += n - 1
	}
	t.Logf("%d days, %d readers, seed %d, faults %v: invariants held %d times, %d lasting faults named by check; %d of %d mornings sent, %d copies, %d observations corrected; outbox %s",
		x.n, x.readers, x.seed, kinds, checks, named, sent, x.n*x.readers, copies,
		r.Count(t, `SELECT count(*) FROM coldseam.observation_revision`), states(t, r.Harness))
}

// hour is one tick and its work under a fault, the invariants after it, and the
// end of the fault. It returns how many troubles check named.
func (r *daysRun) hour(c chaos) (named int) {
	ctx := r.t.Context()
	lasting := func() []trouble { return nil }
	if c.on != nil {
		if f := c.on(r); f != nil {
			lasting = f
		}
	}

	done := make(chan struct{})
	go func() {
		defer close(done)
		if c.beside != nil {
			c.beside(r)
		}
	}()
	_ = r.App.Tick(ctx, r.Now()) // what fails is said by the log, and the next tick is another
	_ = r.TryWork(ctx)

	<-done
	r.DB.Pool().Reset()
	l := lasting()
	invariants(r.t, r.Harness, r.lose(0), l...)
	r.Agency.ClearScripts()
	r.setFault(fine)
	if held, _, _, err := r.DB.Held(ctx); err == nil && held {
		require.NoError(r.t, r.DB.Release(ctx, store.Edit{Who: "admin", Why: "looked"}))
	}
	return len(l)
}

// Three simulated days with random faults: the short cut of the soak.
// Under the race detector one day is enough to meet every job.
func TestSimulatedDays(t *testing.T) {
	t.Parallel()
	x := days{n: 3, readers: 6, seed: 3, step: 12}
	switch {
	case soak:
		x = days{n: 30, readers: 20, seed: 30, step: 5}
	case raceEnabled:
		x.n = 1
	}
	x.run(t)
}
