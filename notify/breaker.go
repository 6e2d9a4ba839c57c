package notify

import "sync"

// Breaker stops a mailing whose failures are ours: 20 in a row, or a fifth of
// the last 200 attempts (of at least 50) [proposal]. The zero value is ready.
//
// Workers of one process may share it.
type Breaker struct {
	mu   sync.Mutex
	row  int
	last [200]bool
	n    int // attempts seen
	bad  int // bad ones among the last 200
}

// Limits of the breaker [proposal].
const (
	breakerRow   = 20
	breakerShare = .20
	breakerLeast = 50
)

// Add counts one attempt; ours = transport fault or policy refusal. It reports
// whether the mailing must stop.
func (b *Breaker) Add(ours bool) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	i := b.n % len(b.last)
	if b.n >= len(b.last) && b.last[i] {
		b.bad--
	}
	b.last[i] = ours
	b.n++

	if !ours {
		b.row = 0
	} else {
		b.row++
		b.bad++
	}

	seen := min(b.n, len(b.last))
	trips := b.row >= breakerRow || seen >= breakerLeast && float64(b.bad) >= breakerShare*float64(seen)
	if trips {
		// Another mailing, or this one after its release, starts from nothing.
		b.row, b.last, b.n, b.bad = 0, [200]bool{}, 0, 0
	}

	return trips
}

// Reset forgets everything, after an admin released the mailing.
func (b *Breaker) Reset() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.row, b.last, b.n, b.bad = 0, [200]bool{}, 0, 0
}
