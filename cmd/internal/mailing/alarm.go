package mailing

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// alarm tells the admin, once a day for each cause: by the second path where
// one is configured, since the first may be what failed.
func (ml *Mailer) alarm(ctx context.Context, cause string, now time.Time, lines []string) error {
	if ml.Config.Club.AdminEmail == "" {
		return nil
	}
	today := coldseam.DateOf(now.In(env.Zone(ml.Config.Club.Zone)))
	name := "alarm " + cause + " " + today.String()
	on, _, err := ml.DB.Switch(ctx, name)
	if err != nil || on {
		return err
	}

	if ml.Config.Mail.SecondSMTP == "" {
		// The cause stands where a reach would: one alarm a day and cause.
		return ml.toAdmin(ctx, coldseam.MailAlarm, coldseam.ReachID(cause), today, now, notify.Content{Lines: lines})
	}

	// Several servers see the same fault in the same minute: the count lets one
	// of them try, and another one later should that try fail.
	n, err := ml.DB.CountAttempt(ctx, name, env.Day, now)
	if err != nil || n%alarmEvery != 1 {
		return err
	}
	if err := ml.secondPath(ctx, today, now, lines); err != nil {
		return err
	}
	return ml.DB.SetSwitch(ctx, name, true, store.Edit{Who: "coldseam", Why: "alarm sent"})
}

// Mornings counts the morning mails of a day: sent, and all that should be, also
// those that were never written. Members whose rivers are all out of season, or
// not fished any more, are not waiting for one.
func (ml *Mailer) Mornings(ctx context.Context, d coldseam.Date) (sent, total int, err error) {
	counts, err := ml.DB.MailCounts(ctx, coldseam.MailMorning, d)
	if err != nil {
		return 0, 0, err
	}
	missed, err := ml.DB.MissedMornings(ctx, d, ml.Now())
	if err != nil {
		return 0, 0, err
	}

	if len(missed) > 0 {
		morningMailer := newMorningMailer(ml, ml.Now())
		if morningMailer.all, err = ml.DB.Reaches(ctx); err != nil {
			return 0, 0, err
		}
		if err := morningMailer.water(ctx, d, morningMailer.reachesOf(coldseam.Preferences{})); err != nil {
			return 0, 0, err
		}

		for _, s := range missed {
			if morningMailer.expects(s) {
				total++
			}
		}
	}

	for state, n := range counts {
		if state != coldseam.MailSkipped {
			total += n
		}
		if state == coldseam.MailSent {
			sent += n
		}
	}

	return sent, total, err
}

// secondPath sends the alarm straight through the second relay: the first one
// may be what failed.
func (ml *Mailer) secondPath(ctx context.Context, today coldseam.Date, now time.Time, lines []string) error {
	payload, err := notify.Content{Club: ml.Config.Club.Name, Lines: lines, Link: ml.Links.Status()}.Marshal()
	if err != nil {
		return err
	}
	l := coldseam.OutboxMessage{
		Kind:       coldseam.MailAlarm,
		LocalDate:  today,
		CreatedAt:  now,
		Payload:    payload,
		Subscriber: coldseam.Subscriber{Email: ml.Config.Club.AdminEmail},
		Deadline:   now.Add(env.Day),
		State:      coldseam.MailClaimed,
	}
	s := ml.Sender(WorkerName(0))
	s.Relay.Addr = ml.Config.Mail.SecondSMTP
	s.Outbox = &OneMessage{Message: &l}
	t, err := s.Run(ctx, 1)
	if err != nil || t.Sent == 0 {
		return errors.Join(err, fmt.Errorf("alarm by the second path was not accepted: %w", coldseam.ErrUnavailable))
	}
	return nil
}

// OneMessage is an outbox of a single mail, held in memory.
type OneMessage struct{ Message *coldseam.OutboxMessage }

// Claim hands the mail out once.
func (o *OneMessage) Claim(context.Context, string, time.Time, time.Duration, int) ([]coldseam.OutboxMessage, error) {
	if o.Message == nil {
		return nil, nil
	}
	l := *o.Message
	o.Message = nil
	return []coldseam.OutboxMessage{l}, nil
}

// Paced never makes a single mail wait.
func (o *OneMessage) Paced(context.Context, time.Time) (time.Time, error) { return time.Time{}, nil }

// InData always agrees: nobody else holds the mail.
func (o *OneMessage) InData(context.Context, coldseam.OutboxMessage, time.Time, time.Time) (bool, error) {
	return true, nil
}

// Done records nothing: the mail has no row.
func (o *OneMessage) Done(context.Context, coldseam.OutboxMessage, coldseam.Outcome, time.Time) error {
	return nil
}

// HealthTimeout is how long a look at the database may take: a server that is
// cut off says so instead of saying nothing.
const HealthTimeout = 10 * time.Second

// Ready is /readyz: the database answers and has this program's schema.
func (ml *Mailer) Ready(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, HealthTimeout)
	defer cancel()
	return ml.DB.RequireCurrent(ctx)
}

// Healthy is /healthz: well while work can be queued and today's mornings are out
// or not yet due.
func (ml *Mailer) Healthy(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, HealthTimeout)
	defer cancel()
	if err := ml.DB.Ping(ctx); err != nil {
		return err
	}
	if err := ml.DB.EnqueueFailure(); err != nil {
		return err
	}

	loc := env.Zone(ml.Config.Club.Zone)
	today := coldseam.DateOf(ml.Now().In(loc))
	deadline, err := coldseam.ParseClock(ml.Config.Club.Deadline)
	if err != nil || ml.Now().Before(today.At(deadline, loc)) {
		return nil
	}
	sent, total, err := ml.Mornings(ctx, today)
	if err == nil && float64(sent) < enoughSent*float64(total) {
		err = fmt.Errorf("%d of %d morning mails sent: %w", sent, total, coldseam.ErrUnavailable)
	}

	return err
}
