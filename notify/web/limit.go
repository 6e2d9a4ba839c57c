package web

import (
	"sync"
	"time"
)

// limiter counts requests in windows of fixed length, by key. It forgets old
// keys and holds at most maxKeys: beyond them, a flood of addresses, the
// oldest windows are dropped, so that memory stays bounded.
type limiter struct {
	mu   sync.Mutex
	now  func() time.Time
	seen map[string]window
}

type window struct {
	ends time.Time
	n    int
}

const maxKeys = 20_000

func newLimiter(now func() time.Time) *limiter {
	return &limiter{now: now, seen: map[string]window{}}
}

// take counts one request of key and reports whether it is within n per span;
// if not, how long until the next window.
func (l *limiter) take(key string, n int, span time.Duration) (time.Duration, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	w := l.seen[key]
	if !now.Before(w.ends) || w.ends.Sub(now) > span { // over, or the clock went back
		if len(l.seen) >= maxKeys {
			l.sweep(now)
		}
		w = window{ends: now.Add(span)}
	}
	if w.n >= n {
		return w.ends.Sub(now), false
	}
	w.n++
	l.seen[key] = w
	return 0, true
}

// sweep drops windows that are over, and if that frees too little, all short
// ones: an honest client only gets its count back.
func (l *limiter) sweep(now time.Time) {
	for k, w := range l.seen {
		if !now.Before(w.ends) {
			delete(l.seen, k)
		}
	}

	for k, w := range l.seen {
		if len(l.seen) < maxKeys*3/4 {
			return
		}
		if w.ends.Sub(now) <= time.Minute {
			delete(l.seen, k)
		}
	}

	for k := range l.seen {
		if len(l.seen) < maxKeys*3/4 {
			return
		}
		delete(l.seen, k)
	}
}
