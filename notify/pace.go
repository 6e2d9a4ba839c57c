package notify

// Pace is the sending rate to one recipient domain. It is kept in the database
// row of the domain, so that it also holds with several servers; these rules
// are its only arithmetic.
type Pace struct {
	PerSecond float64
	Good      int // accepted since the last change
}

// Rates of one domain [proposal].
const (
	PaceDefault  = 1.0       // mails a second
	PaceMin      = 1.0 / 120 // never slower than a mail in two minutes
	PaceGoodStep = 100       // accepted mails before the rate doubles again
)

// After is the pace after one attempt: halved when the receiver asks for less,
// doubled up to ceiling after 100 accepted mails.
func (p Pace) After(accepted, slow bool, ceiling float64) Pace {
	if p.PerSecond <= 0 {
		p.PerSecond = ceiling
	}
	switch {
	case slow:
		return Pace{PerSecond: max(p.PerSecond/2, PaceMin)}
	case !accepted:
		return p
	}
	p.Good++
	if p.Good >= PaceGoodStep && p.PerSecond < ceiling {
		return Pace{PerSecond: min(p.PerSecond*2, ceiling)}
	}
	return p
}

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
