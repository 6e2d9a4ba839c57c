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

// openLogs are the mornings of the last days that the subscriber was written
// to about and has not logged yet.
func (d *desk) openLogs(ctx context.Context, s store.DueSubscriber) ([]notify.OpenLog, error) {
	var out []notify.OpenLog
	for n := 1; n <= logBack; n++ {
		date := s.LocalDate.Add(-n)
		told, err := d.toldOn(ctx, date)
		if err != nil {
			return nil, err
		}
		raw, ok := told[s.ID]
		if !ok {
			continue
		}
		c, err := notify.ParseContent(raw)
		if err != nil {
			return nil, err
		}
		for _, b := range c.Briefs {
			if b.Verdict != coldseam.Go && b.Verdict != coldseam.TossUp {
				continue
			}
			if _, err := (pages{d.app}).Trip(ctx, s.ID, b.Reach, date); errors.Is(err, coldseam.ErrNotFound) {
				out = append(out, notify.OpenLog{Reach: b.Reach, River: b.River, Day: date})
			} else if err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

func (d *desk) toldOn(ctx context.Context, date coldseam.Date) (map[int64][]byte, error) {
	if m, ok := d.told[date]; ok {
		return m, nil
	}
	list, err := d.app.db.Told(ctx, date)
	if err != nil {
		return nil, err
	}
	m := map[int64][]byte{}
	for _, t := range list {
		m[t.Subscriber] = t.Payload
	}
	d.told[date] = m
	return m, nil
}
