package club

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/riverqueue/river"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// Workers registers what River may ask of this server.
func (a *App) Workers() *river.Workers {
	w := river.NewWorkers()
	river.AddWorker(w, river.WorkFunc(func(ctx context.Context, j *river.Job[store.FetchArgs]) error {
		return a.FetchJob(ctx, j.Args)
	}))
	river.AddWorker(w, &briefWorker{app: a})
	river.AddWorker(w, river.WorkFunc(func(ctx context.Context, j *river.Job[store.MaintenanceArgs]) error {
		return a.MaintenanceJob(ctx, j.Args)
	}))
	river.AddWorker(w, &refitWorker{app: a})
	river.AddWorker(w, &seasonsWorker{app: a})
	river.AddWorker(w, &mailWorker{app: a})
	return w
}

// FetchJob fetches one feed. A feed that fails is logged and shown by its
// age; the next slot asks again, so the job itself is never retried late.
func (a *App) FetchJob(ctx context.Context, args store.FetchArgs) error {
	for _, f := range feeds.Plan(a.env.Config) {
		if f.Profile == args.Profile && f.Endpoint == args.Feed {
			return a.fetchFeed(ctx, f, args.Slot)
		}
	}
	return river.JobCancel(fmt.Errorf("feed %s/%s is not configured: %w", args.Profile, args.Feed,
		coldseam.ErrNotFound))
}

// fetchFeed fetches one slot of a feed once. The queue forgets a finished job
// after a day, so feeds of a slower pace are looked up by a mark of our own.
func (a *App) fetchFeed(ctx context.Context, f feeds.Feed, slot time.Time) error {
	slow := f.Idle > 20*time.Hour
	mark := "fetched " + f.Key()
	if slow {
		_, last, err := a.env.DB.Switch(ctx, mark)
		if err != nil {
			return err
		}
		if !last.At.Before(slot) {
			return nil
		}
	}

	res, err := a.feeds.FetchOne(ctx, f, f.Request(a.env.Now()))
	switch {
	case err != nil && ctx.Err() == nil:
		a.env.Log.Warn("fetch", "feed", f.Key(), "err", err)
	case err == nil && slow:
		return a.env.DB.SetSwitch(ctx, mark, true, store.Edit{Who: "coldseam", Why: "slot done", At: a.env.Now()})
	case err == nil && a.feeds.IsAlerts(f) && !res.NotModified && res.Rows > 0:
		return a.briefNow(ctx, a.env.Now())
	}

	return ctx.Err()
}

// briefNow asks for the briefs of the reaches whose morning is under way.
func (a *App) briefNow(ctx context.Context, now time.Time) error {
	active, err := a.Active(ctx, now)
	for id, d := range active {
		err = errors.Join(err, a.env.DB.Enqueue(ctx, store.BriefArgs{Reach: id, Day: d, Issued: now}))
	}
	return err
}

// briefWorker makes briefs. The first of a river fits its models, which may
// take longer than other work.
type briefWorker struct {
	river.WorkerDefaults[store.BriefArgs]
	app *App
}

func (w *briefWorker) Timeout(*river.Job[store.BriefArgs]) time.Duration { return 85 * time.Second }

func (w *briefWorker) Work(ctx context.Context, j *river.Job[store.BriefArgs]) error {
	err := w.app.BriefJob(ctx, j.Args)
	if errors.Is(err, morning.ErrBusy) {
		return river.JobSnooze(busyWait)
	}
	return err
}

// busyWait is the pause of a job whose reach is at work already.
const busyWait = 5 * time.Second

// BriefJob makes a brief and mails what it overturns. One that was made since
// it was asked for is not made again: a job may be run twice, and several may
// wait for a busy server.
func (a *App) BriefJob(ctx context.Context, args store.BriefArgs) error {
	r, err := a.env.DB.Reach(ctx, args.Reach)
	if errors.Is(err, coldseam.ErrNotFound) {
		return river.JobCancel(err)
	}
	if err != nil {
		return err
	}

	last, err := a.env.DB.Brief(ctx, r.ID, args.Day)
	if err == nil && !last.Issued.Before(args.Issued) {
		return nil
	}
	if ctx.Err() != nil || errors.Is(err, coldseam.ErrUnavailable) {
		return err
	}

	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		a.env.Log.Error("brief not readable", "reach", string(r.ID), "err", err) // a new one takes its place
	}
	start := time.Now()
	b, err := a.morning.MakeBrief(ctx, r, args.Day)
	if err == nil {
		a.metrics.briefed(b, time.Since(start))
	}

	return err
}

// refitWorker fits a site's models anew; it may take longer than other work.
type refitWorker struct {
	river.WorkerDefaults[store.RefitArgs]
	app *App
}

func (w *refitWorker) Timeout(*river.Job[store.RefitArgs]) time.Duration { return 10 * time.Minute }

func (w *refitWorker) Work(ctx context.Context, j *river.Job[store.RefitArgs]) error {
	return w.app.morning.Refit(ctx, j.Args.Site)
}

// seasonsWorker replays the last seasons of a reach: two hundred mornings. A
// server that stops does not wait for them: they are left to the next one.
type seasonsWorker struct {
	river.WorkerDefaults[store.SeasonsArgs]
	app *App
}

func (w *seasonsWorker) Timeout(*river.Job[store.SeasonsArgs]) time.Duration { return 10 * time.Minute }

func (w *seasonsWorker) Work(ctx context.Context, j *river.Job[store.SeasonsArgs]) error {
	r, err := w.app.env.DB.Reach(ctx, j.Args.Reach)
	if errors.Is(err, coldseam.ErrNotFound) {
		return river.JobCancel(err)
	}
	if err != nil {
		return err
	}

	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go func() {
		select {
		case <-w.app.closing:
			cancel()
		case <-ctx.Done():
		}
	}()
	today := coldseam.DateOf(w.app.env.Now().In(env.Zone(r.Zone)))
	_, err = w.app.morning.RenewSeasons(ctx, r, morning.LastSeasons(today), io.Discard)

	select {
	case <-w.app.closing:
		if err != nil {
			return river.JobSnooze(time.Minute)
		}
	default:
	}
	return err
}

// mailWorker sends up to a chunk of outbox rows. Its own timeout lies above the
// submission timeout, so that a slow reply is never cut off and sent again.
type mailWorker struct {
	river.WorkerDefaults[store.MailArgs]
	app *App
}

func (w *mailWorker) Timeout(*river.Job[store.MailArgs]) time.Duration {
	return 2*w.app.mail.Relay.SubmissionTimeout() + time.Minute
}

func (w *mailWorker) Work(ctx context.Context, j *river.Job[store.MailArgs]) error {
	t, err := w.app.mail.Sender(mailing.WorkerName(int(j.ID))).Run(ctx, j.Args.N)
	w.app.metrics.mailed(t)
	if t.Sent+t.Deferred+t.Failed+t.Unknown > 0 {
		w.app.env.Log.Info("mail", "sent", t.Sent, "deferred", t.Deferred, "failed", t.Failed, "unknown", t.Unknown)
	}
	switch {
	case errors.Is(err, notify.ErrBreaker):
		w.app.env.Log.Error("sending stopped", "err", err)
		return nil // the rows stay pending; the admin releases them
	case errors.Is(err, coldseam.ErrUnavailable):
		w.app.env.Log.Warn("relay", "err", err)
		return nil // the tick asks again in a minute
	}
	return err
}
