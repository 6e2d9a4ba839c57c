// Package feeds says what is fetched and when, fetches it, brings the past of
// a record and reads kept documents again. It gives quality control what the
// club knows of a gauge.
package feeds

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest"
	"example.org/coldseam/ingest/capalert"
	"example.org/coldseam/ingest/detect"
	"example.org/coldseam/store"
)

// Feeds fetches what the configuration names and stores it.
type Feeds struct {
	Config *config.Config
	DB     *store.DB
	Log    *slog.Logger
	Now    func() time.Time

	Fetcher *ingest.Fetcher
	Observe func(feed string, r ingest.Result, err error) // told of every fetch; may be nil

	mu sync.Mutex
	qc map[coldseam.SiteID]qcKnown
}

// New makes the fetcher with what it asks of the store.
func New(e *env.Env) *Feeds {
	fd := &Feeds{Config: &e.Config, DB: e.DB, Log: e.Log, Now: e.Now, qc: map[coldseam.SiteID]qcKnown{}}
	fd.Fetcher = &ingest.Fetcher{
		Profiles:  e.Config.Placed(),
		Now:       e.Now,
		Log:       e.Log,
		Parse:     detect.Parse,
		Sink:      e.DB,
		Agent:     "coldseam/" + env.Version + " (" + e.Config.Club.Contact + ")",
		Recent:    e.DB.Neighbours,
		Limits:    fd.siteLimits,
		Air:       fd.airNear,
		Ratings:   fd.RatingsOf,
		Budget:    e.DB,
		Elsewhere: fd.elsewhere,
		Ours:      e.Config.HasSite,
	}
	return fd
}

// elsewhere reports whether a warning holds outside every reach of its feed.
func (fd *Feeds) elsewhere(al coldseam.Alert) bool {
	for _, c := range fd.Config.Reaches {
		if c.Alerts != al.Feed {
			continue
		}
		r, err := c.Build(*fd.Config)
		if err != nil {
			return false
		}
		if _, position := capalert.Place(al, r); position != capalert.Elsewhere {
			return false
		}
	}
	return true
}

// FetchOne fetches one feed.
func (fd *Feeds) FetchOne(ctx context.Context, f Feed, req ingest.Request) (ingest.Result, error) {
	p, err := fd.Fetcher.Profile(f.Profile)
	if err != nil {
		return ingest.Result{}, err
	}
	res, err := fd.Fetcher.Fetch(ctx, p, req)
	if fd.Observe != nil {
		fd.Observe(f.Key(), res, err)
	}
	if err != nil {
		return res, err
	}
	fd.Log.Info("fetched", "feed", f.Key(), "n", res.Rows, "added", res.Added, "revised", res.Revised, "state",
		res.State, "dur", res.Dur.Round(time.Millisecond))
	return res, nil
}

// Tally sums up several fetches for the terminal.
type Tally struct {
	Feeds, Failed, Rows, Added, Revised, Unchanged int
}

func (t *Tally) Add(r ingest.Result) {
	t.Feeds++
	t.Rows += r.Rows
	t.Added += r.Added
	t.Revised += r.Revised
	if r.NotModified {
		t.Unchanged++
	}
}

// FetchAll fetches every feed once; one failing feed never stops the others.
func (fd *Feeds) FetchAll(ctx context.Context) (Tally, error) {
	var t Tally
	var errs []error
	for _, f := range Plan(*fd.Config) {
		res, err := fd.FetchOne(ctx, f, f.Request(fd.Now()))
		t.Add(res)
		if err != nil {
			t.Failed++
			errs = append(errs, err)
		}
	}
	return t, errors.Join(errs...)
}

// Backfill brings the past of the observation feeds: daily means from `from`,
// short-interval values of the last hours days. Progress goes to report.
func (fd *Feeds) Backfill(ctx context.Context, from time.Time, hours time.Duration,
	report func(feed string, p ingest.Progress)) (Tally, error) {
	var t Tally
	var errs []error
	now := fd.Now()

	for _, f := range Plan(*fd.Config) {
		p, err := fd.Fetcher.Profile(f.Profile)
		if err != nil {
			return t, err
		}

		_, history := p.Endpoints["history"]
		req := f.Request(now)
		switch {
		case f.Endpoint == "daily":
			req.Since = from
		case f.Endpoint == "latest" && history:
			req = ingest.Request{Endpoint: "history", Sites: f.Sites, Since: now.Add(-hours), Until: now}
		case f.Endpoint == "" && f.Back > 0:
			req.Since = now.Add(-hours)
		case f.Endpoint == "revisions":
			continue
		}

		req.Progress = func(pr ingest.Progress) {
			if report != nil {
				report(f.Profile+"/"+req.Endpoint, pr)
			}
		}
		res, err := fd.FetchOne(ctx, f, req)
		t.Add(res)
		if err != nil {
			t.Failed++
			errs = append(errs, fmt.Errorf("back-fill: %w", err))
		}
	}

	return t, errors.Join(errs...)
}

// IsAlerts: warnings change the decision at once, readings every quarter hour.
func (fd *Feeds) IsAlerts(f Feed) bool {
	p, err := fd.Fetcher.Profile(f.Profile)
	return err == nil && p.Format == ingest.FormatCAP
}

// LearnPrimaries asks each agency once, at start, which of a gauge's series is
// the primary one: the choice lives in the fetcher's memory.
func (fd *Feeds) LearnPrimaries(ctx context.Context) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for _, f := range Plan(*fd.Config) {
			if f.Endpoint != "metadata" {
				continue
			}
			if _, err := fd.FetchOne(ctx, f, f.Request(fd.Now())); err != nil && ctx.Err() == nil {
				fd.Log.Warn("fetch", "feed", f.Key(), "err", err)
			}
		}
	}()
	return func() { cancel(); <-done }
}
