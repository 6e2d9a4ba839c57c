package notify

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"example.org/coldseam"
)

// Sender brings outbox rows to the relay. One Sender is one worker with one
// connection at a time; run several for parallel connections.
type Sender struct {
	Outbox  Outbox
	Compose func(context.Context, coldseam.OutboxMessage) (Message, error)
	Relay   Relay
	Worker  string // unique among all running senders
	Now     func() time.Time
	Log     *slog.Logger
	Breaker *Breaker      // may be shared by the workers of a process
	Lease   time.Duration // of a row in transmission, renewed meanwhile; zero = dataLease

	// Sleep waits for the pace of a domain, as told by Outbox.Paced; nil waits by
	// the clock of the machine.
	Sleep func(context.Context, time.Duration) error

	// Fail is called at every step with its name, of which sample.Steps is the
	// list; tests end the process there.
	Fail func(step string)
}

// Tally counts what a run came to.
type Tally struct {
	Sent, Deferred, Failed, Unknown, Expired, Skipped, Held int
	Connections                                             int
}

// ErrBreaker: the mailing was stopped because the fault is ours.
var ErrBreaker = fmt.Errorf("sending stopped, the fault is ours: %w", coldseam.ErrUnavailable)

// ErrVoid: what a mail was to tell does not hold any more; it is not sent.
var ErrVoid = errors.New("nothing to tell any more")

// Run sends up to limit rows at the pace that the outbox sets. It returns when
// none is due, when ctx is done or when less than one submission timeout is
// left before ctx's deadline. The
// rows of a batch that could not be tried are given back at once. Errors: the
// outbox's own, ErrUnavailable when the relay was not reached, and ErrBreaker.
func (s *Sender) Run(ctx context.Context, limit int) (Tally, error) {
	r := run{Sender: s, Breaker: s.Breaker, Fail: s.Fail}
	if r.Breaker == nil {
		r.Breaker = &Breaker{}
	}
	if r.Fail == nil {
		r.Fail = func(string) {}
	}
	defer r.hangUp()

	for limit > 0 && !r.late(ctx) {
		n := min(limit, s.Relay.perConnection())
		claimed := s.Now()
		batch, err := s.Outbox.Claim(ctx, s.Worker, claimed, claimLease, n)
		if err != nil {
			return r.tally, fmt.Errorf("claim outbox: %w", err)
		}

		if len(batch) == 0 {
			again, err := r.pace(ctx, claimed)
			if err != nil || !again {
				return r.tally, err
			}
			continue
		}

		limit -= len(batch)
		if err := r.batch(ctx, batch, claimed.Add(claimLease)); err != nil {
			return r.tally, err
		}
	}

	return r.tally, nil
}

// longestPause is how long a worker waits for the pace of a domain. A slower one
// is left to the tick, which asks again each minute [proposal].
const longestPause = 30 * time.Second

// pace waits until the pace allows another row; false when no row waits for it,
// or not soon enough. The relay is not kept on the line meanwhile: it may hang
// up on a client that is silent.
func (r *run) pace(ctx context.Context, now time.Time) (again bool, err error) {
	next, err := r.Outbox.Paced(ctx, now)
	if err != nil {
		return false, fmt.Errorf("pace of outbox: %w", err)
	}
	d := next.Sub(now)
	if next.IsZero() || d > longestPause {
		return false, nil
	}
	if d > idleLink {
		r.hangUp()
	}
	wait := r.Sleep
	if wait == nil {
		wait = sleep
	}
	return wait(ctx, d) == nil && r.Now().After(now), nil
}

// idleLink is how long a conversation may be silent between two mails [proposal].
const idleLink = 5 * time.Second

func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// run is one call of Run.
type run struct {
	*Sender
	Breaker *Breaker
	Fail    func(string)
	conn    *relayConn
	tally   Tally
	down    error // the relay could not be reached
}

// claimLease is how long a worker may hold rows before their text goes out.
// leaseLeft must remain to begin another row. dataLease is that of a row in
// transmission: the slowest reply takes minutes, so the worker renews it while
// it waits, and only a worker that died or lost the database lets it run out.
// With a sweep each minute the rows of a lost process are taken over within
// two minutes [proposal].
const (
	claimLease = 50 * time.Second
	leaseLeft  = 20 * time.Second
	dataLease  = 40 * time.Second
)

// late: no further row when the reply to its dot could not be waited for.
func (r *run) late(ctx context.Context) bool {
	if ctx.Err() != nil {
		return true
	}
	end, ok := ctx.Deadline()
	return ok && time.Until(end) < r.Relay.SubmissionTimeout()
}

