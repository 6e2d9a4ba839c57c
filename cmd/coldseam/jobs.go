package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/riverqueue/river"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/store"
)

// workers registers what River may ask of this server.
func (a *app) workers() *river.Workers {
	w := river.NewWorkers()
	river.AddWorker(w, river.WorkFunc(func(ctx context.Context, j *river.Job[store.FetchArgs]) error { return a.fetchJob(ctx, j.Args) }))
	river.AddWorker(w, river.WorkFunc(func(ctx context.Context, j *river.Job[store.BriefArgs]) error { return a.briefJob(ctx, j.Args) }))
	river.AddWorker(w, river.WorkFunc(func(ctx context.Context, j *river.Job[store.ForecastArgs]) error { return nil }))
	river.AddWorker(w, river.WorkFunc(func(ctx context.Context, j *river.Job[store.UpkeepArgs]) error { return a.upkeepJob(ctx, j.Args) }))
	river.AddWorker(w, &refitWorker{app: a})
	river.AddWorker(w, &mailWorker{app: a})
	return w
}

// fetchJob brings one feed home. A feed that fails is logged and shown by its
// age; the next slot asks again, so the job itself is never retried late.
func (a *app) fetchJob(ctx context.Context, args store.FetchArgs) error {
	for _, f := range a.cfg.feeds() {
		if f.Profile == args.Profile && f.Endpoint == args.Feed {
			if _, err := a.fetchOne(ctx, f, f.request(a.now())); err != nil && ctx.Err() == nil {
				a.log.Warn("fetch", "feed", f.key(), "err", err)
			}
			return ctx.Err()
		}
	}
	return river.JobCancel(fmt.Errorf("feed %s/%s is not configured: %w", args.Profile, args.Feed, coldseam.ErrNotFound))
}

// briefJob makes a brief and mails what it overturns.
func (a *app) briefJob(ctx context.Context, args store.BriefArgs) error {
	r, err := a.db.Reach(ctx, args.Reach)
	if errors.Is(err, coldseam.ErrNotFound) {
		return river.JobCancel(err)
	}
	if err != nil {
		return err
	}
	_, err = a.makeBrief(ctx, r, args.Day)
	return err
}

// refitWorker fits a site's models anew; it may take longer than other work.
type refitWorker struct {
	river.WorkerDefaults[store.RefitArgs]
	app *app
}

func (w *refitWorker) Timeout(*river.Job[store.RefitArgs]) time.Duration { return 10 * time.Minute }

func (w *refitWorker) Work(ctx context.Context, j *river.Job[store.RefitArgs]) error {
	return w.app.refit(ctx, j.Args.Site)
}

// mailWorker sends up to a chunk of outbox rows. Its own timeout lies above the
// submission timeout, so that a slow reply is never cut off and sent again.
type mailWorker struct {
	river.WorkerDefaults[store.MailArgs]
	app *app
}

func (w *mailWorker) Timeout(*river.Job[store.MailArgs]) time.Duration {
	return 2*w.app.relay.SubmissionTimeout() + time.Minute
}

func (w *mailWorker) Work(ctx context.Context, j *river.Job[store.MailArgs]) error {
	t, err := w.app.sender(workerName(int(j.ID))).Run(ctx, j.Args.N)
	w.app.metrics.mailed(t)
	if t.Sent+t.Deferred+t.Failed+t.Unknown > 0 {
		w.app.log.Info("mail", "sent", t.Sent, "deferred", t.Deferred, "failed", t.Failed, "unknown", t.Unknown)
	}
	switch {
	case errors.Is(err, notify.ErrBreaker):
		w.app.log.Error("sending stopped", "err", err)
		return nil // the rows stay pending; the admin releases them
	case errors.Is(err, coldseam.ErrUnavailable):
		w.app.log.Warn("relay", "err", err)
		return nil // the tick asks again in a minute
	}
	return err
}
