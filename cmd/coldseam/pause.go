package main

import (
	"context"
	"errors"
	"fmt"
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// The club's season window: mail pauses when the fishing window was warmer than
// this for so many days [proposal]. Pages and storage go on.
const (
	pauseAboveF = 55.0
	pauseDays   = 5
)

// paused reports whether a subscriber's rivers are all out of season. The first
// such morning sends one note; mail comes back by itself when one of them is
// cold again.
func (d *desk) paused(ctx context.Context, s store.DueSubscriber, reaches []coldseam.ReachID) (bool, error) {
	for _, id := range reaches {
		warm, err := d.outOfSeason(ctx, briefKey{id, s.LocalDate})
		if err != nil {
			return false, err
		}
		if !warm {
			return false, d.app.clearPause(ctx, s.ID)
		}
	}
	name := pauseName(s.ID)
	if on, _, err := d.app.db.Switch(ctx, name); err != nil || on {
		return true, err
	}
	if err := d.app.queueOne(ctx, coldseam.MailPause, s.ID, d.now, day, notify.Content{Club: d.app.cfg.Club.Name}); err != nil {
		return true, err
	}
	return true, d.app.db.SetSwitch(ctx, name, true, store.Edit{Who: "coldseam", Why: "season window"})
}

func pauseName(sub int64) string { return fmt.Sprintf("paused %d", sub) }

func (a *app) clearPause(ctx context.Context, sub int64) error {
	on, _, err := a.db.Switch(ctx, pauseName(sub))
	if err != nil || !on {
		return err
	}
	return a.db.SetSwitch(ctx, pauseName(sub), false, store.Edit{Who: "coldseam", Why: "cold again"})
}

// outOfSeason looks at the briefs of the last days. A day without a brief or a
// water temperature keeps the season open.
func (d *desk) outOfSeason(ctx context.Context, k briefKey) (bool, error) {
	if w, seen := d.warm[k]; seen {
		return w, nil
	}
	var water []float64
	for n := pauseDays - 1; n >= 0; n-- {
		b, err := d.app.db.Brief(ctx, k.Reach, k.Day.Add(-n))
		switch {
		case errors.Is(err, coldseam.ErrNotFound):
			water = append(water, math.NaN())
		case err != nil:
			return false, err
		case !b.Temp.WindowOK:
			water = append(water, math.NaN())
		default:
			water = append(water, b.Temp.Window[1])
		}
	}
	d.warm[k] = verdict.SeasonPaused(water, pauseAboveF, pauseDays, false)
	return d.warm[k], nil
}

// logBack is how many days a trip can still be logged from a later mail.
const logBack = 3

// openLogs reads the mornings of the last days to which a subscriber was told
// to go and which are not logged yet.
func (d *desk) openLogs(ctx context.Context, due []store.DueSubscriber) error {
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
	list, err := d.app.db.OpenMornings(ctx, first.Add(-logBack), last.Add(-1))
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
