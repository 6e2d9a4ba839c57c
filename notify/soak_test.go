package notify

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/rpc"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/sink"
)

// The soak kills a real sending process with SIGKILL at every step of a send.
// Outbox and relay live in the test, which survives; the child reaches the
// outbox by rpc.

// ledgerServer is the outbox as the child sees it.
type ledgerServer struct{ m *memory }

// ClaimArgs travel to the outbox.
type ClaimArgs struct {
	Worker string
	Now    time.Time
	Lease  time.Duration
	N      int
}

func (s *ledgerServer) Claim(a ClaimArgs, out *[]coldseam.Letter) (err error) {
	*out, err = s.m.Claim(context.Background(), a.Worker, a.Now, a.Lease, a.N)
	return err
}

// MarkArgs travel to the outbox.
type MarkArgs struct {
	L       coldseam.Letter
	Now     time.Time
	Until   time.Time
	Outcome coldseam.Outcome
}

func (s *ledgerServer) InData(a MarkArgs, ok *bool) (err error) {
	*ok, err = s.m.InData(context.Background(), a.L, a.Now, a.Until)
	return err
}

func (s *ledgerServer) Done(a MarkArgs, _ *bool) error {
	return s.m.Done(context.Background(), a.L, a.Outcome, a.Now)
}

// ledgerClient is the child's end.
type ledgerClient struct{ c *rpc.Client }

func (l ledgerClient) Claim(_ context.Context, worker string, now time.Time, lease time.Duration, n int) (out []coldseam.Letter, err error) {
	err = l.c.Call("Outbox.Claim", ClaimArgs{worker, now, lease, n}, &out)
	return out, err
}

func (l ledgerClient) InData(_ context.Context, row coldseam.Letter, now, until time.Time) (ok bool, err error) {
	err = l.c.Call("Outbox.InData", MarkArgs{L: row, Now: now, Until: until}, &ok)
	return ok, err
}

func (l ledgerClient) Done(_ context.Context, row coldseam.Letter, o coldseam.Outcome, now time.Time) error {
	var ok bool
	return l.c.Call("Outbox.Done", MarkArgs{L: row, Outcome: o, Now: now}, &ok)
}

const soakConnections = 4

// TestSoakChild is the sending process; it does nothing when run as a test.
func TestSoakChild(t *testing.T) {
	sock, relay := os.Getenv("COLDSEAM_SOAK_SOCKET"), os.Getenv("COLDSEAM_SOAK_RELAY")
	if sock == "" {
		t.Skip("the sending process of the soak, started by it alone")
	}
	step := os.Getenv("COLDSEAM_SOAK_STEP")
	nth, err := strconv.ParseInt(os.Getenv("COLDSEAM_SOAK_NTH"), 10, 64)
	require.NoError(t, err)
	round, err := strconv.Atoi(os.Getenv("COLDSEAM_SOAK_ROUND"))
	require.NoError(t, err)
	var seen atomic.Int64
	var wg sync.WaitGroup
	for i := range soakConnections {
		c, err := rpc.Dial("unix", sock)
		require.NoError(t, err)
		s := testSender(ledgerClient{c}, relay)
		s.Worker = fmt.Sprintf("round%d-%d", round, i)
		s.Now = func() time.Time { return at(4, 50).Add(time.Duration(round) * 3 * time.Hour) }
		s.Fail = func(at string) {
			if at == step && seen.Add(1) == nth {
				_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
				select {} // until the signal takes effect
			}
		}
		wg.Go(func() { _, _ = s.Run(context.Background(), 1000) })
	}
	wg.Wait()
}

