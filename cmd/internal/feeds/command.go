package feeds

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest"
	"example.org/coldseam/store"
)

// Command brings feeds home by hand.
type Command struct {
	Feed   string `help:"One feed, as profile or profile/endpoint; default all." placeholder:"NAME"`
	From   string `help:"Back-fill from this day, YYYY-MM-DD; stopped, it goes on where it was." placeholder:"DATE"`
	Hours  int    `help:"How many days of short-interval values a back-fill brings." default:"60" name:"instant-days"`
	Again  bool   `help:"Back-fill from the start, whatever was brought before."`
	Replay bool   `help:"Ask nobody: read the kept documents again, as after a mended parser."`
}

// Run fetches, back-fills or replays. One failing feed never stops the others;
// the exit status is 1 then.
func (c *Command) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	e, err := env.OpenFor(ctx, s, g, env.Options{Migrate: true})
	if err != nil {
		return err
	}
	defer e.Close()
	a := New(e)
	defer a.Fetcher.Close()

	if err := e.SyncRivers(ctx); err != nil {
		return err
	}
	a.SayWaits(s.Out)
	return c.bring(ctx, s.Out, a)
}

func (c *Command) bring(ctx context.Context, w io.Writer, a *Feeds) error {
	switch {
	case c.Replay:
		return c.replayKept(ctx, w, a)
	case c.From != "":
		return c.backfill(ctx, w, a)
	}
	// A back-fill spends no hour's budget at once: the polls of the service would
	// wait until it is spread.
	a.Fetcher.SpendAtOnce = true
	return c.fetchNow(ctx, w, a)
}

// SayWaits tells whoever looks on why nothing happens for a while: a service is
// asked no oftener than its profile allows, and years of a record are many
// requests.
func (fd *Feeds) SayWaits(w io.Writer) {
	fd.Fetcher.Waiting = func(profile string, d time.Duration) {
		fmt.Fprintf(w, "  waits %s, so as not to ask %s oftener than its rate_per_hour; Ctrl-C keeps what came\n",
			d.Round(time.Second), profile)
	}
}

func (c *Command) feeds(a *Feeds) ([]Feed, error) {
	var out []Feed
	for _, f := range Plan(*a.Config) {
		if c.Feed == "" || f.Key() == c.Feed || f.Profile == c.Feed {
			out = append(out, f)
		}
	}
	if len(Plan(*a.Config)) == 0 {
		return nil, env.Fail(2, "no feed is used yet: add a river with `coldseam site add`")
	}
	if len(out) == 0 {
		var have []string
		for _, f := range Plan(*a.Config) {
			have = append(have, f.Key())
		}
		return nil, env.Fail(2, fmt.Sprintf("no feed named %q; there are: %s", c.Feed, strings.Join(have, ", ")))
	}
	return out, nil
}

// fetchNow fetches the feeds named, or all.
func (c *Command) fetchNow(ctx context.Context, w io.Writer, a *Feeds) error {
	feeds, err := c.feeds(a)
	if err != nil {
		return err
	}
	failed := 0
	for _, f := range feeds {
		req := f.Request(a.Now())
		req.Force = true // the admin asks
		res, err := a.FetchOne(ctx, f, req)
		if err != nil {
			failed++
			fmt.Fprintln(w, env.OneLine(fmt.Sprintf("%-28s %v", f.Key(), err)))
			continue
		}
		fmt.Fprintf(w, "%-28s %s\n", f.Key(), ResultWords(res))
	}
	return failures(failed, len(feeds))
}

func failures(failed, of int) error {
	if failed > 0 {
		return env.Fail(1, fmt.Sprintf("%d of %d feeds failed; what others brought is stored", failed, of))
	}
	return nil
}

