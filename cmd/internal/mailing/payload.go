package mailing

import (
	"context"
	"errors"
	"fmt"
	"os"
	"reflect"
	"slices"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify"
)

// Payload writes down what a mail says. A brief that cannot be written, as with a
// number that is none, is that river's NO CALL.
func (ml *Mailer) Payload(ctx context.Context, c notify.Content, day coldseam.Date) ([]byte, error) {
	raw, err := c.Marshal()
	if err == nil {
		return raw, nil
	}
	for i, b := range c.Briefs {
		if _, err := (notify.Content{Briefs: []coldseam.Brief{b}}).Marshal(); err != nil {
			ml.Log.Error("river not composed", "reach", string(b.Reach), "err", err)
			c.Briefs[i] = ml.lost(ctx, b, day)
		}
	}
	return c.Marshal()
}

// Sender makes one mail worker; all of this process share a breaker, so that a
// fault of ours stops after 20 attempts, not after 20 of each connection.
func (ml *Mailer) Sender(worker string) *notify.Sender {
	return &notify.Sender{
		Outbox:  ml.DB,
		Compose: ml.ComposeMessage,
		Relay:   ml.Relay,
		Worker:  worker,
		Now:     ml.Now,
		Sleep:   ml.Sleep,
		Log:     ml.Log,
		Breaker: &ml.breaker,
	}
}

// WorkerName is unique among all running processes.
func WorkerName(n int) string {
	host, _ := os.Hostname()
	return fmt.Sprintf("%s-%d-%d", host, os.Getpid(), n)
}

// ComposeMessage writes a mail with the charts of its rivers; each chart is
// drawn once per brief. A river that cannot be written is NO CALL, and the
// others are told.
func (ml *Mailer) ComposeMessage(ctx context.Context, l coldseam.OutboxMessage) (notify.Message, error) {
	l, err := ml.freshen(ctx, l)
	if err != nil {
		return notify.Message{}, err
	}

	charts := map[coldseam.ReachID][]byte{}
	c, parseErr := notify.ParseContent(l.Payload)
	for _, b := range c.Briefs {
		if png, err := ml.chartOf(ctx, b, l.Subscriber.Prefs.Units); err == nil && png != nil {
			charts[b.Reach] = png
		} else if err != nil {
			ml.Log.Warn("chart", "reach", b.Reach, "err", err)
		}
	}

	m, err := ml.written(l, charts)
	if err == nil || parseErr != nil || errors.Is(err, coldseam.ErrRejected) {
		return m, err
	}

	ml.Log.Error("mail not composed", "outbox", l.ID, "err", err)
	for i, b := range c.Briefs {
		alone := c
		alone.Briefs = []coldseam.Brief{b}
		one := l
		if one.Payload, err = alone.Marshal(); err == nil {
			_, err = ml.written(one, nil)
		}
		if err != nil {
			ml.Log.Error("river not composed", "reach", string(b.Reach), "err", err)
			c.Briefs[i] = ml.lost(ctx, b, l.LocalDate)
			delete(charts, b.Reach)
		}
	}

	if l, err = ml.reword(ctx, l, c); err != nil {
		return notify.Message{}, err
	}
	m, err = ml.written(l, charts)
	if err != nil && l.ID != 0 {
		err = errors.Join(err,
			ml.alarm(ctx, "compose", ml.Now(), []string{"A mail could not be written and waits. The log says why."}))
	}

	return m, err
}

// written composes a mail; a panic on the way is an error of this mail alone.
func (ml *Mailer) written(l coldseam.OutboxMessage, charts map[coldseam.ReachID][]byte) (m notify.Message, err error) {
	defer func() {
		if x := recover(); x != nil {
			err = fmt.Errorf("compose outbox %d: %v: %w", l.ID, x, coldseam.ErrInvalid)
		}
	}()
	return ml.Compose.Compose(l, charts)
}

// reword puts other content into a mail that is about to be written; a mail
// of the outbox keeps it, so that what was told stays on record.
func (ml *Mailer) reword(ctx context.Context, l coldseam.OutboxMessage, c notify.Content) (coldseam.OutboxMessage, error) {
	var err error
	if l.Payload, err = ml.Payload(ctx, c, l.LocalDate); err != nil || l.ID == 0 {
		return l, err
	}
	if err := ml.DB.Reword(ctx, l, bestVerdict(c.Briefs).String(), reachesToGo(c.Briefs), l.Payload); err != nil {
		return l, fmt.Errorf("%w: %w", err, coldseam.ErrUnavailable)
	}
	return l, nil
}

