package ingest

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
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
	"github.com/go-resty/resty/v2"
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
	// Waiting is told of each long wait for the request budget, so that a person
	// who looks on knows why nothing happens; nil = nobody looks on.
	Waiting func(profile string, d time.Duration)

	mu      sync.Mutex
	clients map[string]*client
	hosts   map[string]*hostGate
	fails   map[string]failure
	links   map[string]bool                // documents of an index that were stored; they never change
	passed  map[string]map[string][]string // provider -> site -> series passed over, from its metadata
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
	res = Result{Profile: p.Name, Endpoint: req.Endpoint, Remaining: -1, State: StateError, Flagged: map[string]int{}, force: req.Force}
	defer func() { res.Dur = f.Now().Sub(start) }()
	p, err = p.At(req.Endpoint)
	if err != nil {
		return res, err
	}
	p = f.withChoice(p.WithDefaults(), req.Endpoint)
	feed := p.Name + "/" + req.Endpoint
	if until := f.paused(feed); !req.Force && start.Before(until) {
		res.NotBefore = until
		return res, fmt.Errorf("fetch %s: paused until %s after failures: %w", feed, until.UTC().Format(time.RFC3339), coldseam.ErrUnavailable)
	}
	calls, err := p.plan(req, start)
	if err != nil {
		return res, err
	}
	err = f.walkAll(ctx, p, req, calls, &res)
	if ctx.Err() == nil {
		f.settle(feed, err, res.NotBefore)
	}
	if err != nil {
		return res, fmt.Errorf("fetch %s: %w", feed, err)
	}
	if req.Endpoint == EndpointMetadata {
		res.Notes = append(res.Notes, f.choose(p.Provider, res.Meta)...)
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

// choose keeps what a provider's metadata ranks lower, for later fetches: only
// that is left out, so a series the metadata does not list is never lost. Until
// the metadata was fetched in this process every series is stored.
func (f *Fetcher) choose(provider string, meta []SeriesMeta) []string {
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

// walkAll goes through the calls. A group of sites whose slice failed is not
// asked again in this request, the others go on; the server's own "wait" or a
// closed context ends everything.
func (f *Fetcher) walkAll(ctx context.Context, p Profile, req Request, calls []call, res *Result) error {
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
		same, err := f.walk(ctx, p, c, res)
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
	return fmt.Errorf("%d requests left in the service's budget; the rest is kept for live polls: %w", res.Remaining, coldseam.ErrUnavailable)
}

// page is one answer.
type page struct {
	raw         coldseam.RawFetch
	notModified bool
	batch       Batch
}

// A walk is held in memory until its last page is read: payloads are kept up
// to maxWalkBytes, and a request for more than maxWalkRows is refused. Three
// years of quarter-hourly values of one gauge are 105,000 rows a series.
const (
	maxWalkBytes = 32 << 20
	maxWalkRows  = 2_000_000
)

// walk reads every page of a call and stores all of it or nothing.
func (f *Fetcher) walk(ctx context.Context, p Profile, c call, res *Result) (notModified bool, err error) {
	var pages []page
	p.RequestSite = c.site
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
			return false, fmt.Errorf("more than max_pages = %d pages: ask for a shorter window: %w", p.MaxPages, coldseam.ErrInvalid)
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
		if rows += pg.batch.Rows(); rows > maxWalkRows {
			return false, f.bad(ctx, pg.raw, fmt.Errorf("more than %d rows in one walk: ask for fewer sites or a shorter max_window: %w", maxWalkRows, coldseam.ErrInvalid))
		}
		if size += len(pg.raw.Payload); size > maxWalkBytes {
			pg.raw.Payload = nil // parsed and checked; too much to keep for replay
		}
		pages = append(pages, pg)
		for _, l := range more {
			l, err := f.following(p, next, l)
			if err != nil {
				return false, f.bad(ctx, pg.raw, err)
			}
			queue = append(queue, l)
		}
	}
	return false, f.store(ctx, p, pages, res)
}

// continued lists the pages that complete this one: the next page and, where
// parts of a page go on elsewhere (SensorThings), the links to their rest,
// which then are no documents to be followed.
func (b *Batch) continued(p Profile) []string {
	var out []string
	if b.Next != "" && p.Paging != PagingFirst {
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

// get makes one request and parses the answer.
func (f *Fetcher) get(ctx context.Context, p Profile, a address, body string, res *Result) (page, error) {
	key, err := p.key()
	if err != nil {
		return page{}, err
	}
	addr, clean := a.url, cleanURL(a.log, key)
	etag, mod, notBefore, err := f.Sink.NextFetch(ctx, p.Name, clean)
	if err != nil {
		return page{}, fmt.Errorf("next fetch of %s: %w", clean, err)
	}
	if res.force {
		notBefore = time.Time{} // a store may mix the server's word with pauses after failures
	}
	a.conditional = a.conditional && p.Method == http.MethodGet
	if !a.conditional {
		etag, mod = "", ""
	}
	c := f.client(p)
	if u := c.host.waitUntil(); u.After(notBefore) {
		notBefore = u
	}
	if f.Now().Before(notBefore) {
		res.NotBefore = notBefore
		return page{}, fmt.Errorf("%s: the server asked to wait until %s: %w", clean, notBefore.UTC().Format(time.RFC3339), coldseam.ErrUnavailable)
	}
	leave, err := c.enter(ctx)
	if err != nil {
		return page{}, err
	}
	defer leave()
	r := c.r.R().SetContext(ctx)
	for k, v := range p.Headers {
		r.SetHeader(k, v)
	}
	if key != "" {
		r.SetHeader(p.KeyHeader, key)
	}
	if etag != "" {
		r.SetHeader("If-None-Match", etag)
	}
	if mod != "" {
		r.SetHeader("If-Modified-Since", mod)
	}
	if p.Method == http.MethodPost {
		r.SetBody(body)
		if r.Header.Get("Content-Type") == "" {
			r.SetHeader("Content-Type", "application/soap+xml; charset=utf-8")
		}
	}
	began := f.Now()
	resp, err := r.Execute(p.Method, addr)
	tries, berr := c.spent(ctx, r.Attempt)
	f.warn("request budget", p.Name, berr)
	res.Requests += tries
	raw := coldseam.RawFetch{Profile: p.Name, URL: clean, At: f.Now().UTC(), ETag: etag, LastMod: mod}
	raw.Dur = raw.At.Sub(began)
	if err != nil {
		return page{}, f.bad(ctx, raw, fmt.Errorf("%s: %s: %w", clean, redact(err, addr, clean, key), classOf(err)))
	}
	return f.answer(ctx, p, c, a, resp, raw, res)
}

func (f *Fetcher) answer(ctx context.Context, p Profile, c *client, a address, resp *resty.Response, raw coldseam.RawFetch, res *Result) (page, error) {
	status, h, body := resp.StatusCode(), resp.Header(), resp.Body()
	raw.Status, raw.Bytes = status, int64(len(body))
	res.Bytes += raw.Bytes
	f.clock(p, h, raw, res)
	if n, err := strconv.Atoi(cmp.Or(h.Get("X-Ratelimit-Remaining"), h.Get("Ratelimit-Remaining"))); err == nil {
		res.Remaining = n
	}
	if d, ok := retryAfterOf(h, raw.At); ok && status != http.StatusOK {
		raw.NotBefore = raw.At.Add(d)
		res.NotBefore = raw.NotBefore
		f.warn("request budget", p.Name, c.hold(ctx, raw.NotBefore, d))
	}
	switch {
	case status == http.StatusNotModified: // a 304 need not repeat the validators
		raw.ETag, raw.LastMod = cmp.Or(h.Get("ETag"), raw.ETag), cmp.Or(h.Get("Last-Modified"), raw.LastMod)
		return page{raw: raw, notModified: true}, nil
	case status == http.StatusNoContent: // an EDR service says so that it has no data
		return page{raw: raw}, nil
	case status != http.StatusOK:
		raw.Payload = body[:min(len(body), 64<<10)]
		return page{}, f.bad(ctx, raw, fmt.Errorf("%s: HTTP %d, begins %q: %w", raw.URL, status, head(body), statusClass(status)))
	}
	sum := sha256.Sum256(body)
	raw.SHA256 = hex.EncodeToString(sum[:])
	raw.ETag, raw.LastMod = h.Get("ETag"), h.Get("Last-Modified")
	if !a.conditional {
		raw.ETag, raw.LastMod = "", ""
	}
	raw.Payload = body
	b, err := f.Parse(bytes.NewReader(body), p)
	if err != nil {
		raw.Payload = body[:min(len(body), 64<<10)]
		return page{}, f.bad(ctx, raw, fmt.Errorf("%s: %w", raw.URL, err))
	}
	raw.Attributes = SchemaOf(body).Pack()
	raw.Rows = b.Rows()
	return page{raw: raw, batch: b}, nil
}

// warn logs what harms nobody but must not go unseen.
func (f *Fetcher) warn(what, feed string, err error) {
	if err != nil && f.Log != nil {
		f.Log.Warn(what, "feed", feed, "err", err)
	}
}

// bad records a fetch that brought nothing and returns its error. No
// validators are kept, so that the next try asks for the whole document.
func (f *Fetcher) bad(ctx context.Context, raw coldseam.RawFetch, err error) error {
	raw.Err = oneLine(err)
	raw.ETag, raw.LastMod, raw.Rows = "", "", 0
	if _, serr := f.Sink.SaveRaw(ctx, raw); serr != nil {
		return errors.Join(err, fmt.Errorf("save raw fetch: %w", serr))
	}
	return err
}

// clock compares the server's clock with ours. The Date header has whole
// seconds; an answer out of a cache says how old it is.
func (f *Fetcher) clock(p Profile, h http.Header, raw coldseam.RawFetch, res *Result) {
	t, err := http.ParseTime(h.Get("Date"))
	if err != nil || h.Get("Age") != "" {
		return
	}
	res.ClockSkew = t.Sub(raw.At.Add(-raw.Dur / 2)).Truncate(time.Second)
	if d := res.ClockSkew.Abs(); d > skewWarn && f.Log != nil {
		f.Log.Warn("clock differs from the server's", "feed", p.Name, "dur", res.ClockSkew)
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
	id := fmt.Sprint(p.Name, p.BaseURL, p.Timeout, p.MaxBodyBytes, p.PrivateHosts, p.Headers, p.KeyHeader, p.RatePerHour, p.MinInterval)
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
		f.clients[id] = c
	}
	return c
}

func (f *Fetcher) paused(feed string) time.Time {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.fails[feed].until
}

// settle moves a feed along the back-off ladder.
func (f *Fetcher) settle(feed string, err error, notBefore time.Time) {
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

func classOf(err error) error {
	switch {
	case errors.Is(err, coldseam.ErrRejected), errors.Is(err, errPrivate):
		return coldseam.ErrRejected
	case errors.Is(err, context.Canceled):
		return context.Canceled
	}
	return coldseam.ErrUnavailable
}

// statusClass: 4xx but 408, 425 and 429 will not heal by themselves.
func statusClass(status int) error {
	if status >= 400 && status < 500 && status != 408 && status != 425 && status != 429 {
		return coldseam.ErrRejected
	}
	return coldseam.ErrUnavailable
}

// redact takes the address and the key out of a library's error text.
func redact(err error, addr, clean, key string) string {
	s := err.Error()
	if key != "" {
		s = strings.ReplaceAll(s, key, "***")
	}
	s = strings.ReplaceAll(s, strconv.Quote(addr), "")
	return strings.ReplaceAll(s, addr, clean)
}

// oneLine is an error as the log of fetches keeps it.
func oneLine(err error) string {
	s := strings.ReplaceAll(err.Error(), "\n", "; ")
	if len(s) > 500 {
		s = strings.ToValidUTF8(s[:500], "") + "..."
	}
	return s
}

func head(b []byte) string {
	b = bytes.TrimSpace(b)
	return strings.ToValidUTF8(string(b[:min(len(b), 80)]), "?")
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
