package ingest

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"example.org/coldseam"
)

// Fetcher walks the pages of a request, parses, checks and stores. Profiles are
// passed by value; the Fetcher may be used by several goroutines. Fill the
// fields before the first Fetch.
type Fetcher struct {
	Profiles []Profile
	Now      func() time.Time
	Log      *slog.Logger
	Parse    ParseFunc
	Sink     Sink
	Agent    string // User-Agent: "coldseam/VERSION (contact)"
	// Limits gives what is known of a site for quality control; nil = nothing.
	Limits func(coldseam.SiteID) SiteLimits
	// Recent gives the stored observations of a series from one time to
	// another, and the one before from, so that a value can be compared with
	// its neighbours; nil = the batch alone is looked at.
	Recent func(ctx context.Context, k coldseam.SeriesKey, from, to time.Time) ([]coldseam.Observation, error)
	// Air gives the air temperature beside a site from one time to another, for
	// the test that compares warm water with it; nil = the test is left out.
	Air func(ctx context.Context, site coldseam.SiteID, from, to time.Time) ([]coldseam.Observation, error)
	// Ratings gives the ratings of a gauge whose agency reports stage alone,
	// each within its validity; nil or none = no discharge is made of stage.
	Ratings   func(ctx context.Context, site coldseam.SiteID) ([]coldseam.Rating, error)
	Budget    Budget        // of requests, shared with other servers; nil = this process is alone
	RetryWait time.Duration // first pause between tries, 1s
	// SpendAtOnce lets this process spend most of an hour's budget of a service at once:
	// a person waits for a first back-fill, and no poll of the gauge is due yet, or for
	// one fetch of each feed.
	SpendAtOnce bool
	// Waiting is told of each long wait for the request budget, so that a person
	// who looks on knows why nothing happens; nil = nobody looks on.
	Waiting func(profile string, d time.Duration)
	// Heard is told the head of every answer, with its address without keys; nil =
	// nobody looks on.
	Heard func(url string, head http.Header)
	// Ours reports whether the club reads a station. What an answer brings of
	// others that nobody asked for is not stored; nil = all of it is.
	Ours func(coldseam.SiteID) bool
	// Elsewhere reports whether a warning holds outside every reach that its
	// feed is read for; nil = not known of any.
	Elsewhere func(coldseam.Alert) bool

	mu      sync.Mutex
	clients map[string]*client
	hosts   map[string]*hostGate
	fails   map[string]failure
	// documents of an index that were stored, and until when that counts; zero = for good
	links  map[string]time.Time
	passed map[string]map[string][]string // provider -> site -> series passed over, from its metadata
}

type failure struct {
	n     int
	until time.Time
}

// skewWarn is the clock difference that is worth a warning [proposal].
const skewWarn = time.Minute

// Profile finds a profile by name.
func (f *Fetcher) Profile(name string) (Profile, error) {
	for _, p := range f.Profiles {
		if p.Name == name {
			return p, nil
		}
	}
	return Profile{}, fmt.Errorf("profile %q: %w", name, coldseam.ErrNotFound)
}

// Close drops idle connections.
func (f *Fetcher) Close() {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, c := range f.clients {
		c.tr.CloseIdleConnections()
	}
}

