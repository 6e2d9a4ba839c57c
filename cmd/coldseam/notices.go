package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// saveTold stores a brief; when it overturns what subscribers were told for
// the same day, their correction goes into the outbox in the same transaction.
func (a *app) saveTold(ctx context.Context, b coldseam.Brief) (int64, error) {
	if b.Verdict.ShowsOdds() {
		return a.db.SaveBrief(ctx, b)
	}
	letters, err := a.corrections(ctx, b)
	if err != nil {
		// The brief is worth more than its mail: store it, and say so.
		a.log.Error("corrections", "reach", b.Reach, "err", err)
	}
	id, n, err := a.db.SaveBriefWith(ctx, b, store.NewEdition{Kind: coldseam.MailCorrection, MadeAt: b.Issued, MailDomain: a.compose.Domain, Letters: letters})
	if n > 0 {
		a.log.Warn("correction queued", "reach", b.Reach, "verdict", b.Verdict, "n", n)
	}
	return id, err
}

// corrections are the mails to everyone who was told GO or TOSS-UP for the
// reach and day that b stops or cannot call any more, while their window is
// still open.
func (a *app) corrections(ctx context.Context, b coldseam.Brief) ([]store.NewLetter, error) {
	told, err := a.db.Told(ctx, b.Day)
	if err != nil {
		return nil, err
	}
	var out []store.NewLetter
	var errs []error
	for _, t := range told {
		c, err := notify.ParseContent(t.Payload)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		for _, was := range c.Briefs {
			if was.Reach != b.Reach || was.Verdict != coldseam.Go && was.Verdict != coldseam.TossUp || !b.Issued.Before(was.GoodUntil) {
				continue
			}
			payload, err := notify.Content{Club: a.cfg.Club.Name, Briefs: []coldseam.Brief{b}, Was: was.Verdict, WasAt: t.MadeAt}.Marshal()
			if err != nil {
				errs = append(errs, err)
				continue
			}
			out = append(out, store.NewLetter{Subscriber: t.Subscriber, LocalDate: b.Day, Reach: b.Reach, Deadline: was.GoodUntil,
				Verdict: b.Verdict.String(), Payload: payload})
		}
	}
	return out, errors.Join(errs...)
}

// flipFrom and flipTo bound the evening in which a flip notice may go out.
const (
	flipFrom = 18 * time.Hour
	flipTo   = 21*time.Hour + 30*time.Minute
)

// queueFlips writes, the evening before, to those who asked for it when a
// verdict for tomorrow has turned since the last look. At most one a day: the
// outbox key holds it.
func (a *app) queueFlips(ctx context.Context, b coldseam.Brief, prev *coldseam.Brief) error {
	loc := zoneOf(b.Zone)
	local := b.Issued.In(loc)
	clock := local.Sub(coldseam.DateOf(local).In(loc))
	if prev == nil || prev.Day != b.Day || prev.Verdict == b.Verdict || b.Day != coldseam.DateOf(local).Add(1) || clock < flipFrom || clock > flipTo {
		return nil
	}
	subs, err := a.db.Subscribers(ctx, "confirmed")
	if err != nil {
		return err
	}
	var letters []store.NewLetter
	for _, s := range subs {
		if !s.Prefs.FlipNotice || !wants(s.Prefs, b.Reach) {
			continue
		}
		mine := a.personal(b, s.Prefs)
		payload, err := notify.Content{Club: a.cfg.Club.Name, Briefs: []coldseam.Brief{mine}, Was: prev.Verdict, WasAt: prev.Issued}.Marshal()
		if err != nil {
			return err
		}
		letters = append(letters, store.NewLetter{Subscriber: s.ID, LocalDate: coldseam.DateOf(local), Deadline: coldseam.DateOf(local).In(loc).Add(22 * time.Hour),
			Verdict: mine.Verdict.String(), Payload: payload})
	}
	_, _, err = a.db.QueueEdition(ctx, store.NewEdition{Kind: coldseam.MailFlip, MadeAt: b.Issued, MailDomain: a.compose.Domain, Letters: letters})
	return err
}

