package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/web"
	"example.org/coldseam/store"
)

// pages is what the web server reads and writes: the store, seen with the
// program's clock and configuration. It satisfies web.Store.
type pages struct{ *app }

// Board returns the newest brief of each reach: today's, else the one for
// tomorrow that the evening makes, else the last that was told.
func (ml *Mailer) Board(ctx context.Context) ([]coldseam.Brief, error) {
	reaches, err := ml.DB.Reaches(ctx)
	if err != nil {
		return nil, err
	}
	var out []coldseam.Brief
	for _, r := range reaches {
		today := coldseam.DateOf(ml.Now().In(env.Zone(r.Zone)))
		days := []coldseam.Date{today, today.Add(-1)}
		if ml.Now().After(ml.lastLight(r, today)) {
			days = append([]coldseam.Date{today.Add(1)}, days...)
		}
		for _, d := range days {
			b, err := ml.DB.Brief(ctx, r.ID, d)
			if errors.Is(err, coldseam.ErrNotFound) {
				continue
			}
			if err != nil && (ctx.Err() != nil || errors.Is(err, coldseam.ErrUnavailable)) {
				return nil, err
			}
			if err != nil { // one river's fault
				ml.Log.Error("brief not readable", "reach", string(r.ID), "err", err)
				b = noBrief(briefOf(r, d), ml.Now())
			}
			out = append(out, ml.forStranger(b))
			break
		}
	}
	sortBriefs(out)
	return out, nil
}

// forStranger is a brief as it reads for somebody whose craft is not known: the
// stored one is a boat's.
func (ml *Mailer) forStranger(b coldseam.Brief) coldseam.Brief {
	for _, w := range b.Windows {
		if len(w.Crafts) > 0 {
			return ml.personal(b, coldseam.Preferences{})
		}
	}
	return b
}

// Reaches returns the reaches in the club's order.
func (p pages) Reaches(ctx context.Context) ([]coldseam.Reach, error) { return p.DB.Reaches(ctx) }

// SignUp notes a request and queues the confirm mail when the address may get
// one. The answer is the same whatever is known of it.
func (p pages) SignUp(ctx context.Context, email string, prefs coldseam.Preferences, at time.Time) error {
	if prefs.Zone == "" {
		prefs.Zone = p.Config.Club.Zone
	}
	hour, err := p.DB.CountAttempt(ctx, "confirm mails", time.Hour, at)
	if err != nil {
		return err
	}
	s, _, err := p.DB.AddSubscriber(ctx, email, "", prefs)
	if err != nil {
		return err
	}
	if s.State != "pending" || hour > maxConfirmsHour {
		return nil
	}
	if ok, err := p.mayConfirm(ctx, s.ID, at); err != nil || !ok {
		return err
	}
	return p.queueOne(ctx, coldseam.MailConfirm, s.ID, at, 7*env.Day, notify.Content{Club: p.Config.Club.Name})
}

// Limits of sign-up against list bombing [proposal].
const (
	maxConfirmsHour = 100
	maxConfirmsEver = 3
)

// mayConfirm allows one confirm mail a day and three ever while unconfirmed.
func (ml *Mailer) mayConfirm(ctx context.Context, sub int64, at time.Time) (bool, error) {
	today, err := ml.DB.CountAttempt(ctx, fmt.Sprintf("confirm %d", sub), env.Day, at)
	if err != nil || today > 1 {
		return false, err
	}
	ever, err := ml.DB.CountConfirmMail(ctx, sub)
	return ever <= maxConfirmsEver, err
}

// queueOne puts a single mail into the outbox.
func (ml *Mailer) queueOne(ctx context.Context, kind coldseam.MailKind, sub int64, at time.Time, good time.Duration, c notify.Content) error {
	payload, err := c.Marshal()
	if err != nil {
		return err
	}
	_, _, err = ml.DB.QueueEdition(ctx, store.NewEdition{Kind: kind, MadeAt: at, MailDomain: ml.compose.Domain,
		Letters: []store.NewLetter{{Subscriber: sub, LocalDate: coldseam.DateOf(at.In(env.Zone(ml.Config.Club.Zone))), Deadline: at.Add(good), Payload: payload}}})
	return err
}

// Confirm turns a pending subscriber into a confirmed one and welcomes them.
func (p pages) Confirm(ctx context.Context, sub int64, at time.Time) error {
	s, err := p.DB.Subscriber(ctx, sub)
	if err != nil {
		return err
	}
	if s.State != "pending" {
		return nil
	}
	if err := p.DB.Confirm(ctx, sub); err != nil {
		return err
	}
	return p.queueOne(ctx, coldseam.MailWelcome, sub, at, env.Day, notify.Content{Club: p.Config.Club.Name})
}

// Subscriber returns one by id.
func (p pages) Subscriber(ctx context.Context, sub int64) (coldseam.Subscriber, error) {
	return p.DB.Subscriber(ctx, sub)
}

// SavePreferences replaces them.
func (p pages) SavePreferences(ctx context.Context, sub int64, prefs coldseam.Preferences, at time.Time) error {
	return p.DB.SetPrefs(ctx, sub, prefs)
}

// Unsubscribe stops all mail at once.
func (p pages) Unsubscribe(ctx context.Context, sub int64, at time.Time) error {
	if err := p.DB.Unsubscribe(ctx, sub); err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		return err
	}
	return nil
}

// Trip returns what the subscriber logged for the reach and day.
func (p pages) Trip(ctx context.Context, sub int64, reach coldseam.ReachID, d coldseam.Date) (coldseam.Trip, error) {
	trips, err := p.DB.Trips(ctx, reach, d, d)
	if err != nil {
		return coldseam.Trip{}, err
	}
	for _, t := range trips {
		if t.Subscriber == sub {
			return t, nil
		}
	}
	return coldseam.Trip{}, fmt.Errorf("trip of %s on %s: %w", reach, d, coldseam.ErrNotFound)
}

// Season returns the recap of a year, the same that `coldseam recap` writes.
func (p pages) Season(ctx context.Context, year int, reach coldseam.ReachID) (web.Recap, error) {
	return p.recaps.get(p.Now(), year, reach, func() (web.Recap, error) { return p.recap(ctx, year, reach) })
}

var _ web.Store = pages{}
