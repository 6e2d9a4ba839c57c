package mailing

import (
	"context"
	"fmt"
	"slices"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// The club's season window: mail pauses when the fishing window was warmer than
// this for so many days [proposal]. Pages and storage go on.
const (
	pauseAboveF = 55.0
	pauseDays   = 5
)

// pause reports whether a subscriber's rivers are all out of season: warm in the
// briefs of the last days, of which none is missing or without a temperature. The
// first such morning sends one note; mail comes back by itself when one of them
// is cold again.
func (d *morningMailer) pause(ctx context.Context, s store.DueSubscriber, reaches []coldseam.ReachID) (bool, error) {
	name := pauseName(s.ID)
	for _, id := range reaches {
		if d.warm[BriefKey{id, s.LocalDate}] {
			continue
		}
		if !d.paused[name] {
			return false, nil
		}
		return false, d.mail.DB.SetSwitch(ctx, name, false, store.Edit{Who: "coldseam", Why: "cold again"})
	}
	if d.paused[name] {
		return true, nil
	}
	if err := d.mail.QueueOne(ctx, coldseam.MailPause, s.ID, d.now, env.Day,
		notify.Content{Club: d.mail.Config.Club.Name}); err != nil {
		return true, err
	}
	return true, d.mail.DB.SetSwitch(ctx, name, true, store.Edit{Who: "coldseam", Why: "season window"})
}

// expects reports whether a subscriber is owed a morning mail: one of their
// reaches is fished and not out of season.
func (d *morningMailer) expects(s store.DueSubscriber) bool {
	for _, id := range d.reachesOf(s.Prefs) {
		fished := slices.ContainsFunc(d.all, func(r coldseam.Reach) bool { return r.ID == id })
		if fished && !d.warm[BriefKey{id, s.LocalDate}] {
			return true
		}
	}
	return false
}

const pausePrefix = "paused "

func pauseName(sub int64) string { return fmt.Sprintf("%s%d", pausePrefix, sub) }

// logBack is how many days a trip can still be logged from a later mail.
const logBack = 3

// openLogs reads the mornings of the last days to which a subscriber was told
// to go and which are not logged yet.
func (d *morningMailer) openLogs(ctx context.Context, due []store.DueSubscriber) error {
	first, last := due[0].LocalDate, due[0].LocalDate
	days := map[int64]coldseam.Date{}
	for _, s := range due {
		days[s.ID] = s.LocalDate
		if s.LocalDate.Before(first) {
			first = s.LocalDate
		}
		if last.Before(s.LocalDate) {
			last = s.LocalDate
		}
	}

	rivers := map[coldseam.ReachID]string{}
	for _, r := range d.all {
		rivers[r.ID] = r.River
	}
	list, err := d.mail.DB.OpenMornings(ctx, first.Add(-logBack), last.Add(-1))
	if err != nil {
		return err
	}

	for _, m := range list {
		river, fished := rivers[m.Reach]
		day, isDue := days[m.Subscriber]
		if !fished || !isDue || !m.Day.Before(day) || m.Day.Before(day.Add(-logBack)) {
			continue
		}
		d.open[m.Subscriber] = append(d.open[m.Subscriber], notify.OpenLog{Reach: m.Reach, River: river, Day: m.Day})
	}

	return nil
}