// queueOutlooks writes the weekend outlook to those who asked for it, on
// Thursday evening.
func (a *app) queueOutlooks(ctx context.Context, now time.Time) error {
	due, err := a.db.DueOutlook(ctx, now)
	if err != nil || len(due) == 0 {
		return err
	}
	board, err := pages{a}.Board(ctx)
	if err != nil {
		return err
	}
	var letters []store.NewLetter
	for _, s := range due {
		var mine []coldseam.Brief
		for _, b := range board {
			if wants(s.Prefs, b.Reach) {
				mine = append(mine, a.personal(b, s.Prefs))
			}
		}
		if len(mine) == 0 {
			continue
		}
		payload, err := notify.Content{Club: a.cfg.Club.Name, Briefs: mine}.Marshal()
		if err != nil {
			return err
		}
		letters = append(letters, store.NewLetter{Subscriber: s.ID, LocalDate: s.LocalDate, Deadline: s.Deadline, Payload: payload})
	}
	_, _, err = a.db.QueueEdition(ctx, store.NewEdition{Kind: coldseam.MailOutlook, MadeAt: now, MailDomain: a.compose.Domain, Letters: letters})
	return err
}

// silentHour is the local hour before the morning at which the admin hears of
// gauges that are silent.
const silentHour = 4*time.Hour + 30*time.Minute

// watch tells the admin what they must act on: silent gauges before the
// morning, and a morning that did not go out.
func (a *app) watch(ctx context.Context, now time.Time) error {
	loc := zoneOf(a.cfg.Club.Zone)
	today := coldseam.DateOf(now.In(loc))
	clock := now.Sub(today.In(loc))
	var errs []error
	if clock >= silentHour && clock < silentHour+6*time.Hour {
		errs = append(errs, a.silentNotice(ctx, today, now))
	}
	if d, err := time.Parse("15:04", a.cfg.Club.Deadline); err == nil {
		deadline := time.Duration(d.Hour())*time.Hour + time.Duration(d.Minute())*time.Minute
		if clock >= deadline && clock < deadline+time.Hour {
			errs = append(errs, a.deadlineAlarm(ctx, today, now))
		}
	}
	return errors.Join(errs...)
}

// silentNotice queues one mail a day that names the gauges past their limit.
func (a *app) silentNotice(ctx context.Context, today coldseam.Date, now time.Time) error {
	if a.cfg.Club.AdminEmail == "" {
		return nil
	}
	reaches, err := a.db.Reaches(ctx)
	if err != nil {
		return err
	}
	var lines []string
	for _, r := range reaches {
		vals, err := a.db.Latest(ctx, r.Site)
		if err != nil {
			return err
		}
		for _, v := range vals {
			limit := time.Duration(a.table().GaugeAgeH * float64(time.Hour))
			if v.Param == coldseam.Discharge && v.Stat == coldseam.Instant && now.Sub(v.At) > limit {
				lines = append(lines, fmt.Sprintf("%s, %s: gauge silent %.0f h; newest value %s", r.River, r.Name, now.Sub(v.At).Hours(), v.At.In(zoneOf(r.Zone)).Format("Mon 2 Jan 15:04")))
			}
		}
	}
	if len(lines) == 0 {
		return nil
	}
	return a.toAdmin(ctx, coldseam.MailSilent, today, now, lines)
}

// toAdmin queues a mail to the admin, one of a kind a day.
func (a *app) toAdmin(ctx context.Context, kind coldseam.MailKind, today coldseam.Date, now time.Time, lines []string) error {
	payload, err := notify.Content{Club: a.cfg.Club.Name, Lines: lines, Link: a.links.Status()}.Marshal()
	if err != nil {
		return err
	}
	_, _, err = a.db.QueueEdition(ctx, store.NewEdition{Kind: kind, MadeAt: now, MailDomain: a.compose.Domain,
		Letters: []store.NewLetter{{AdminEmail: a.cfg.Club.AdminEmail, LocalDate: today, Payload: payload}}})
	return err
}

