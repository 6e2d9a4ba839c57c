package main

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"time"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest"
)

// feed is one thing that is fetched on a schedule: an endpoint of a profile for
// the sites that name the profile.
type feed struct {
	Profile  string
	Endpoint string // "" = the profile itself
	Sites    []string
	Back     time.Duration // how far back a usual fetch asks; 0 = the newest alone
	Ahead    time.Duration // how far ahead, for forecasts
	Idle     time.Duration // time between fetches far from any morning
	Active   time.Duration // near a morning: from 20 minutes before a send to the end of the window
	Safety   bool          // the decision needs it fresh
}

// key is the feed's name in jobs, metrics and `check`: never an address.
func (f feed) key() string {
	if f.Endpoint == "" {
		return f.Profile
	}
	return f.Profile + "/" + f.Endpoint
}

const (
	weatherAhead = 10 * env.Day
	alertsIdle   = 30 * time.Minute // warnings far from any morning, for the page
)

// plan lists what the configuration asks for: observations (newest values,
// nightly revisions, daily means, gaugings), weather and warnings.
func plan(c config.Config) []feed {
	codes := map[string][]string{}
	for _, s := range c.Sites {
		codes[s.Provider] = append(codes[s.Provider], s.Code)
	}
	var out []feed
	for _, p := range c.Profiles {
		p = p.WithDefaults()
		sites := codes[p.Name]
		sort.Strings(sites)
		switch {
		case p.Format == ingest.FormatCAP:
			out = append(out, feed{Profile: p.Name, Safety: true}.paced(p))
		case len(sites) == 0:
		case p.Kind == "forecast" || p.Format == ingest.FormatCovJSON || p.Format == ingest.FormatGridpoint:
			out = append(out, feed{Profile: p.Name, Sites: sites, Ahead: weatherAhead, Safety: true}.paced(p))
		default:
			out = append(out, observed(p, sites)...)
		}
	}
	return out
}

// paced sets how often a safety input is fetched: within the hourly budget of
// its service. One that a service allows less often is told with its age.
func (f feed) paced(p ingest.Profile) feed {
	n := p.Requests(f.request(time.Unix(0, 0)), time.Unix(0, 0))
	f.Idle, f.Active = p.PollEvery(false, n), p.PollEvery(true, n)
	if p.Format == ingest.FormatCAP {
		f.Idle = max(min(f.Idle, alertsIdle), f.Active)
	}
	return f
}

// observed are the feeds of an observation service, by the endpoints it has.
func observed(p ingest.Profile, sites []string) []feed {
	has := func(name string) bool { _, ok := p.Endpoints[name]; return ok }
	main := feed{Profile: p.Name, Sites: sites, Back: 3 * env.Day, Safety: true}
	if has("latest") {
		main.Endpoint, main.Back = "latest", 0
	}
	out := []feed{main.paced(p)}
	if has("metadata") { // which of a gauge's series is the primary one
		out = append([]feed{{Profile: p.Name, Endpoint: "metadata", Sites: sites, Idle: 7 * env.Day, Active: 7 * env.Day}}, out...)
	}
	if has("revisions") {
		out = append(out, feed{Profile: p.Name, Endpoint: "revisions", Sites: sites, Idle: env.Day, Active: env.Day})
	}
	if has("daily") {
		out = append(out, feed{Profile: p.Name, Endpoint: "daily", Sites: sites, Back: 30 * env.Day, Idle: 12 * time.Hour, Active: 12 * time.Hour})
	}
	for _, name := range []string{"gaugings", "channels"} { // stage and discharge of a visit; its section
		if has(name) {
			out = append(out, feed{Profile: p.Name, Endpoint: name, Sites: sites, Idle: 7 * env.Day, Active: 7 * env.Day})
		}
	}
	return out
}

// request is the usual request of a feed at now.
func (f feed) request(now time.Time) ingest.Request {
	// A safety input is asked for in every slot: the slots are the patience, and
	// the server's own word to wait still holds.
	r := ingest.Request{Endpoint: f.Endpoint, Sites: f.Sites, Force: f.Safety}
	if f.Back > 0 {
		r.Since, r.Until = now.Add(-f.Back), now
	}
	if f.Ahead > 0 {
		r.Since, r.Until = now.Add(-6*time.Hour).Truncate(time.Hour), now.Add(f.Ahead)
	}
	return r
}

// fetchOne brings one feed home.
func (fd *Feeds) fetchOne(ctx context.Context, f feed, req ingest.Request) (ingest.Result, error) {
	p, err := fd.fetcher.Profile(f.Profile)
	if err != nil {
		return ingest.Result{}, err
	}
	res, err := fd.fetcher.Fetch(ctx, p, req)
	if fd.observe != nil {
		fd.observe(f.key(), res, err)
	}
	if err != nil {
		return res, err
	}
	fd.Log.Info("fetched", "feed", f.key(), "n", res.Rows, "added", res.Added, "revised", res.Revised, "state", res.State, "dur", res.Dur.Round(time.Millisecond))
	return res, nil
}

// fetchTally sums up several fetches for the terminal.
type fetchTally struct {
	Feeds, Failed, Rows, Added, Revised, Unchanged int
}

func (t *fetchTally) add(r ingest.Result) {
	t.Feeds++
	t.Rows += r.Rows
	t.Added += r.Added
	t.Revised += r.Revised
	if r.NotModified {
		t.Unchanged++
	}
}

// fetchAll fetches every feed once; one failing feed never stops the others.
func (fd *Feeds) fetchAll(ctx context.Context) (fetchTally, error) {
	var t fetchTally
	var errs []error
	for _, f := range plan(fd.Config) {
		res, err := fd.fetchOne(ctx, f, f.request(fd.Now()))
		t.add(res)
		if err != nil {
			t.Failed++
			errs = append(errs, err)
		}
	}
	return t, errors.Join(errs...)
}

// backfill brings the past of the observation feeds: daily means from `from`,
// short-interval values of the last hours days. Progress goes to report.
func (fd *Feeds) backfill(ctx context.Context, from time.Time, hours time.Duration, report func(feed string, p ingest.Progress)) (fetchTally, error) {
	var t fetchTally
	var errs []error
	now := fd.Now()
	for _, f := range plan(fd.Config) {
		p, err := fd.fetcher.Profile(f.Profile)
		if err != nil {
			return t, err
		}
		_, history := p.Endpoints["history"]
		req := f.request(now)
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
		res, err := fd.fetchOne(ctx, f, req)
		t.add(res)
		if err != nil {
			t.Failed++
			errs = append(errs, fmt.Errorf("back-fill: %w", err))
		}
	}
	return t, errors.Join(errs...)
}
