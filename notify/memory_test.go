package notify

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"example.org/coldseam"
)

// memory is an outbox in memory with the guarantees that the store gives:
// claims are leased, every update is guarded by worker and attempt.
type memory struct {
	mu    sync.Mutex
	rows  map[int64]*memoryRow
	order []int64
	acked map[int64]int // acknowledged sends a row
	fail  error         // every call fails with this
	// unknown is the policy after a crash in DATA: resend or hold.
	resend bool
}

type memoryRow struct {
	l       coldseam.OutboxMessage
	lease   time.Time
	next    time.Time
	outcome []coldseam.Outcome
}

func newMemory(rows ...coldseam.OutboxMessage) *memory {
	m := &memory{rows: map[int64]*memoryRow{}, acked: map[int64]int{}, resend: true}
	for _, l := range rows {
		l.State = coldseam.MailPending
		m.rows[l.ID] = &memoryRow{l: l}
		m.order = append(m.order, l.ID)
	}
	return m
}

func (m *memory) Claim(_ context.Context, worker string, now time.Time, lease time.Duration,
	n int) ([]coldseam.OutboxMessage, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		return nil, m.fail
	}

	var out []coldseam.OutboxMessage
	for _, first := range []bool{true, false} {
		for _, id := range m.order {
			r := m.rows[id]
			if len(out) == n || (r.l.Kind == coldseam.MailCorrection) != first || !r.due(now, m.resend) {
				continue
			}
			r.l.State, r.l.Worker, r.lease = coldseam.MailClaimed, worker, now.Add(lease)
			r.l.Attempt++
			out = append(out, r.l)
		}
	}

	return out, nil
}

func (m *memory) Paced(context.Context, time.Time) (time.Time, error) { return time.Time{}, nil }

func (r *memoryRow) due(now time.Time, resend bool) bool {
	switch r.l.State {
	case coldseam.MailPending:
		return true
	case coldseam.MailDeferred:
		return !now.Before(r.next)
	case coldseam.MailClaimed:
		return now.After(r.lease)
	case coldseam.MailInData:
		if now.After(r.lease) {
			r.l.State = coldseam.MailUnknown
		}
	}
	return r.l.State == coldseam.MailUnknown && resend
}

func (m *memory) InData(_ context.Context, l coldseam.OutboxMessage, _, until time.Time) (bool, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		return false, m.fail
	}
	r := m.rows[l.ID]
	if r.l.Worker != l.Worker || r.l.Attempt != l.Attempt || r.l.State != coldseam.MailClaimed &&
		r.l.State != coldseam.MailInData {
		return false, nil
	}
	r.l.State, r.lease = coldseam.MailInData, until
	return true, nil
}

func (m *memory) Done(_ context.Context, l coldseam.OutboxMessage, o coldseam.Outcome, _ time.Time) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail != nil {
		return m.fail
	}
	r := m.rows[l.ID]
	if r.l.Worker != l.Worker || r.l.Attempt != l.Attempt {
		return fmt.Errorf("row %d: %w", l.ID, errors.New("not the worker's"))
	}
	r.l.State, r.next = o.State, o.NextAt
	r.outcome = append(r.outcome, o)
	if o.State == coldseam.MailSent {
		m.acked[l.ID]++
	}
	return nil
}

func (m *memory) states() map[coldseam.MailState]int {
	m.mu.Lock()
	defer m.mu.Unlock()
	out := map[coldseam.MailState]int{}
	for _, r := range m.rows {
		out[r.l.State]++
	}
	return out
}

func (m *memory) last(id int64) coldseam.Outcome {
	m.mu.Lock()
	defer m.mu.Unlock()
	o := m.rows[id].outcome
	if len(o) == 0 {
		return coldseam.Outcome{}
	}
	return o[len(o)-1]
}
