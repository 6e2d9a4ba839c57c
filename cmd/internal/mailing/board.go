package mailing

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// Enrol enters a member the way sign-up does. It returns in words what came of
// it; a known member is left alone.
func (ml *Mailer) Enrol(ctx context.Context, email, name string, p coldseam.Preferences,
	confirmed bool) (coldseam.Subscriber, string, error) {
	if p.Zone == "" {
		p.Zone = ml.Config.Club.Zone
	}
	if p.Units == "" {
		p.Units = ml.Config.Club.Units
	}
	for _, r := range p.Reaches {
		if _, err := ml.DB.Reach(ctx, r); err != nil {
			return coldseam.Subscriber{}, "", env.NoReach(ctx, ml.DB, err)
		}
	}

	if d := ml.Config.Mail.BounceDomain; d != "" && store.EmailDomain(email) == strings.ToLower(d) {
		return coldseam.Subscriber{}, "",
			fmt.Errorf("the address is of our own bounce domain %s, where reports arrive; want a person's: %w", d,
				coldseam.ErrInvalid)
	}
	sub, known, err := ml.DB.AddSubscriber(ctx, email, name, p)
	if err != nil {
		return sub, "", err
	}

	if known && sub.State != store.SubPending {
		return sub, "known already, " + sub.State + "; nothing changed", nil
	}
	if confirmed {
		if err := ml.DB.Confirm(ctx, sub.ID); err != nil {
			return sub, "", err
		}
		return sub, "confirmed on the admin's word; the first mail comes with the next morning", nil
	}

	if ok, err := ml.MayConfirm(ctx, sub.ID, ml.Now()); err != nil || !ok {
		return sub, "pending; no further confirm mail today", err
	}
	err = ml.QueueOne(ctx, coldseam.MailConfirm, sub.ID, ml.Now(), 7*env.Day, notify.Content{Club: ml.Config.Club.Name})
	return sub, "pending; the confirm mail is queued and good for 7 days", err
}

// Wants reports whether a member's mails include a reach.
func Wants(p coldseam.Preferences, id coldseam.ReachID) bool {
	for _, r := range p.Reaches {
		if r == id {
			return true
		}
	}
	return len(p.Reaches) == 0
}

// LastLight is the sunset of a reach on d: after it the day's windows are over.
func (ml *Mailer) LastLight(r coldseam.Reach, d coldseam.Date) time.Time {
	loc := env.Zone(r.Zone)
	if sun := verdict.SunOf(d, r.Lat, r.Lon, loc); sun.OK {
		return sun.Set
	}
	return d.At(16*time.Hour, loc)
}

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
		if ml.Now().After(ml.LastLight(r, today)) {
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

			out = append(out, ml.ForStranger(b))
			break
		}
	}

	notify.SortBriefs(out)
	return out, nil
}

// ForStranger is a brief as it reads for somebody whose craft is not known: the
// stored one is a boat's.
func (ml *Mailer) ForStranger(b coldseam.Brief) coldseam.Brief {
	for _, w := range b.Windows {
		if len(w.Crafts) > 0 {
			return ml.Personal(b, coldseam.Preferences{})
		}
	}
	return b
}

// Limits of sign-up against list bombing [proposal].
const (
	MaxConfirmsHour = 100
	maxConfirmsEver = 3
)

// MayConfirm allows one confirm mail a day and three ever while unconfirmed.
func (ml *Mailer) MayConfirm(ctx context.Context, sub int64, at time.Time) (bool, error) {
	today, err := ml.DB.CountAttempt(ctx, fmt.Sprintf("confirm %d", sub), env.Day, at)
	if err != nil || today > 1 {
		return false, err
	}
	ever, err := ml.DB.CountConfirmMail(ctx, sub)
	return ever <= maxConfirmsEver, err
}

// QueueOne puts a single mail into the outbox.
func (ml *Mailer) QueueOne(ctx context.Context, kind coldseam.MailKind, sub int64, at time.Time, good time.Duration,
	c notify.Content) error {
	payload, err := c.Marshal()
	if err != nil {
		return err
	}
	_, _, err = ml.DB.QueueMailing(ctx, store.NewMailing{
		Kind:       kind,
		MadeAt:     at,
		MailDomain: ml.Compose.Domain,
		Messages: []store.NewMessage{{Subscriber: sub,
			LocalDate: coldseam.DateOf(at.In(env.Zone(ml.Config.Club.Zone))), Deadline: at.Add(good),
			Payload: payload}},
	})
	return err
}