func (r *run) hangUp() {
	if r.conn != nil {
		r.conn.close()
		r.conn = nil
	}
}

// batch sends rows one after the other. A row that fails does not stop the
// others; the breaker and a broken outbox do.
func (r *run) batch(ctx context.Context, batch []coldseam.OutboxMessage, until time.Time) error {
	r.Fail("claimed")

	for i, l := range batch {
		if i > 0 && until.Sub(r.Now()) < leaseLeft {
			return nil // the relay is slow; the rest falls back to pending by itself
		}
		if r.late(ctx) {
			return r.giveBack(ctx, batch[i:], "out of time")
		}
		o, ours := r.one(ctx, l)
		if o.State == "" {
			r.tally.Skipped++
			continue // taken over by another worker; not ours to record
		}

		// A relay that is not reached heals by itself; its rows wait their time.
		tripped := r.down == nil && r.Breaker.Add(ours)
		o.Breaker = o.Breaker || tripped
		o = schedule(o, l, r.Now())
		if err := r.record(ctx, l, o); err != nil {
			return errors.Join(err, r.giveBack(ctx, batch[i+1:], "outbox failed"))
		}
		if o.Breaker {
			return errors.Join(ErrBreaker, r.giveBack(ctx, batch[i+1:], "edition stopped"))
		}

		if r.down != nil {
			down := fmt.Errorf("relay %s: %w: %w", r.Relay.Addr, r.down, coldseam.ErrUnavailable)
			return errors.Join(down, r.giveBack(ctx, batch[i+1:], "relay not reached"))
		}
	}

	return nil
}

// recordLimit is how long the outcome of a mail waits for a database that is
// away, recordTry how long one try may hang, and recordPause the time between
// two [proposal]. It outlasts the lease: a row whose lease ran out meanwhile is
// still this attempt's until another takes it, and a database that comes back
// hears us before the next sweep.
const (
	recordLimit = time.Minute
	recordTry   = 5 * time.Second
	recordPause = 250 * time.Millisecond
)

// errOutbox: the outbox could not be written just before the text.
var errOutbox = errors.New("outbox")

// record writes the outcome even when ctx has just ended: the send is history.
// A database that restarts is waited for, or what was accepted would be sent
// again.
func (r *run) record(ctx context.Context, l coldseam.OutboxMessage, o coldseam.Outcome) error {
	r.count(o)
	r.Fail("before done")
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), recordLimit)
	defer cancel()

	try := func() error {
		ctx, cancel := context.WithTimeout(ctx, recordTry)
		defer cancel()
		return r.Outbox.Done(ctx, l, o, r.Now())
	}
	err := try()
	for ctx.Err() == nil && (errors.Is(err, coldseam.ErrUnavailable) || errors.Is(err, context.DeadlineExceeded)) {
		time.Sleep(recordPause)
		if err = try(); errors.Is(err, coldseam.ErrStale) {
			err = nil // the try before had done it, and only its answer was lost
		}
	}

	if err != nil {
		return fmt.Errorf("record outbox %d: %w", l.ID, err)
	}
	r.Fail("after done")
	if o.State != coldseam.MailSent && r.Log != nil {
		r.Log.Warn("mail not sent", "outbox", l.ID, "state", string(o.State), "stage", o.Stage, "code", o.Code, "esc",
			o.Esc)
	}
	return nil
}

// giveBack returns claimed rows that were not tried.
func (r *run) giveBack(ctx context.Context, rest []coldseam.OutboxMessage, why string) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 20*time.Second)
	defer cancel()
	var errs []error
	for _, l := range rest {
		o := schedule(coldseam.Outcome{State: coldseam.MailDeferred, Stage: StageDial, Reply: why}, l, r.Now())
		r.count(o)
		errs = append(errs, r.Outbox.Done(ctx, l, o, r.Now()))
	}
	return errors.Join(errs...)
}

func (r *run) count(o coldseam.Outcome) {
	switch o.State {
	case coldseam.MailSent:
		r.tally.Sent++
	case coldseam.MailFailed:
		r.tally.Failed++
	case coldseam.MailUnknown:
		r.tally.Unknown++
	case coldseam.MailExpired:
		r.tally.Expired++
	case coldseam.MailSkipped:
		r.tally.Skipped++
	default:
		r.tally.Deferred++
	}
}