// ResultWords says what a fetch brought.
func ResultWords(r ingest.Result) string {
	if r.NotModified {
		return "unchanged"
	}
	out := fmt.Sprintf("%s, %d rows, %d new, %d revised", r.State, r.Rows, r.Added, r.Revised)
	if r.Refused > 0 {
		out += fmt.Sprintf(", %d refused", r.Refused)
	}
	for _, k := range r.Skipped {
		out += fmt.Sprintf("; skipped %s: %s", k.What, k.Why)
	}
	for _, n := range r.Notes {
		out += "; " + n
	}
	return out
}

// backfill walks the past feed by feed. Where it stopped is kept in the
// database, so that a second machine or a second try goes on there.
func (c *Command) backfill(ctx context.Context, w io.Writer, a *Feeds) error {
	from, err := coldseam.ParseDate(c.From)
	if err != nil {
		return env.Fail(2, fmt.Sprintf("--from %q: want YYYY-MM-DD", c.From))
	}
	feeds, err := c.feeds(a)
	if err != nil {
		return err
	}

	failed, asked := 0, 0
	for _, f := range feeds {
		req, ok := a.pastRequest(f, from.UTC(), time.Duration(c.Hours)*env.Day)
		if !ok {
			continue
		}
		asked++
		if err := c.past(ctx, w, a, f, req); err != nil {
			failed++
			fmt.Fprintln(w, env.OneLine(fmt.Sprintf("%-28s %v", f.Key(), err)))
		}

		if ctx.Err() != nil {
			return env.Fail(1, "stopped; the same command goes on from here")
		}
	}

	return failures(failed, asked)
}

// pastRequest is the request that back-fills a feed; ok is false for feeds
// without a past, such as warnings and forecasts.
func (fd *Feeds) pastRequest(f Feed, from time.Time, hours time.Duration) (ingest.Request, bool) {
	now := fd.Now()
	p, err := fd.Fetcher.Profile(f.Profile)
	if err != nil {
		return ingest.Request{}, false
	}
	_, history := p.Endpoints["history"]
	switch {
	case f.Endpoint == "daily":
		return ingest.Request{Endpoint: "daily", Sites: f.Sites, Since: from, Until: now}, true
	case f.Endpoint == "latest" && history:
		return ingest.Request{
			Endpoint: "history",
			Sites:    f.Sites,
			Since:    Later(from, now.Add(-hours)),
			Until:    now,
		}, true
	case f.Endpoint == "" && f.Back > 0:
		return ingest.Request{Sites: f.Sites, Since: Later(from, now.Add(-hours)), Until: now}, true
	case f.Endpoint == "channels", f.Endpoint == "gaugings":
		return ingest.Request{Endpoint: f.Endpoint, Sites: f.Sites}, true
	}
	return ingest.Request{}, false
}

// Later is the later of two times.
func Later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func (c *Command) past(ctx context.Context, w io.Writer, a *Feeds, f Feed, req ingest.Request) error {
	name := f.Profile
	if req.Endpoint != "" {
		name += "/" + req.Endpoint
	}
	mark := "backfill " + name
	if at, ok := a.stopped(ctx, mark, req); ok && !c.Again {
		fmt.Fprintf(w, "%-28s goes on from %s\n", name, at.Format(time.DateOnly))
		req.Since = at
	}

	start, asked := time.Now(), req.Since
	req.Force = true
	req.Progress = func(p ingest.Progress) {
		left := time.Duration(float64(time.Since(start)) / float64(max(p.Done, 1)) * float64(p.Total-p.Done)).Round(
			time.Second)
		fmt.Fprintf(w, "%-28s %d of %d parts, %d rows, to %s, about %s left\n", name, p.Done, p.Total, p.Rows,
			p.Until.Format(time.DateOnly), left)
		// A stop must not lose the mark it stops at.
		if err := a.DB.SetSwitch(context.WithoutCancel(ctx), mark, p.Done < p.Total,
			store.Edit{Who: "coldseam fetch", Why: asked.Format(time.RFC3339) + " " +
				p.Until.Format(time.RFC3339)}); err != nil {
			a.Log.Warn("back-fill mark", "feed", name, "err", err)
		}
	}

	res, err := a.FetchOne(ctx, f, req)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "%-28s done: %s\n", name, ResultWords(res))
	return nil
}