// enoughSent is the share of a morning's mails that must be out by the
// deadline.
const enoughSent = 0.95

// deadlineAlarm tells the admin, by the second path where one is configured,
// when too few of a morning's mails were sent.
func (a *app) deadlineAlarm(ctx context.Context, today coldseam.Date, now time.Time) error {
	sent, total, err := a.mornings(ctx, today)
	if err != nil || total == 0 || float64(sent) >= enoughSent*float64(total) {
		return err
	}
	lines := []string{fmt.Sprintf("%d of %d morning mails were sent by the deadline.", sent, total), "Run `coldseam check` on the server: it names the fault."}
	if a.cfg.Mail.SecondSMTP != "" {
		return a.secondPath(ctx, today, now, lines)
	}
	return a.toAdmin(ctx, coldseam.MailAlarm, today, now, lines)
}

// mornings counts the morning mails of a day: sent, and all that should be.
func (a *app) mornings(ctx context.Context, d coldseam.Date) (sent, total int, err error) {
	counts, err := a.db.MailCounts(ctx, coldseam.MailMorning, d)
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
// is what failed. Once a day, by a switch in the database.
func (a *app) secondPath(ctx context.Context, today coldseam.Date, now time.Time, lines []string) error {
	name := "alarm " + today.String()
	if on, _, err := a.db.Switch(ctx, name); err != nil || on {
		return err
	}
	payload, err := notify.Content{Club: a.cfg.Club.Name, Lines: lines, Link: a.links.Status()}.Marshal()
	if err != nil {
		return err
	}
	l := coldseam.Letter{Kind: coldseam.MailAlarm, LocalDate: today, CreatedAt: now, Payload: payload,
		Subscriber: coldseam.Subscriber{Email: a.cfg.Club.AdminEmail}, Deadline: now.Add(day), State: coldseam.MailClaimed}
	s := a.sender(workerName(0))
	s.Relay.Addr = a.cfg.Mail.SecondSMTP
	s.Outbox = &oneLetter{l: &l}
	t, err := s.Run(ctx, 1)
	if err != nil || t.Sent == 0 {
		return errors.Join(err, fmt.Errorf("alarm by the second path was not accepted: %w", coldseam.ErrUnavailable))
	}
	return a.db.SetSwitch(ctx, name, true, store.Edit{Who: "coldseam", Why: "alarm sent"})
}

// oneLetter is an outbox of a single mail that lives in memory.
type oneLetter struct{ l *coldseam.Letter }

// Claim hands the letter out once.
func (o *oneLetter) Claim(context.Context, string, time.Time, time.Duration, int) ([]coldseam.Letter, error) {
	if o.l == nil {
		return nil, nil
	}
	l := *o.l
	o.l = nil
	return []coldseam.Letter{l}, nil
}

// InData always agrees: nobody else holds the letter.
func (o *oneLetter) InData(context.Context, coldseam.Letter, time.Time, time.Time) (bool, error) {
	return true, nil
}

// Done has nowhere to write.
func (o *oneLetter) Done(context.Context, coldseam.Letter, coldseam.Outcome, time.Time) error {
	return nil
}

// healthy is /healthz: well while today's mornings are out or not yet due.
func (a *app) healthy(ctx context.Context) error {
	if err := a.db.Ping(ctx); err != nil {
		return err
	}
	loc := zoneOf(a.cfg.Club.Zone)
	today := coldseam.DateOf(a.now().In(loc))
	d, err := time.Parse("15:04", a.cfg.Club.Deadline)
	if err != nil || a.now().Before(today.In(loc).Add(time.Duration(d.Hour())*time.Hour+time.Duration(d.Minute())*time.Minute)) {
		return nil
	}
	sent, total, err := a.mornings(ctx, today)
	if err == nil && float64(sent) < enoughSent*float64(total) {
		err = fmt.Errorf("%d of %d morning mails sent: %w", sent, total, coldseam.ErrUnavailable)
	}
	return err
}