// Fetch brings one request home. What was stored before an error stays, and
// the Result says how far it got. Errors wrap ErrUnavailable (try again later),
// ErrInvalid (the answer or the profile is wrong) or ErrRejected.
func (f *Fetcher) Fetch(ctx context.Context, p Profile, req Request) (res Result, err error) {
	start := f.Now()
	res = Result{
		Profile:   p.Name,
		Endpoint:  req.Endpoint,
		Remaining: -1,
		State:     StateError,
		Flagged:   map[string]int{},
		force:     req.Force,
		asked:     req.Sites,
	}
	defer func() { res.Dur = f.Now().Sub(start) }()
	p, err = p.At(req.Endpoint)
	if err != nil {
		return res, err
	}

	p = f.withChoice(p.WithDefaults(), req.Endpoint)
	feed := p.Name + "/" + req.Endpoint
	if until := f.paused(feed); !req.Force && start.Before(until) {
		res.NotBefore = until
		return res, fmt.Errorf("fetch %s: paused until %s after failures: %w", feed, until.UTC().Format(time.RFC3339),
			coldseam.ErrUnavailable)
	}

	calls, err := p.plan(req, start)
	if err != nil {
		return res, err
	}

	err = f.fetchCalls(ctx, p, req, calls, &res)
	if ctx.Err() == nil {
		f.recordBackoff(feed, err, res.NotBefore)
	}
	if err != nil {
		return res, fmt.Errorf("fetch %s: %w", feed, err)
	}

	if req.Endpoint == EndpointMetadata {
		res.Notes = append(res.Notes, f.Choose(p.Provider, res.Meta)...)
	}
	res.State = f.state(p, res)
	if res.State == StateStale && !req.Until.IsZero() {
		res.State = StateOK // history is old by nature
	}
	return res, nil
}

// EndpointMetadata is the endpoint whose records choose among several series of
// one site and parameter.
const EndpointMetadata = "metadata"

// EndpointLatest is the endpoint of the newest values, which the decision needs
// fresh.
const EndpointLatest = "latest"

// Choose keeps what a provider's metadata ranks lower, for later fetches: only
// that is left out, so a series the metadata does not list is never lost. Until
// the metadata was fetched in this process every series is stored.
func (f *Fetcher) Choose(provider string, meta []SeriesMeta) []string {
	chosen, passed, notes := ChoosePrimary(meta)
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.passed == nil {
		f.passed = map[string]map[string][]string{}
	}
	all := map[string][]string{}
	for site, refs := range f.passed[provider] {
		if len(chosen[site]) == 0 { // a site of this answer is judged anew
			all[site] = refs
		}
	}
	maps.Copy(all, passed)
	f.passed[provider] = all
	return notes
}

// withChoice adds the series passed over to a profile.
func (f *Fetcher) withChoice(p Profile, endpoint string) Profile {
	f.mu.Lock()
	defer f.mu.Unlock()
	if endpoint != EndpointMetadata {
		p.PassedOver = f.passed[p.Provider]
	}
	return p
}

// state of a good answer. A feed that was answered 304 is as fresh as before.
func (f *Fetcher) state(p Profile, res Result) State {
	switch {
	case res.NotModified:
		return StateOK
	case res.Rows == 0 && len(res.Meta) == 0 && len(res.Sites) == 0:
		return StateEmpty
	case res.NewestValid.IsZero():
		return StateOK
	}
	step := time.Duration(p.MaxAge) / 3
	if step == 0 {
		step = longestStep(res.Meta)
	}
	return StateOf(res.NewestValid, f.Now(), step)
}

// fetchCalls goes through the calls. A group of sites whose slice failed is not
// asked again in this request, the others go on; the server's own "wait" or a
// closed context ends everything.
func (f *Fetcher) fetchCalls(ctx context.Context, p Profile, req Request, calls []call, res *Result) error {
	var errs []error
	failed := map[int]bool{}
	modified := 0

	for i, c := range calls {
		if failed[c.group] {
			continue
		}
		if err := f.reserve(p, res, i); err != nil {
			errs = append(errs, err)
			break
		}

		same, err := f.fetchPages(ctx, p, c, res)
		if err != nil {
			failed[c.group] = true
			errs = append(errs, err)
			if ctx.Err() != nil || !res.NotBefore.IsZero() {
				break
			}
			continue
		}

		if !same {
			modified++
		}
		if req.Progress != nil && len(failed) == 0 {
			req.Progress(Progress{Done: i + 1, Total: len(calls), Rows: res.Rows, Until: complete(calls, i)})
		}
	}

	res.NotModified = len(errs) == 0 && modified == 0 && len(calls) > 0
	return errors.Join(errs...)
}

// complete is the end of time that is stored for every group after call i.
func complete(calls []call, i int) time.Time {
	if i+1 < len(calls) && calls[i+1].until.Equal(calls[i].until) {
		return calls[i].since
	}
	return calls[i].until
}

