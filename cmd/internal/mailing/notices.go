package mailing

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// SaveWithCorrections stores a brief; when it overturns what subscribers were told for
// the same day, their correction goes into the outbox in the same transaction.
func (ml *Mailer) SaveWithCorrections(ctx context.Context, b coldseam.Brief) (int64, error) {
	letters, err := ml.corrections(ctx, b)
	if err != nil {
		// The brief is worth more than its mail: store it, and say so.
		ml.Log.Error("corrections", "reach", b.Reach, "err", err)
	}

	e := store.NewMailing{
		Kind:       coldseam.MailCorrection,
		MadeAt:     b.Issued,
		MailDomain: ml.Compose.Domain,
		Messages:   letters,
	}
	id, n, err := ml.DB.SaveBriefWith(ctx, b, e)
	if err != nil {
		return id, err
	}

	// A morning mail that was written while the brief was stored has not seen it;
	// one that is written from now on does (freshen). The key stops doubles.
	if e.Messages, err = ml.corrections(ctx, b); err == nil && len(e.Messages) > 0 {
		_, k, qerr := ml.DB.QueueMailing(ctx, e)
		n, err = n+k, qerr
	}

	if n > 0 {
		ml.Log.Warn("correction queued", "reach", b.Reach, "verdict", b.Verdict, "n", n)
	}
	return id, err
}

// corrections are the mails to everyone who was told GO or TOSS-UP for the
// reach and day and whose own hours b stops or cannot call any more, while they
// are still open. A morning mail that still waits is not corrected: it is
// written anew when it goes.
func (ml *Mailer) corrections(ctx context.Context, b coldseam.Brief) ([]store.NewMessage, error) {
	if !mayOverturn(b) {
		return nil, nil
	}
	var out []store.NewMessage
	var errs []error
	said := map[string][]byte{} // most are told the same: one payload for all of them

	err := ml.DB.EachIssuedMail(ctx, b.Day, b.Reach, func(t store.IssuedMail) error {
		if t.State == coldseam.MailPending || t.State == coldseam.MailDeferred {
			return nil
		}
		c, err := notify.ParseContent(t.Payload)
		if err != nil {
			errs = append(errs, err)
			return nil
		}

		for _, was := range c.Briefs {
			if was.Reach != b.Reach || !isFishable(was.Verdict) || !b.Issued.Before(was.GoodUntil) {
				continue
			}
			told, _ := was.Best()
			now, off := verdict.Recall(b, told)
			if !off {
				continue
			}
			payload, err := notify.Content{
				Club:   ml.Config.Club.Name,
				Briefs: []coldseam.Brief{now},
				Was:    was.Verdict,
				WasAt:  t.MadeAt,
			}.Marshal()
			if err != nil {
				errs = append(errs, err)
				continue
			}

			if same, ok := said[string(payload)]; ok {
				payload = same
			} else {
				said[string(payload)] = payload
			}
			out = append(out, store.NewMessage{
				Subscriber: t.Subscriber,
				LocalDate:  b.Day,
				Reach:      b.Reach,
				Deadline:   was.GoodUntil,
				Verdict:    now.Verdict.String(),
				Payload:    payload,
			})
		}

		return nil
	})

	return out, errors.Join(append(errs, err)...)
}

// mayOverturn: only a brief without odds, or one in which some window has a stop
// or could not be judged, can call anybody off.
func mayOverturn(b coldseam.Brief) bool {
	off := func(w coldseam.Window) bool { return len(w.Stops) > 0 }
	return !b.Verdict.ShowsOdds() || slices.ContainsFunc(b.Begun, off) ||
		slices.ContainsFunc(b.Windows, func(w coldseam.Window) bool { return off(w) || !w.OddsOK })
}

// goes tells the verdicts that may bring somebody to the water.
func isFishable(v coldseam.Verdict) bool { return v == coldseam.Go || v == coldseam.TossUp }

// flipFrom and flipTo bound the evening in which a flip notice may go out.
const (
	flipFrom = 18 * time.Hour
	flipTo   = 21*time.Hour + 30*time.Minute
)

