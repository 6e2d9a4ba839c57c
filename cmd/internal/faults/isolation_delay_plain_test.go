//go:build !race

package faults

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"maps"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/forecast"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/simagency"
	"example.org/coldseam/store"
)

// hung is a service that accepts and says nothing, until it is closed.
func hung(t *testing.T) (addr string, accepted <-chan struct{}) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	first := make(chan struct{})
	go func() {
		var open []net.Conn
		for {
			c, err := l.Accept()
			if err != nil {
				break
			}
			if open = append(open, c); len(open) == 1 {
				close(first)
			}
		}

		for _, c := range open {
			_ = c.Close()
		}
	}()
	t.Cleanup(func() { _ = l.Close() })
	return "http://" + l.Addr().String(), first
}

// crowd answers with 20,000 stations that nobody asked for.
func crowd(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	b.WriteString(`{"type":"FeatureCollection","features":[`)
	for i := range 20000 {
		fmt.Fprintf(&b, `%.*s{"type":"Feature","properties":{"monitoring_location_id":"ZZ-%d","parameter_code":"00060","time":"2026-04-18T09:30:00Z","value":"12","unit_of_measure":"ft^3/s"}}`,
			min(i, 1), ",", i)
	}
	b.WriteString(`]}`)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/geo+json")
		_, _ = io.WriteString(w, b.String())
	}))
	t.Cleanup(srv.Close)
	return srv.URL
}

// A gauge that hangs or floods us, a computation without an end or with a panic
// and a letter that cannot be written are one river's. Its members hear NO CALL
// of it; the other mails leave at their minute, equal to the byte but for the seal.
func TestOneRiversFaultDelaysNoOther(t *testing.T) {
	t.Parallel()
	brandt := func(v *clubtest.Harness, base string, format string) {
		for i := range v.Feeds.Fetcher.Profiles {
			if p := &v.Feeds.Fetcher.Profiles[i]; p.Name == simagency.ProfileWaterML {
				p.BaseURL, p.Format = base, format
			}
		}
	}

	faults := map[string]func(t *testing.T, v *clubtest.Harness) (wait <-chan struct{}){
		"none": func(*testing.T, *clubtest.Harness) <-chan struct{} { return nil },
		"its gauge hangs, its forecast has no end": func(t *testing.T, v *clubtest.Harness) <-chan struct{} {
			addr, accepted := hung(t)
			brandt(v, addr, ingest.FormatWaterML2)
			end := make(chan struct{})
			t.Cleanup(func() { close(end) })
			v.Morning.MorningOf = func(f forecast.Inputs) forecast.Morning {
				if f.Reach.ID == "brandt-ledge" {
					<-end
				}
				return forecast.Make(f)
			}
			return accepted
		},
		"its gauge floods us, its forecast panics": func(t *testing.T, v *clubtest.Harness) <-chan struct{} {
			brandt(v, crowd(t), ingest.FormatFeatures)
			v.Morning.MorningOf = func(f forecast.Inputs) forecast.Morning {
				if f.Reach.ID == "brandt-ledge" {
					panic("a fault of one river")
				}
				return forecast.Make(f)
			}
			return nil
		},
		"its brief cannot be told": func(_ *testing.T, v *clubtest.Harness) <-chan struct{} {
			v.Morning.MorningOf = func(f forecast.Inputs) forecast.Morning {
				m := forecast.Make(f)
				if f.Reach.ID == "brandt-ledge" {
					m.Brief.Cost, m.Brief.River = math.NaN(), "Brandt\r\nBcc: x@y.example\r\n\r\n<script>"
				}
				return m
			}
			return nil
		},
	}

	want := map[string][]byte{}
	for _, name := range slices.Backward(slices.Sorted(maps.Keys(faults))) { // "none" first
		got := morningWith(t, faults[name])
		if name == "none" {
			want = got
			continue
		}

		require.Equal(t, string(want["bend@one.example"]), string(got["bend@one.example"]), name)
		require.Equal(t, string(want["two@two.example"]), string(got["two@two.example"]), name)
		all, was := clubtest.RiverBlocks(t, got["all@three.example"]), clubtest.RiverBlocks(t, want["all@three.example"])
		for _, r := range []string{"Tamsen", "Hallam", "html Tamsen", "html Hallam"} {
			require.Equal(t, was[r], all[r], "%s: %s", name, r)
		}
		require.Contains(t, all["Brandt"], "NO CALL Brandt", name)
	}
}