// reserve keeps the last tenth of the hour's budget for the live polls: a
// back-fill stops when the service counts down to it, and resumes later.
func (f *Fetcher) reserve(p Profile, res *Result, i int) error {
	if i == 0 || res.Remaining < 0 || float64(res.Remaining) > p.RatePerHour/10 {
		return nil
	}
	res.NotBefore = f.Now().Add(time.Hour)
	return fmt.Errorf("%d requests left in the service's budget; the rest is kept for live polls: %w", res.Remaining,
		coldseam.ErrUnavailable)
}

// page is one answer.
type page struct {
	raw         coldseam.RawFetch
	notModified bool
	batch       Batch
}

// A walk is held in memory until its last page is read: payloads are kept up
// to maxCallBytes, and a request for more than maxCallRows is refused. Three
// years of quarter-hourly values of one gauge are 105,000 rows a series.
const (
	maxCallBytes = 32 << 20
	maxCallRows  = 2_000_000
)

// fetchPages reads every page of a call and stores all of it or nothing.
func (f *Fetcher) fetchPages(ctx context.Context, p Profile, c call, res *Result) (notModified bool, err error) {
	var pages []page
	p.RequestSite, p.RequestParameter = c.site, c.parameter
	p.RequestIssued = InstanceTime(c.url)
	seen := map[string]bool{}
	rows, size := 0, 0

	for queue := []string{c.url}; len(queue) > 0; {
		next := queue[0]
		queue = queue[1:]
		_, p.Context, _ = strings.Cut(next, "#")
		if seen[next] {
			return false, fmt.Errorf("page %d repeats an earlier address: %w", len(pages)+1, coldseam.ErrInvalid)
		}

		if len(pages) >= p.MaxPages {
			return false, fmt.Errorf("more than max_pages = %d pages: ask for a shorter window: %w", p.MaxPages,
				coldseam.ErrInvalid)
		}
		seen[next] = true
		pg, err := f.get(ctx, p, c.page(next, len(pages)), c.body, res)
		if err != nil {
			return false, err
		}

		if pg.notModified {
			_, err := f.Sink.SaveRaw(ctx, pg.raw)
			return true, err
		}

		more := pg.batch.continued(p)
		if rows += pg.batch.Rows(); rows > maxCallRows {
			return false, f.failFetch(ctx, pg.raw,
				fmt.Errorf("more than %d rows in one walk: ask for fewer sites or a shorter max_window: %w",
					maxCallRows, coldseam.ErrInvalid))
		}
		if size += len(pg.raw.Payload); size > maxCallBytes {
			pg.raw.Payload = nil // parsed and checked; too much to keep for replay
		}
		pages = append(pages, pg)

		counted, err := p.counted(next, pg.batch.Records)
		if err != nil {
			return false, err
		}
		if counted != "" {
			queue = append(queue, counted)
		}
		for _, l := range more {
			l, err := f.following(p, next, l)
			if err != nil {
				return false, f.failFetch(ctx, pg.raw, err)
			}
			queue = append(queue, l)
		}
	}

	if err := short(p, pages); err != nil {
		if p.Format == FormatRecords { // whose map says where the count stands
			return false, f.failFetch(ctx, pages[len(pages)-1].raw, err)
		}
		res.Notes = append(res.Notes, err.Error())
		f.warn("paging", p.Name, err)
	}
	return false, f.store(ctx, p, pages, res)
}

// short is an error when the pages hold fewer records than the service counted at
// the first of them: rows that are not there are told.
func short(p Profile, pages []page) error {
	came := 0
	for _, pg := range pages {
		came += pg.batch.Records
	}
	if counted := pages[0].batch.Matched; counted > came && p.Paging != PagingFirst {
		return fmt.Errorf("the service counts %d records, %d came and no page follows: %w", counted, came,
			coldseam.ErrInvalid)
	}
	return nil
}

