package notify

// Breaker stops an edition whose failures are ours: 20 in a row, or a fifth of
// the last 200 attempts (of at least 50) [proposal]. The zero value is ready.
type Breaker struct {
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
// whether the edition must stop.
func (b *Breaker) Add(ours bool) bool {
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
	return b.row >= breakerRow || seen >= breakerLeast && float64(b.bad) >= breakerShare*float64(seen)
}

// Reset forgets everything, after the keeper released the edition.
func (b *Breaker) Reset() { *b = Breaker{} }