// morningWith lives a morning with a fault in the Brandt, the work done by the
// queue as in the service, and returns the mails without signature.
func morningWith(t *testing.T, fault func(*testing.T, *clubtest.Harness) <-chan struct{}) map[string][]byte {
	t.Helper()
	v := clubtest.NewReady(t, nil)
	ctx := t.Context()
	v.Join(t, "bend@one.example", coldseam.Preferences{SendAt: "09:00", Reaches: []coldseam.ReachID{"tamsen-bend"}})
	v.Join(t, "two@two.example", coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend", "hallam-sandbar"},
		SendAt: "09:00", Units: "metric"})
	v.Join(t, "all@three.example", coldseam.Preferences{SendAt: "09:00"})
	v.Clock.Stop(clubtest.MorningAt(8, 30)) // after whatever the ready town has made

	accepted := fault(t, v)
	queue, err := v.DB.NewQueue(v.App.Workers(), store.QueueOptions{})
	require.NoError(t, err)
	require.NoError(t, queue.Start(context.WithoutCancel(ctx)))
	t.Cleanup(func() { _ = queue.StopAndCancel(context.WithoutCancel(ctx)) })
	wait := func(what, sql string, n int, args ...any) {
		t.Helper()
		require.Eventually(t, func() bool {
			return v.Count(t, sql, args...) == n
		}, time.Minute, 20*time.Millisecond, what)
	}

	require.NoError(t, v.App.DueFetches(ctx, v.Now(), true))
	if accepted != nil {
		<-accepted
	}
	wait("the other feeds are read",
		`SELECT count(*) FROM river.river_job WHERE kind = 'fetch' AND finalized_at IS NULL AND args->>'profile' <> $1`,
		0, simagency.ProfileWaterML)
	v.Clock.Forward(clubtest.MorningAt(8, 56))
	var keys []mailing.BriefKey
	for _, id := range []coldseam.ReachID{"brandt-ledge", "tamsen-bend", "hallam-sandbar"} {
		keys = append(keys, mailing.BriefKey{Reach: id, Day: clubtest.Saturday.Add(1)},
			mailing.BriefKey{Reach: id, Day: clubtest.Saturday})
	}
	require.NoError(t, v.Morning.EnqueueBriefs(ctx, keys, v.Now()))
	wait("the other briefs are made",
		`SELECT count(*) FROM coldseam.brief WHERE day = $1 AND issued_at = $2 AND reach_id <> 'brandt-ledge'`, 2,
		clubtest.Saturday.UTC(), v.Now())

	for _, at := range []time.Time{clubtest.MorningAt(9, 0), clubtest.MorningAt(9, 11)} { // patience ends between them
		v.Clock.Forward(at)
		_, _, err := v.Mail.QueueMornings(ctx, v.Now())
		require.NoError(t, err)
		v.SendAll(t)
	}

	out := map[string][]byte{}
	for _, m := range v.Sink.Mails() {
		head, rest, _ := bytes.Cut(m.Data, []byte("\r\n\r\n"))
		out[m.To[0]] = append(signature.ReplaceAll(head, nil), append([]byte("\r\n\r\n"), sealed.ReplaceAll(rest, nil)...)...)
	}

	return out
}

// The signature and the seal, which chains the briefs of all rivers, differ between
// two mornings.
var (
	signature = regexp.MustCompile(`(?m)^DKIM-Signature:.*\r\n(?:[ \t].*\r\n)*`)
	sealed    = regexp.MustCompile(`Seal:? [0-9a-f]{16}`)
)
