package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/ingest/agency"
	"example.org/coldseam/notify/sink"
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

func (x days) run(t *testing.T) {
	rng := rand.New(rand.NewPCG(x.seed, 1))
	fault := func(sink.Event) sink.Fault { return sink.Fault{} }
	lost := 0
	v := newReadyTown(t, func(e sink.Event) sink.Fault { return fault(e) })
	v.fetcher.RetryWait = time.Millisecond
	for i := range x.readers {
		v.join(t, fmt.Sprintf("a%d@home%d.example", i, i%4), coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}})
	}
	left := v.join(t, "left@home.example", coldseam.Preferences{})
	require.NoError(t, v.db.Unsubscribe(t.Context(), left))
	before := runtime.NumGoroutine()
	kinds := map[string]int{}
	for d := range x.n {
		local := saturday.Add(d).In(zoneOf("America/Chicago"))
		for _, m := range x.hours() {
			v.clock.forward(local.Add(time.Duration(m) * time.Minute))
			v.ag.ClearScripts()
			fault = func(sink.Event) sink.Fault { return sink.Fault{} }
			switch k := rng.IntN(10); k {
			case 0:
				kinds["feeds down"]++
				v.ag.ScriptForever("/", agency.Step{Status: 503})
			case 1:
				kinds["relay busy"]++
				fault = func(e sink.Event) sink.Fault {
					if e.Stage == "rcpt" && e.N%2 == 0 {
						return sink.Reply(451, "4.3.0", "busy")
					}
					return sink.Fault{}
				}
			case 2:
				kinds["reply lost"]++
				once := true
				fault = func(e sink.Event) sink.Fault {
					if e.Stage == "dot" && once {
						once, lost = false, lost+1
						return sink.Fault{Drop: true, Keep: true}
					}
					return sink.Fault{}
				}
			case 3:
				kinds["worker died with claims"]++
				_, err := v.db.Claim(t.Context(), fmt.Sprintf("dead%d-%d", d, m), v.now(), time.Minute, 3)
				require.NoError(t, err)
			case 4:
				kinds["tick missed"]++
				continue
			case 5:
				kinds["two ticks at once"]++
				done := make(chan error, 1)
				now := v.now()
				go func() { done <- v.tick(t.Context(), now) }()
				_ = v.tick(t.Context(), now)
				<-done
			}
			_ = v.tick(t.Context(), v.now()) // what fails is said by the log, and the next tick is another
			v.work(t)
		}
	}
	v.ag.ClearScripts()
	fault = func(sink.Event) sink.Fault { return sink.Fault{} }
	v.clock.forward(v.now().Add(26 * time.Hour))
	_, err := v.db.Sweep(t.Context(), v.now())
	require.NoError(t, err)
	invariants(t, v, lost)
	for d := range x.n {
		n := v.count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND local_date = $1`, saturday.Add(d).UTC())
		require.Equal(t, x.readers, n, "day %d: every reader has one row", d+1)
	}
	sent := v.count(t, `SELECT count(*) FROM coldseam.outbox WHERE kind = 'morning' AND state = 'sent'`)
	require.GreaterOrEqual(t, float64(sent), 0.9*float64(x.n*x.readers), "faults of minutes do not cost the morning: %s", states(t, v))
	require.LessOrEqual(t, runtime.NumGoroutine(), before+200, "I5: goroutines")
	t.Logf("%d days, %d readers, seed %d, faults %v, replies lost %d: %d of %d mornings sent, %s", x.n, x.readers, x.seed, kinds, lost, sent, x.n*x.readers, states(t, v))
}

// Three simulated days with random faults: the short cut of the soak.
func TestThreeSimulatedDays(t *testing.T) {
	t.Parallel()
	days{n: 3, readers: 6, seed: 3, step: 12}.run(t)
}

// Thirty simulated days.
func TestThirtyDaysSoak(t *testing.T) {
	if os.Getenv("COLDSEAM_SOAK") == "" {
		t.Skip("set COLDSEAM_SOAK to run the long form")
	}
	t.Parallel()
	days{n: 30, readers: 20, seed: 30, step: 5}.run(t)
}