// freshen looks, just before a mail is written, whether its word still holds: a
// newer brief that says another one replaces it, also in window or weight, so does
// the same brief for a member who has changed hours, rig or another preference
// since, and one whose hours are over or whose inputs have gone stale is NO CALL. A
// notice that something has turned is void once it has turned back.
func (ml *Mailer) freshen(ctx context.Context, l coldseam.OutboxMessage) (coldseam.OutboxMessage, error) {
	if l.Kind != coldseam.MailMorning && l.Kind != coldseam.MailFlip || l.ID == 0 {
		return l, nil
	}
	c, err := notify.ParseContent(l.Payload)
	if err != nil || len(c.Briefs) == 0 {
		return l, err
	}

	var reaches []coldseam.ReachID
	for _, b := range c.Briefs {
		reaches = append(reaches, b.Reach)
	}
	newest, err := ml.DB.NewestBriefs(ctx, c.Briefs[0].Day, reaches)
	if err != nil {
		return l, fmt.Errorf("briefs before sending: %w: %w", err, coldseam.ErrUnavailable)
	}

	changed := c.For != nil && !reflect.DeepEqual(*c.For, l.Subscriber.Prefs)
	otherPrefs := changed
	if otherPrefs {
		c.For = &l.Subscriber.Prefs
	}
	for i, told := range c.Briefs {
		now := told
		if id := newest[told.Reach]; id != 0 && (id != told.ID || otherPrefs) {
			b, err := ml.DB.BriefByID(ctx, id)
			switch {
			case ctx.Err() != nil, errors.Is(err, coldseam.ErrUnavailable):
				return l, fmt.Errorf("brief before sending: %w: %w", err, coldseam.ErrUnavailable)
			case err != nil:
				ml.Log.Error("brief not readable", "reach", string(told.Reach), "err", err)
				now = ml.lost(ctx, told, l.LocalDate)
			case b.Issued.After(told.Issued), id == told.ID:
				now = ml.Personal(b, l.Subscriber.Prefs)
				if l.Kind != coldseam.MailMorning {
					break // a notice compares with what it replaces
				}
				before, err := ml.dayBefore(ctx, b.Day, []coldseam.ReachID{b.Reach}, l.CreatedAt)
				if err != nil {
					return l, err
				}
				ml.since(&now, before, l.Subscriber.Prefs)
			}
		}

		now = verdict.AsOf(now, ml.Now())
		if otherPrefs || !sameWord(told, now) {
			c.Briefs[i], changed = now, true
		}
	}

	if !changed {
		return l, nil
	}
	if l.Kind == coldseam.MailFlip && c.Briefs[0].Verdict == c.Was {
		return l, fmt.Errorf("turned back to %s: %w", c.Was, notify.ErrVoid)
	}
	return ml.reword(ctx, l, c)
}

// sameWord reports whether two briefs send a member to the same hours with the
// same weights, or keep them off for the same reason.
func sameWord(a, b coldseam.Brief) bool {
	v, _ := a.Best()
	w, _ := b.Best()
	return a.Verdict == b.Verdict && v.Start.Equal(w.Start) && v.End.Equal(w.End) &&
		slices.EqualFunc(a.Jig, b.Jig, func(x, y coldseam.SpotJig) bool {
			return x.SpotID == y.SpotID && x.TieOz == y.TieOz && x.PackOz == y.PackOz &&
				x.Withheld.Code == y.Withheld.Code
		}) &&
		slices.EqualFunc(a.Stops, b.Stops, func(x, y coldseam.Reason) bool { return x.Code == y.Code })
}

// chartKey separates the pictures of the two unit systems.
type chartKey struct {
	brief int64
	units string
}

// maxCharts bounds the cache; a day of a club with 50 rivers is far below.
const maxCharts = 400

func (ml *Mailer) chartOf(ctx context.Context, b coldseam.Brief, units string) ([]byte, error) {
	if b.ID == 0 || b.Verdict == coldseam.NoCall {
		return nil, nil
	}
	k := chartKey{b.ID, units}
	ml.mu.Lock()
	png, ok := ml.charts[k]

	ml.mu.Unlock()
	if ok {
		return png, nil
	}
	full, err := ml.DB.BriefByID(ctx, b.ID)
	if err != nil {
		return nil, err
	}

	if png, err = drawn(full, units); err != nil {
		return nil, err
	}
	ml.mu.Lock()
	defer ml.mu.Unlock()
	if len(ml.charts) >= maxCharts {
		clear(ml.charts)
	}
	ml.charts[k] = png
	return png, nil
}