// stopped finds where an earlier back-fill that began no later than this one
// was stopped.
func (fd *Feeds) stopped(ctx context.Context, mark string, req ingest.Request) (time.Time, bool) {
	on, e, err := fd.DB.Switch(ctx, mark)
	if err != nil || !on || req.Since.IsZero() {
		return time.Time{}, false
	}
	began, until, _ := strings.Cut(e.Why, " ")
	b, err1 := time.Parse(time.RFC3339, began)
	u, err2 := time.Parse(time.RFC3339, until)
	return u, errors.Join(err1, err2) == nil && !b.After(req.Since.Add(env.Day)) && u.After(req.Since) &&
		u.Before(req.Until)
}

// replayKept reads every kept document again with today's parsers. Nothing is
// asked of anybody, and what is stored already writes nothing.
func (c *Command) replayKept(ctx context.Context, w io.Writer, a *Feeds) error {
	profile, _, _ := strings.Cut(c.Feed, "/")
	list, err := a.DB.KeptFetches(ctx, profile)
	if err != nil {
		return err
	}

	// What ranks the series of a gauge is read before the series.
	sort.SliceStable(list, func(i, j int) bool { return a.ranks(list[i]) && !a.ranks(list[j]) })
	var t Tally
	for i, f := range list {
		if ctx.Err() != nil {
			return env.Fail(1, "stopped")
		}
		res, err := a.replayOne(ctx, f)
		t.Add(res)
		if err != nil {
			t.Failed++
			fmt.Fprintln(w, env.OneLine(fmt.Sprintf("fetch %d of %s, %s: %v", f.ID, f.Profile,
				f.At.Format("2006-01-02 15:04"), err)))
		}

		if (i+1)%50 == 0 || i+1 == len(list) {
			fmt.Fprintf(w, "%d of %d documents, %d rows, %d new, %d revised\n", i+1, len(list), t.Rows, t.Added,
				t.Revised)
		}
	}

	if len(list) == 0 {
		fmt.Fprintln(w, "no document is kept yet")
	}
	if t.Failed > 0 {
		return env.Fail(1, fmt.Sprintf("%d of %d documents could not be read", t.Failed, len(list)))
	}
	return nil
}

// ranks reports whether a kept document is one of series records.
func (fd *Feeds) ranks(f store.FetchRecord) bool {
	p, err := fd.Fetcher.Profile(f.Profile)
	path := p.Endpoints[ingest.EndpointMetadata].Path
	return err == nil && path != "" && strings.Contains(f.URL, path)
}

func (fd *Feeds) replayOne(ctx context.Context, f store.FetchRecord) (ingest.Result, error) {
	p, err := fd.ProfileOf(f)
	if err != nil {
		return ingest.Result{}, err
	}
	body, err := fd.DB.Payload(ctx, f.ID)
	if err != nil {
		return ingest.Result{}, err
	}
	return fd.Fetcher.Replay(ctx, p, body, f.At, f.ID)
}

// ProfileOf is the profile as the endpoint of a logged fetch sees it: the
// endpoint whose path stands in the address. Addresses that several endpoints
// share are told apart by the document itself.
func (fd *Feeds) ProfileOf(f store.FetchRecord) (ingest.Profile, error) {
	p, err := fd.Fetcher.Profile(f.Profile)
	if err != nil {
		return p, err
	}

	p.RequestIssued = ingest.InstanceTime(f.URL)
	for _, name := range slices.Sorted(maps.Keys(p.Endpoints)) {
		if path := p.Endpoints[name].Path; path != "" && path != p.Path && strings.Contains(f.URL, path) {
			if p, err = p.At(name); err != nil {
				return p, err
			}
			break
		}
	}

	for _, s := range fd.Config.Sites {
		if s.Provider == p.Name && strings.Contains(f.URL, s.Code) {
			p.RequestSite = s.Code
		}
	}

	return p, nil
}
