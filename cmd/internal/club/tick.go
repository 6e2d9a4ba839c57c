package club

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/riverqueue/river"
	"github.com/robfig/cron/v3"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/ingest"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// Once a minute every server of the club ticks; SQL and
// the stored times decide what is due, unique keys decide that it happens once,
// and River carries the work to whichever server is free. No business time
// stands in a cron line: clock changes skip and repeat those.

// activeBefore is how long before a send time the feeds are polled at their
// quick pace: a slot of it lies within the lead for certain.
const activeBefore = ingest.SafetyLead + 5*time.Minute

// startCron runs the tick every minute until stop is called, and once at once.
func (a *App) startCron(ctx context.Context) (stop func()) {
	c := cron.New(cron.WithLocation(time.UTC), cron.WithChain(cron.Recover(cronLog{a.env.Log}),
		cron.SkipIfStillRunning(cronLog{a.env.Log})))
	if _, err := c.AddFunc("* * * * *", func() { a.TickLogged(ctx) }); err != nil {
		panic(err) // a constant line
	}
	a.TickLogged(ctx)
	c.Start()
	return func() { <-c.Stop().Done() }
}

// tickTimeout is below a minute, so that ticks do not pile up.
const tickTimeout = 50 * time.Second

// lostSession is how long a session may wait for its client within a
// transaction: with the tick that ends it, its locks are gone within two minutes.
const lostSession = time.Minute

// TickLogged runs a tick and logs what failed in it.
func (a *App) TickLogged(ctx context.Context) {
	if ctx.Err() != nil {
		return
	}
	// A database that does not answer must not block the tick.
	ctx, cancel := context.WithTimeout(ctx, tickTimeout)
	defer cancel()
	if err := a.Tick(ctx, a.env.Now()); err != nil && !errors.Is(ctx.Err(), context.Canceled) {
		a.env.Log.Error("tick", "err", err)
	}
}

// Tick decides what is due at now. Every part runs, whatever another came to.
func (a *App) Tick(ctx context.Context, now time.Time) error {
	a.metrics.tick.Set(float64(now.Unix()))
	a.noteBackup()
	var errs []error
	do := func(what string, f func() error) {
		defer func() {
			if p := recover(); p != nil {
				errs = append(errs, fmt.Errorf("%s: panic: %v", what, p))
			}
		}()
		if err := f(); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w", what, err))
		}
	}
	active, err := a.Active(ctx, now)
	if err != nil {
		errs = append(errs, err)
	}

	// Today's mail is queued before other work: the parts share the tick's time.
	do("mornings", func() error {
		n, wait, err := a.mail.QueueMornings(ctx, now)
		err = errors.Join(err, a.morning.EnqueueBriefs(ctx, wait, now))
		if n > 0 {
			a.env.Log.Info("mornings queued", "n", n)
		}
		return err
	})

	do("sweep", func() error { _, err := a.env.DB.Sweep(ctx, now); return err })
	do("mail", func() error { _, err := a.env.DB.DueMail(ctx, now); return err })
	do("fetches", func() error { return a.DueFetches(ctx, now, len(active) > 0) })
	do("briefs", func() error { return a.dueBriefs(ctx, now, active) })
	do("outlooks", func() error { return a.mail.QueueOutlooks(ctx, now) })
	do("upkeep", func() error {
		return a.env.DB.Enqueue(ctx, store.MaintenanceArgs{Day: coldseam.DateOf(now.UTC())})
	})

	do("bounces", func() error { return a.mail.DrainBounces(ctx) })
	do("readers", func() error {
		_, err := a.env.DB.MindReaders(ctx, 30*time.Second)
		_, err2 := a.env.DB.EndLostSessions(ctx, lostSession)
		return errors.Join(err, err2)
	})
	do("watch", func() error { return a.mail.Watch(ctx, now) })
	return errors.Join(errs...)
}

