package ingest_test

import (
	"context"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
	"github.com/stretchr/testify/require"
)

// purse is a Budget of a fixed number of requests.
type purse struct {
	mu    sync.Mutex
	left  int
	held  time.Duration
	hosts map[string]bool
}

func (p *purse) TakeRequest(_ context.Context, host string, _, _ float64) (time.Duration, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.hosts[host] = true
	if p.held > 0 {
		return p.held, nil
	}
	if p.left--; p.left < 0 {
		return time.Hour, nil
	}
	return 0, nil
}

func (p *purse) SpendRequests(_ context.Context, _ string, _ float64, n int) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.left -= n
	return nil
}

func (p *purse) HoldRequests(_ context.Context, _ string, d time.Duration) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.held = max(p.held, d)
	return nil
}

// Two processes with one budget: what one used, repeated tries included, the
// other lacks.
func TestFetchersShareABudget(t *testing.T) {
	t.Parallel()
	var n atomic.Int32
	h := func(w http.ResponseWriter, r *http.Request) {
		if n.Add(1) == 1 {
			w.WriteHeader(http.StatusInternalServerError)
			return
		}
		_, _ = w.Write([]byte(doc("", row(now.Add(-time.Hour), "1.2"))))
	}
	one, two := newBench(t, h), newBench(t, h)
	two.p.BaseURL = one.p.BaseURL
	shared := &purse{left: 3, hosts: map[string]bool{}}
	one.Budget, two.Budget = shared, shared

	_, err := one.fetch(t, ingest.Request{}) // 500, then 200: two of three
	require.NoError(t, err)
	_, err = two.fetch(t, ingest.Request{})
	require.NoError(t, err)
	_, err = one.fetch(t, ingest.Request{})
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.ErrorContains(t, err, "shared by all servers, is used up until")
	require.EqualValues(t, 3, n.Load(), "nothing is asked beyond the budget")
	require.Len(t, shared.hosts, 1)
	require.True(t, shared.hosts[strings.TrimPrefix(one.srv.URL, "http://")])
}

// Retry-After to one server keeps the others away, from every address of the
// host.
func TestRetryAfterHoldsForAllServers(t *testing.T) {
	t.Parallel()
	var n atomic.Int32
	h := func(w http.ResponseWriter, r *http.Request) {
		n.Add(1)
		w.Header().Set("Retry-After", "900")
		w.WriteHeader(http.StatusTooManyRequests)
	}
	one, two := newBench(t, h), newBench(t, h)
	two.p.BaseURL, two.p.Path = one.p.BaseURL, "/other"
	shared := &purse{left: 100, hosts: map[string]bool{}}
	one.Budget, two.Budget = shared, shared
	_, err := one.fetch(t, ingest.Request{})
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	_, err = two.fetch(t, ingest.Request{})
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	require.EqualValues(t, 1, n.Load())
}
