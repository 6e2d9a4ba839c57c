package ingest

import (
	"maps"
	"slices"
	"time"

	"example.org/coldseam"
)

// Line takes many rows that share everything but time and value, without the
// cost of a Row each. What it stores is what Add would have stored.
type Line struct {
	b       *Builder
	row     Row
	s       *run
	left    bool // every row is left out, each counted
	flags   coldseam.Flag
	quals   []string
	conv    Conversion
	hasConv bool
	noData  []float64
}

// Line prepares for rows like r, whose time and value are not looked at. Its
// times are instants. Call it only when a row follows.
func (b *Builder) Line(r Row) *Line {
	l := &Line{b: b, row: r}
	before := maps.Clone(b.skips)
	s, ok := b.prepare(&r)
	if !ok {
		b.skips = before // each row counts when it comes
		l.left = true
		return l
	}

	l.s = s
	l.row.Key = r.Key
	l.flags, l.quals = b.p.Quality(r.Approval, r.Qualifiers)
	l.noData = append(append(l.noData, r.NoData...), sentinels...)
	for _, m := range b.p.MissingTokens {
		if v, err := ParseDecimal(m); err == nil {
			l.noData = append(l.noData, v)
		}
	}

	return l
}

// Add takes a value in the source's unit, which must be finite.
func (l *Line) Add(at time.Time, v float64) {
	if l.left {
		l.b.prepare(&l.row)
		return
	}

	for _, s := range l.noData {
		if v == s {
			l.Missing(at)
			return
		}
	}

	if l.flags&coldseam.Missing != 0 {
		l.Missing(at)
		return
	}

	if !l.hasConv {
		if l.s.refused != nil {
			return
		}
		conv, err := l.b.convert(l.s, l.row)
		if err != nil {
			l.s.refused = err
			return
		}
		l.conv, l.hasConv = conv, true
	}

	l.s.grow()
	l.s.obs = append(l.s.obs, coldseam.Observation{At: at, Value: l.conv.Apply(v), Flag: l.flags, Qualifiers: l.quals})
}

// Modified notes the agency's own stamp of the row that was just added.
func (l *Line) Modified(t time.Time) {
	if !l.left && t.After(l.s.meta.Modified) {
		l.s.meta.Modified = t
	}
}

// grow doubles: append grows long slices by a quarter, which copies a long
// series many times.
func (s *run) grow() {
	if n := len(s.obs); n == cap(s.obs) {
		s.obs = slices.Grow(s.obs, max(n, s.last, 64))
	}
}

// Missing takes a row without a value.
func (l *Line) Missing(at time.Time) {
	if l.left {
		l.b.prepare(&l.row)
		return
	}
	l.s.obs = append(l.s.obs, coldseam.Observation{At: at, Flag: l.flags | coldseam.Missing, Qualifiers: l.quals})
}

// Reset makes the builder ready for the next part of the same document after
// Batch has given out the one before. Lines made before stay good.
func (b *Builder) Reset() {
	clear(b.skips)
	for _, s := range b.runs {
		s.obs, s.refused = nil, nil
	}
}