// Active lists the reaches whose morning is near or under way: from 25 minutes
// before a subscriber's send time to the end of the day's last window.
func (a *App) Active(ctx context.Context, now time.Time) (map[coldseam.ReachID]coldseam.Date, error) {
	subs, err := a.env.DB.Subscribers(ctx, "confirmed")
	if err != nil {
		return nil, err
	}
	reaches, err := a.env.DB.Reaches(ctx)
	if err != nil {
		return nil, err
	}

	// Members are many; zones, and the reaches' evenings, are few.
	zones := map[string]*time.Location{}
	dusk := map[mailing.BriefKey]time.Time{}
	out := map[coldseam.ReachID]coldseam.Date{}

	for _, s := range subs {
		loc := zones[s.Prefs.Zone]
		if loc == nil {
			loc = env.Zone(s.Prefs.Zone)
			zones[s.Prefs.Zone] = loc
		}
		today := coldseam.DateOf(now.In(loc))

		for _, d := range []coldseam.Date{today, today.Add(1)} { // a send soon after midnight is near before it
			at, err := notify.SendAt(d, s.Prefs.SendAt, loc)
			if err != nil || now.Before(at.Add(-activeBefore)) {
				continue
			}

			for _, r := range reaches {
				if !mailing.Wants(s.Prefs, r.ID) {
					continue
				}
				k := mailing.BriefKey{Reach: r.ID, Day: d}
				if _, known := dusk[k]; !known {
					dusk[k] = a.mail.LastLight(r, d)
				}
				if now.Before(dusk[k]) {
					out[r.ID] = d
				}
			}
		}
	}

	return out, nil
}

// DueFetches enqueues every feed whose slot has come. The slot is the time
// rounded down to the feed's pace, so that two servers ask for the same one.
func (a *App) DueFetches(ctx context.Context, now time.Time, active bool) error {
	var jobs []river.JobArgs
	for _, f := range feeds.Plan(a.env.Config) {
		pace := f.Idle
		if active {
			pace = min(f.Active, f.Idle)
		}
		jobs = append(jobs, store.FetchArgs{Profile: f.Profile, Feed: f.Endpoint, Slot: now.Truncate(pace)})
	}
	return a.env.DB.Enqueue(ctx, jobs...)
}

// briefPace is how often a reach's brief is made anew: near and during its
// morning after every fetch, else every six hours.
const (
	briefActive = 15 * time.Minute
	briefIdle   = 6 * time.Hour
	// afterFetch lets the fetches of a slot end before the brief reads.
	afterFetch = 2 * time.Minute
)

// dueBriefs enqueues the briefs of today, and from the evening on those of
// tomorrow.
func (a *App) dueBriefs(ctx context.Context, now time.Time, active map[coldseam.ReachID]coldseam.Date) error {
	reaches, err := a.env.DB.Reaches(ctx)
	if err != nil {
		return err
	}

	var jobs []river.JobArgs
	for _, r := range reaches {
		d, pace := coldseam.DateOf(now.In(env.Zone(r.Zone))), briefIdle
		if _, ok := active[r.ID]; ok {
			pace = briefActive
		} else if now.After(a.mail.LastLight(r, d)) {
			d = d.Add(1)
		}
		if at, due := mailing.EveningDue(coldseam.DateOf(now.In(env.Zone(r.Zone))), env.Zone(r.Zone), now); due {
			jobs = append(jobs, store.BriefArgs{Reach: r.ID, Day: coldseam.DateOf(at).Add(1), Issued: at.UTC()})
		}
		slot := now.Add(-afterFetch).Truncate(pace).Add(afterFetch)
		jobs = append(jobs, store.BriefArgs{Reach: r.ID, Day: d, Issued: slot})
	}

	return a.env.DB.Enqueue(ctx, jobs...)
}

// cronLog writes cron's own messages to the program's log.
type cronLog struct{ log *slog.Logger }

func (c cronLog) Info(msg string, kv ...any) { c.log.Debug("cron", "msg", msg) }

func (c cronLog) Error(err error, msg string, kv ...any) { c.log.Error("cron", "msg", msg, "err", err) }