// QueueVerdictChanges writes, the evening before, to those who asked for it when their
// verdict for tomorrow has turned since their morning mail. At most one a day:
// the outbox key holds it.
func (ml *Mailer) QueueVerdictChanges(ctx context.Context, b coldseam.Brief, prev *coldseam.Brief) error {
	loc := env.Zone(b.Zone)
	local := b.Issued.In(loc)
	today, clock := coldseam.DateOf(local), coldseam.ClockOf(local)
	if b.Day != today.Add(1) || clock < flipFrom || clock > flipTo {
		return nil
	}
	subs, err := ml.DB.Subscribers(ctx, "confirmed")
	if err != nil {
		return err
	}

	subs = slices.DeleteFunc(subs, func(s coldseam.Subscriber) bool {
		return !s.Prefs.FlipNotice || !Wants(s.Prefs, b.Reach)
	})
	if len(subs) == 0 {
		return nil
	}
	issues, err := ml.DB.BriefIssues(ctx, b.Reach, today)
	if err != nil {
		return err
	}

	m := ml.mailing(coldseam.MailFlip, b.Issued)

	for _, s := range subs {
		before := issuedInMorning(issues, today, s.Prefs)
		if before == nil {
			before = prev
		}
		if before == nil {
			continue
		}
		mine := ml.Personal(b, s.Prefs)

		was, told := ml.verdictIssued(*before, b.Day, s.Prefs)
		if !told || was == mine.Verdict {
			continue // for this subscriber nothing has turned
		}
		payload, err := notify.Content{
			Club:   ml.Config.Club.Name,
			Briefs: []coldseam.Brief{mine},
			For:    &s.Prefs,
			Was:    was,
			WasAt:  before.Issued,
		}.Marshal()
		if err != nil {
			ml.Log.Error("compose notice", "subscriber", s.ID, "err", err)
			continue
		}

		if err := m.add(ctx, store.NewMessage{Subscriber: s.ID, LocalDate: today, Deadline: today.At(22*time.Hour, loc),
			Verdict: mine.Verdict.String(), Payload: payload}); err != nil {
			return err
		}
	}

	return m.flush(ctx)
}

// issuedInMorning is the issue of a day's brief that a member's morning mail was
// made from: what came later they need not have seen.
func issuedInMorning(issues []coldseam.Brief, d coldseam.Date, p coldseam.Preferences) *coldseam.Brief {
	at, err := notify.SendAt(d, p.SendAt, env.Zone(p.Zone))
	if err != nil {
		return nil
	}
	var told *coldseam.Brief
	for i := range issues {
		if issues[i].Issued.After(at.Add(briefPatience)) {
			break
		}
		told = &issues[i]
	}
	return told
}

// QueueOutlooks writes the weekend outlook to those who asked for it, on
// Thursday evening.
func (ml *Mailer) QueueOutlooks(ctx context.Context, now time.Time) error {
	due, err := ml.DB.DueOutlook(ctx, now)
	if err != nil || len(due) == 0 {
		return err
	}
	board, err := ml.Board(ctx)
	if err != nil {
		return err
	}
	m := ml.mailing(coldseam.MailOutlook, now)

	for _, s := range due {
		var mine []coldseam.Brief
		for _, b := range board {
			if Wants(s.Prefs, b.Reach) {
				mine = append(mine, ml.Personal(b, s.Prefs))
			}
		}

		if len(mine) == 0 {
			continue
		}
		payload, err := ml.Payload(ctx, notify.Content{Club: ml.Config.Club.Name, Briefs: mine}, s.LocalDate)
		if err != nil {
			ml.Log.Error("compose outlook", "subscriber", s.ID, "err", err)
			continue
		}

		if err := m.add(ctx, store.NewMessage{
			Subscriber: s.ID,
			LocalDate:  s.LocalDate,
			Deadline:   s.Deadline,
			Payload:    payload,
		}); err != nil {
			return err
		}
	}

	return m.flush(ctx)
}

// silentHour is the local hour before the morning at which the admin is told of
// silent gauges.
const silentHour = 4*time.Hour + 30*time.Minute

// Watch tells the admin what they must act on: silent gauges before the
// morning, and a morning that did not go out.
func (ml *Mailer) Watch(ctx context.Context, now time.Time) error {
	loc := env.Zone(ml.Config.Club.Zone)
	today := coldseam.DateOf(now.In(loc))
	clock := coldseam.ClockOf(now.In(loc))
	var errs []error
	if clock >= silentHour && clock < silentHour+6*time.Hour {
		errs = append(errs, ml.silentNotice(ctx, today, now))
	}
	if deadline, err := coldseam.ParseClock(ml.Config.Club.Deadline); err == nil && clock >= deadline {
		errs = append(errs, ml.deadlineAlarm(ctx, today, now))
	}
	errs = append(errs, ml.heldAlarm(ctx, today, now))
	return errors.Join(errs...)
}

