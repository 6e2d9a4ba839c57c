package ingest

import (
	"cmp"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"
)

// hostGate holds what every profile of one host shares: the number of requests
// at once and the host's word to wait.
type hostGate struct {
	name  string
	slots chan struct{}
	mu    sync.Mutex
	until time.Time
	full  int       // answers 429 in a row
	spare time.Time // until then only the newest values are asked for
}

// backOff is how long a host is left alone after an answer, by its own word or by
// ours: after a 429 that names no time 1, 2, 4 ... minutes to an hour (a feature
// service is left alone until the next full hour), and with no request left
// until its count starts anew, or for emptyWait.
func (g *hostGate) backOff(status int, h http.Header, now time.Time, p Profile) time.Duration {
	d, told := retryAfterOf(h, now)
	if status == http.StatusOK {
		d, told = 0, false
	}
	g.mu.Lock()
	defer g.mu.Unlock()

	if status == http.StatusTooManyRequests {
		g.full++
	} else if status < 400 {
		g.full = 0
	}
	if !told && (status == http.StatusTooManyRequests || remaining(h) == 0) {
		d = resetOf(h, now)
	}

	switch {
	case d > 0:
	case status == http.StatusTooManyRequests && !told && p.Format == FormatFeatures: // the US service counts by the hour
		d = nextHour(now).Sub(now)
	case remaining(h) == 0 && !told:
		d = emptyWait
	case status == http.StatusTooManyRequests:
		d = Backoff(g.full)
	}

	return d
}

// remaining is the number of requests that the service says are left; -1 where
// it does not say.
func remaining(h http.Header) int {
	n, err := strconv.Atoi(strings.TrimSpace(cmp.Or(h.Get("X-Ratelimit-Remaining"), h.Get("Ratelimit-Remaining"))))
	if err != nil {
		return -1
	}
	return max(n, 0)
}

// resetOf reads when the count of requests starts anew: seconds from now, or a
// Unix time as some services write.
func resetOf(h http.Header, now time.Time) time.Duration {
	n, err := strconv.ParseInt(strings.TrimSpace(cmp.Or(h.Get("X-Ratelimit-Reset"), h.Get("Ratelimit-Reset"))), 10, 64)
	switch {
	case err != nil || n <= 0:
		return 0
	case n > 1e9: // a Unix time: no count lasts thirty years
		return min(max(time.Unix(min(n, 1<<40), 0).Sub(now), 0), longestBackOff)
	}
	return min(time.Duration(n)*time.Second, longestBackOff)
}

// retryAfterOf reads Retry-After in seconds or as an HTTP date, up to
// longestBackOff.
func retryAfterOf(h http.Header, now time.Time) (time.Duration, bool) {
	v := strings.TrimSpace(h.Get("Retry-After"))
	if v == "" {
		return 0, false
	}
	n, err := strconv.Atoi(v)
	if err == nil || errors.Is(err, strconv.ErrRange) { // out of range n is the largest or the least
		return time.Duration(min(max(n, 0), int(longestBackOff/time.Second))) * time.Second, true
	}
	t, err := http.ParseTime(v)
	if err != nil {
		return 0, false
	}
	return min(max(t.Sub(now), 0), longestBackOff), true
}

func nextHour(t time.Time) time.Time { return t.Truncate(time.Hour).Add(time.Hour) }

func (g *hostGate) wait(t time.Time) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if t.After(g.until) {
		g.until = t
	}
}

// spareShare of the host's own limit is kept for the newest values
// [proposal].
const spareShare = .05

// counted takes note of how many of a limit of requests are left.
func (g *hostGate) counted(left, limit int, now time.Time) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.spare = time.Time{}
	if float64(left) < spareShare*float64(limit) {
		g.spare = nextHour(now)
	}
}

// spareUntil is when the host may be asked for more than the newest values.
func (g *hostGate) spareUntil() time.Time {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.spare
}

func (g *hostGate) waitUntil() time.Time {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.until
}