// continued lists the pages that complete this one: the next page and, where
// parts of a page go on elsewhere (SensorThings), the links to their rest,
// which then are no documents to be followed.
func (b *Batch) continued(p Profile) []string {
	var out []string
	if b.Next != "" && (p.Paging != PagingFirst || b.Format == FormatCAP) {
		out = append(out, b.Next)
	}
	if p.Paging == PagingIOT {
		out, b.Links = append(out, b.Links...), nil
	}
	return out
}

func (f *Fetcher) following(p Profile, page, next string) (string, error) {
	if next == "" {
		return "", nil
	}
	if p.Paging == PagingNone {
		return "", fmt.Errorf("the answer goes on at a next page, but paging is none: %w", coldseam.ErrInvalid)
	}
	return p.nextURL(page, next)
}

// address is where to ask and under which name the answer is kept.
type address struct {
	url, log    string
	conditional bool
}

// page names page n of a call. Only the first page of a call without a moving
// window is asked for conditionally.
func (c call) page(addr string, n int) address {
	if c.log == c.url {
		return address{addr, addr, n == 0}
	}
	log := c.log
	if n > 0 {
		log += "#page" + strconv.Itoa(n+1)
	}
	return address{addr, log, false}
}

// warn logs what harms nobody but must not go unseen.
func (f *Fetcher) warn(what, feed string, err error) {
	if err != nil && f.Log != nil {
		f.Log.Warn(what, "feed", feed, "err", err)
	}
}

func (f *Fetcher) client(p Profile) *client {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.clients == nil {
		f.clients, f.hosts = map[string]*client{}, map[string]*hostGate{}
	}
	host := strings.ToLower(p.BaseURL)
	if _, rest, ok := strings.Cut(host, "://"); ok {
		host, _, _ = strings.Cut(rest, "/")
	}

	g, ok := f.hosts[host]
	if !ok {
		g = &hostGate{name: host, slots: make(chan struct{}, p.Concurrency)}
		f.hosts[host] = g
	}
	id := fmt.Sprint(p.Name, p.BaseURL, p.Timeout, p.MaxBodyBytes, p.PrivateHosts, p.Headers, p.KeyHeader,
		p.RatePerHour, p.MinInterval)
	c, ok := f.clients[id]

	if !ok {
		wait := f.RetryWait
		if wait <= 0 {
			wait = time.Second
		}
		agent := f.Agent
		if agent == "" {
			agent = "coldseam"
		}

		c = newClient(p, g, agent, wait)
		c.shared, c.waiting = f.Budget, f.Waiting
		if f.SpendAtOnce {
			c.atOnce = int(atOnceShare * p.RatePerHour)
		}
		f.clients[id] = c
	}

	return c
}

func (f *Fetcher) paused(feed string) time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.fails[feed].until
}

// recordBackoff moves a feed along the back-off ladder.
func (f *Fetcher) recordBackoff(feed string, err error, notBefore time.Time) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.fails == nil {
		f.fails = map[string]failure{}
	}
	if err == nil {
		delete(f.fails, feed)
		return
	}
	n := f.fails[feed].n + 1
	until := f.Now().Add(Backoff(n))
	if notBefore.After(until) {
		until = notBefore
	}
	f.fails[feed] = failure{n, until}
}

// Failures is the number of failures in a row of a feed, and when it will be
// tried again.
func (f *Fetcher) Failures(profile, endpoint string) (int, time.Time) {
	f.mu.Lock()
	defer f.mu.Unlock()
	x := f.fails[profile+"/"+endpoint]
	return x.n, x.until
}

// InstanceTime reads the model run out of an address such as
// /instances/2026-03-20T00:00:00Z/position; zero when there is none.
func InstanceTime(addr string) time.Time {
	_, rest, ok := strings.Cut(addr, "/instances/")
	if !ok {
		return time.Time{}
	}
	id, _, _ := strings.Cut(rest, "/")
	st, err := ParseTime(strings.ReplaceAll(id, "%3A", ":"), nil)
	if err != nil {
		return time.Time{}
	}
	return st.At
}
