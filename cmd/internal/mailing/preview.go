package mailing

import (
	"context"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// NextMorning is the next morning by the club's own send time, and when its mail
// goes out.
func (ml *Mailer) NextMorning() (day coldseam.Date, at time.Time, err error) {
	loc := env.Zone(ml.Config.Club.Zone)
	day = coldseam.DateOf(ml.Now().In(loc))
	if at, err = notify.SendAt(day, ml.Config.Club.SendAt, loc); err == nil && !at.After(ml.Now()) {
		day = day.Add(1)
		at, err = notify.SendAt(day, ml.Config.Club.SendAt, loc)
	}
	return day, at.In(loc), err
}

// GetMail lists who gets the mail of a morning: the confirmed members who want
// mail on its weekday, and of whose rivers one is in season.
func (ml *Mailer) GetMail(ctx context.Context, day coldseam.Date) ([]coldseam.Subscriber, error) {
	all, err := ml.DB.Subscribers(ctx, "confirmed")
	if err != nil {
		return nil, err
	}
	var due []store.DueSubscriber
	for _, s := range all {
		if days := s.Prefs.Weekdays; len(days) == 0 || slices.Contains(days, int(day.UTC().Weekday())) {
			due = append(due, store.DueSubscriber{Subscriber: s, LocalDate: day})
		}
	}

	d := newMorningMailer(ml, ml.Now())
	if len(due) == 0 {
		return nil, nil
	}
	if err := d.load(ctx, due); err != nil {
		return nil, err
	}
	var out []coldseam.Subscriber
	for _, s := range due {
		if d.expects(s) && !d.paused[pauseName(s.ID)] {
			out = append(out, s.Subscriber)
		}
	}
	return out, nil
}

// Preview writes a member's morning mail from briefs that may not be stored yet.
func (ml *Mailer) Preview(ctx context.Context, s coldseam.Subscriber, day coldseam.Date,
	briefs []coldseam.Brief) (notify.Message, error) {
	c := notify.Content{Club: ml.Config.Club.Name, For: &s.Prefs}
	charts := map[coldseam.ReachID][]byte{}
	for _, b := range briefs {
		if !Wants(s.Prefs, b.Reach) {
			continue
		}
		c.Briefs = append(c.Briefs, ml.Personal(b, s.Prefs))
		if b.Verdict != coldseam.NoCall {
			charts[b.Reach], _ = drawn(b, s.Prefs.Units) // as the mail itself, it goes without
		}
	}

	payload, err := ml.Payload(ctx, c, day)
	if err != nil {
		return notify.Message{}, err
	}
	return ml.written(coldseam.OutboxMessage{Kind: coldseam.MailMorning, LocalDate: day, CreatedAt: ml.Now(), Subscriber: s,
		Payload: payload}, charts)
}