func soakRound(t *testing.T, sock, relay, step string, nth, round int) (killed bool) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	cmd := exec.CommandContext(ctx, os.Args[0], "-test.run=^TestSoakChild$")
	cmd.Env = append(os.Environ(), "COLDSEAM_SOAK_SOCKET="+sock, "COLDSEAM_SOAK_RELAY="+relay, "COLDSEAM_SOAK_STEP="+step,
		"COLDSEAM_SOAK_NTH="+strconv.Itoa(nth), "COLDSEAM_SOAK_ROUND="+strconv.Itoa(round))
	out, err := cmd.CombinedOutput()
	require.NoError(t, ctx.Err(), "the sending process hangs")
	if err == nil {
		return false
	}
	var exit *exec.ExitError
	require.True(t, errors.As(err, &exit), "%v", err)
	require.True(t, exit.Sys().(syscall.WaitStatus).Signal() == syscall.SIGKILL, "%s", out)
	return true
}

// TestSoak: whatever step the process dies at, no mail is lost, every row ends
// as sent, and each kill makes at most one duplicate a connection. Both
// policies after a crash in DATA: resend loses nothing, hold doubles nothing.
// With COLDSEAM_SOAK set the full cut kills 20 times at each of the 12 steps; by
// default a short seeded cut kills once at each.
func TestSoak(t *testing.T) {
	t.Parallel()
	each := 1
	if os.Getenv("COLDSEAM_SOAK") != "" {
		each = 20
	}
	for _, resend := range []bool{true, false} {
		t.Run(map[bool]string{true: "resend", false: "hold"}[resend], func(t *testing.T) {
			t.Parallel()
			relay := startSink(t, sink.Config{})
			n := 40 + 40*each
			box := newMemory(soakRows(n)...)
			box.resend = resend
			sock := filepath.Join(t.TempDir(), "outbox")
			l, err := net.Listen("unix", sock)
			require.NoError(t, err)
			t.Cleanup(func() { _ = l.Close() })
			srv := rpc.NewServer()
			require.NoError(t, srv.RegisterName("Outbox", &ledgerServer{box}))
			go func() {
				for {
					c, err := l.Accept()
					if err != nil {
						return
					}
					go srv.ServeConn(c)
				}
			}()

			rnd := rand.New(rand.NewPCG(7, 11))
			kills, round := 0, 0
			for range each {
				for _, step := range Steps() {
					nth := 1 + rnd.IntN(3)
					if strings.HasPrefix(step, "dial") || step == "claimed" {
						nth = 1 + rnd.IntN(soakConnections)
					}
					if soakRound(t, sock, relay.Addr(), step, nth, round) {
						kills++
					}
					round++
				}
			}
			for range 3 { // leases run out, then the rest goes
				soakRound(t, sock, relay.Addr(), "never", 1, round)
				round++
			}
			judgeSoak(t, box, relay, n, kills, each, resend)
		})
	}
}

func soakRows(n int) []coldseam.Letter {
	out := rows(n)
	for i := range out {
		out[i].Deadline = time.Time{}
	}
	return out
}

func judgeSoak(t *testing.T, box *memory, relay *sink.Server, n, kills, each int, resend bool) {
	t.Helper()
	require.GreaterOrEqual(t, kills, len(Steps())*each*3/4, "most kills must have hit")
	seen := map[string]int{}
	for _, m := range relay.Mails() {
		seen[m.To[0]]++
	}
	duplicates, missing := 0, 0
	for i := 1; i <= n; i++ {
		switch k := seen[fmt.Sprintf("angler%d@home.example", i)]; {
		case k == 0:
			missing++
		default:
			duplicates += k - 1
		}
	}
	for id, acked := range box.acked {
		require.LessOrEqual(t, acked, 1, "row %d acknowledged twice", id)
	}
	states := box.states()
	t.Logf("%d mails, %d kills: %d duplicates, %d not delivered, states %v", n, kills, duplicates, missing, states)
	if resend {
		require.Zero(t, missing, "no mail is lost")
		require.Equal(t, n, states[coldseam.MailSent], "every row ends as sent")
		require.LessOrEqual(t, duplicates, kills*soakConnections)
		return
	}
	require.Zero(t, duplicates, "hold never sends twice")
	require.Equal(t, n, states[coldseam.MailSent]+states[coldseam.MailUnknown], "every row is sent or says unknown")
	require.LessOrEqual(t, missing, states[coldseam.MailUnknown], "what is missing is explained")
}