// silentNotice queues one mail a day that names the gauges past their limit.
func (ml *Mailer) silentNotice(ctx context.Context, today coldseam.Date, now time.Time) error {
	if ml.Config.Club.AdminEmail == "" {
		return nil
	}
	reaches, err := ml.DB.Reaches(ctx)
	if err != nil {
		return err
	}
	var silent, lines []string

	for _, r := range reaches {
		vals, err := ml.DB.Latest(ctx, r.Site)
		if err != nil {
			return err
		}

		limit := time.Duration(ml.Table.GaugeAgeH * float64(time.Hour))
		var newest time.Time
		for _, v := range vals {
			if v.Param == coldseam.Discharge && v.Stat == coldseam.Instant && v.At.After(newest) {
				newest = v.At
			}
		}

		if newest.IsZero() {
			continue
		}

		// One live series is enough beside a retired one, and rows without a value
		// are silence.
		s, err := ml.DB.History(ctx, r.Site, coldseam.Discharge, coldseam.Instant, now.Add(-limit),
			now.Add(time.Minute), now.Add(time.Minute))
		if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
			return err
		}

		if slices.ContainsFunc(s.Obs, func(o coldseam.Observation) bool {
			return o.Flag.Usable() && !math.IsNaN(o.Value)
		}) {
			continue
		}
		silent = append(silent, r.River+", "+r.Name)
		lines = append(lines, fmt.Sprintf("%s, %s: gauge silent for more than %.0f h; newest row %s", r.River, r.Name,
			limit.Hours(), newest.In(env.Zone(r.Zone)).Format("Mon 2 Jan 15:04")))
	}

	if len(lines) == 0 {
		return nil
	}
	return ml.toAdmin(ctx, coldseam.MailSilent, "", today, now,
		notify.Content{Subject: "Gauge silent: " + strings.Join(silent, "; "), Lines: lines})
}

// toAdmin queues a mail to the admin, one of a kind, mark and day.
func (ml *Mailer) toAdmin(ctx context.Context, kind coldseam.MailKind, mark coldseam.ReachID, today coldseam.Date,
	now time.Time, c notify.Content) error {
	c.Club, c.Link, c.Zone = ml.Config.Club.Name, ml.Links.Status(), ml.Config.Club.Zone
	payload, err := c.Marshal()
	if err != nil {
		return err
	}
	_, _, err = ml.DB.QueueMailing(ctx, store.NewMailing{
		Kind:       kind,
		MadeAt:     now,
		MailDomain: ml.Compose.Domain,
		Messages: []store.NewMessage{{AdminEmail: ml.Config.Club.AdminEmail, LocalDate: today, Reach: mark,
			Payload: payload}},
	})
	return err
}

// enoughSent is the share of a morning's mails that must be out by the
// deadline.
const enoughSent = 0.95

// deadlineAlarm tells the admin, by the second path where one is configured,
// when too few of a morning's mails were sent.
func (ml *Mailer) deadlineAlarm(ctx context.Context, today coldseam.Date, now time.Time) error {
	sent, total, err := ml.Mornings(ctx, today)
	if err != nil || total == 0 || float64(sent) >= enoughSent*float64(total) {
		return err
	}
	return ml.alarm(ctx, "deadline", now, []string{
		fmt.Sprintf("%d of %d morning mails were sent by the deadline.", sent, total),
		"Run `coldseam check` on the server: it names the fault."})
}

// heldAlarm tells the admin that a batch of mails was stopped and waits, or
// that a server calls so many members dead that it is not believed.
func (ml *Mailer) heldAlarm(ctx context.Context, today coldseam.Date, now time.Time) error {
	on, e, err := ml.DB.Switch(ctx, store.MassRefusal)
	if err != nil {
		return err
	}

	if on && now.Sub(e.At) < env.Day {
		return ml.alarm(ctx, "held", now, []string{
			"Sending was stopped, and nobody was taken off the list: " + e.Why,
			"Members do not vanish together: look at the relay first. Addresses that are dead: `coldseam subscriber suppress`. Then `coldseam brief --release`."})
	}
	troubles, err := ml.DB.MailTroubles(ctx, today.Add(-1))
	if err != nil {
		return err
	}

	for _, t := range troubles {
		if t.State == "held" {
			return ml.alarm(ctx, "held", now, []string{
				fmt.Sprintf("Sending of %d %s mails was stopped: the fault is ours, not the readers'. %s", t.N, t.Kind,
					t.Reply),
				"They are kept. Run `coldseam check` on the server; after mending, `coldseam brief --release`."})
		}
	}

	return nil
}

// alarmEvery is after how many looks a failed alarm is tried again.
const alarmEvery = 5