// one tries one row. ours reports whether the fault, if any, is ours or the
// relay's and not the recipient's. An empty state means that another worker
// has the row.
func (r *run) one(ctx context.Context, l coldseam.OutboxMessage) (o coldseam.Outcome, ours bool) {
	if !l.Deadline.IsZero() && !r.Now().Before(l.Deadline) {
		return coldseam.Outcome{State: coldseam.MailExpired, Stage: StageCompose, Reply: "deadline passed"}, false
	}
	m, err := r.compose(ctx, l)
	if err != nil {
		return r.notComposed(err), false
	}
	r.Fail("composed")

	if r.conn == nil {
		c, stage, err := r.Relay.dial(ctx)
		if err != nil {
			r.down = err
			o := Classify(stage, err)
			return o, true
		}
		r.conn = c
		r.tally.Connections++
		r.Fail("dialled")
	}

	mark, end := r.mark(ctx, l)
	defer end()
	reply, stage, err := r.conn.send(m, mark, r.Fail)
	if errors.Is(err, errNotOurs) {
		if r.conn.reset() != nil {
			r.hangUpAfter(coldseam.ErrUnavailable)
		}
		return coldseam.Outcome{}, false
	}

	switch {
	case err == nil:
		o = coldseam.Outcome{State: coldseam.MailSent, Stage: StageSent, Code: 250, Reply: reply}
	case errors.Is(err, errOutbox):
		// Nothing of the mail was sent, and neither relay nor reader is to blame.
		r.hangUpAfter(err)
		return coldseam.Outcome{State: coldseam.MailDeferred, Stage: StageCompose, Reply: replyText(err)}, false
	default:
		o = Classify(stage, err)
	}

	if !r.conn.usable(err) {
		r.hangUpAfter(err)
	}

	return o, err != nil && (o.Code == 0 || o.Breaker || strings.HasPrefix(o.Esc, "5.7."))
}

// hangUpAfter closes without waiting for a goodbye on a broken link.
func (r *run) hangUpAfter(err error) {
	if err == nil {
		r.hangUp()
		return
	}
	_ = r.conn.raw.Close()
	r.conn = nil
}

// mark returns what records in_data just before the text goes out, and what
// ends the renewal of its lease once the reply is there or given up.
func (r *run) mark(ctx context.Context, l coldseam.OutboxMessage) (mark func() error, end func()) {
	lease := r.Lease
	if lease == 0 {
		lease = dataLease
	}
	stop := func() {}
	mark = func() error {
		now := r.Now()
		ok, err := r.Outbox.InData(ctx, l, now, now.Add(lease))
		if err != nil {
			return fmt.Errorf("record in_data: %w: %w", errOutbox, err)
		}
		if !ok {
			return errNotOurs
		}
		stop = r.renewing(ctx, l, lease)
		return nil
	}
	return mark, func() { stop() }
}

// renewing lengthens the lease four times in its length until stop is called,
// which waits for a renewal under way. Most mails are gone before the first, so
// no goroutine is kept for it. What goes wrong shows in the lease that runs out.
func (r *run) renewing(ctx context.Context, l coldseam.OutboxMessage, lease time.Duration) (stop func()) {
	ctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	var mu sync.Mutex // held while renewing
	var timer *time.Timer
	mu.Lock()
	defer mu.Unlock()

	timer = time.AfterFunc(lease/4, func() {
		mu.Lock()
		defer mu.Unlock()
		if ctx.Err() != nil {
			return
		}
		now := r.Now()
		if _, err := r.Outbox.InData(ctx, l, now, now.Add(lease)); err != nil && ctx.Err() == nil && r.Log != nil {
			r.Log.Warn("lease not renewed", "outbox", l.ID, "err", err)
		}
		timer.Reset(lease / 4)
	})

	return func() {
		cancel()
		mu.Lock()
		defer mu.Unlock()
		timer.Stop()
	}
}

// compose turns a panic of a template into an error: one bad brief must not
// end the process.
func (r *run) compose(ctx context.Context, l coldseam.OutboxMessage) (m Message, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("compose outbox %d: %v: %w", l.ID, p, coldseam.ErrInvalid)
		}
	}()
	return r.Compose(ctx, l)
}

// notComposed concerns one row, whatever it is: the others may tell of other
// rivers. A row that cannot be written waits for a better brief until its
// deadline; an address that cannot be mailed never will be.
func (r *run) notComposed(err error) coldseam.Outcome {
	o := coldseam.Outcome{State: coldseam.MailDeferred, Stage: StageCompose, Reply: replyText(err)}
	switch {
	case errors.Is(err, ErrVoid):
		o.State = coldseam.MailSkipped
	case errors.Is(err, coldseam.ErrRejected):
		o.State = coldseam.MailFailed
	}
	return o
}
