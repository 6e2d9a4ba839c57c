package ingest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/go-resty/resty/v2"
	"golang.org/x/time/rate"

	"example.org/coldseam"
)

// client is the connection to one service: its own transport and its share of
// this process in the budget of requests. What the processes of a club may ask
// together is the Budget's to say.
type client struct {
	r       *resty.Client
	tr      *http.Transport
	host    *hostGate
	rate    *rate.Limiter
	profile Profile
	shared  Budget // nil = this process is alone
	waiting func(profile string, d time.Duration)

	mu     sync.Mutex
	last   time.Time // of a request, for min_interval
	atOnce int       // requests that need not wait for their turn
}

// atOnceShare of the hour's budget may go into a first back-fill at once; the
// rest is for the polls that go on beside it [proposal].
const atOnceShare = .8

// evenShare of it needs no spreading at any time.
const evenShare = .1

// hurry takes one of the requests that need not wait, of which other servers and
// commands may have left none.
func (c *client) hurry(ctx context.Context) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.atOnce <= 0 {
		return false
	}
	c.atOnce--
	if c.shared == nil {
		return true
	}
	wait, err := c.shared.TakeRequest(ctx, c.host.name, c.profile.RatePerHour, atOnceShare)
	if err == nil && wait > 0 {
		c.atOnce = 0
		return false
	}
	return true // a budget that cannot be read stops nobody
}

var errPrivate = errors.New("private address")

// newClient builds the client of a profile. wait is the first pause between
// tries.
func newClient(p Profile, host *hostGate, agent string, wait time.Duration) *client {
	c := &client{profile: p, host: host, rate: newLimiter(p)}
	c.tr = &http.Transport{
		DialContext:            guardedDial(p),
		TLSHandshakeTimeout:    5 * time.Second,
		ResponseHeaderTimeout:  10 * time.Second,
		MaxResponseHeaderBytes: maxHeaderBytes,
		MaxIdleConnsPerHost:    p.Concurrency,
		IdleConnTimeout:        60 * time.Second,
		ForceAttemptHTTP2:      true,
	}

	c.r = resty.New().
		SetTransport(c.tr).
		SetTimeout(time.Duration(p.Timeout)).
		SetResponseBodyLimit(int(p.MaxBodyBytes)).
		SetHeader("User-Agent", agent).
		SetLogger(noLog{}).
		SetRedirectPolicy(resty.RedirectPolicyFunc(c.redirect)).
		SetRetryCount(2).
		SetRetryWaitTime(wait).
		SetRetryMaxWaitTime(maxRetryAfterInline).
		SetRetryAfter(retryAfter).
		AddRetryCondition(retryable)

	return c
}

// noLog keeps resty's own log away: its lines hold whole addresses.
type noLog struct{}

func (noLog) Errorf(string, ...any) {}
func (noLog) Warnf(string, ...any)  {}
func (noLog) Debugf(string, ...any) {}

// guardedDial refuses addresses that are not public, after the name was
// resolved, so that a name that points inside does not help.
func guardedDial(p Profile) func(context.Context, string, string) (net.Conn, error) {
	open := &net.Dialer{Timeout: 5 * time.Second}
	guarded := &net.Dialer{Timeout: 5 * time.Second, Control: func(_, address string, _ syscall.RawConn) error {
		ap, err := netip.ParseAddrPort(address)
		if err != nil || !publicAddr(ap.Addr()) {
			return fmt.Errorf("%s: %w; a service of your own is named in private_hosts of its [[profile]]", address,
				errPrivate)
		}
		return nil
	}}
	return func(ctx context.Context, network, addr string) (net.Conn, error) {
		host, _, err := net.SplitHostPort(addr)
		if err == nil && p.allowsPrivate(host) {
			return open.DialContext(ctx, network, addr)
		}
		return guarded.DialContext(ctx, network, addr)
	}
}

// Ranges that are not on the public internet beside those netip knows
// [source: IANA special-purpose address registries, from memory].
var notPublic = []netip.Prefix{
	netip.MustParsePrefix("0.0.0.0/8"), netip.MustParsePrefix("100.64.0.0/10"), netip.MustParsePrefix("192.0.0.0/24"),
	netip.MustParsePrefix("192.0.2.0/24"), netip.MustParsePrefix("198.18.0.0/15"),
	netip.MustParsePrefix("198.51.100.0/24"),
	netip.MustParsePrefix("203.0.113.0/24"), netip.MustParsePrefix("240.0.0.0/4"),
	netip.MustParsePrefix("64:ff9b::/96"), netip.MustParsePrefix("64:ff9b:1::/48"), netip.MustParsePrefix("100::/64"),
	netip.MustParsePrefix("2001::/32"), netip.MustParsePrefix("2002::/16"), netip.MustParsePrefix("fec0::/10"),
	netip.MustParsePrefix("::/96"),
}

func publicAddr(a netip.Addr) bool {
	a = a.Unmap().WithZone("")
	if !a.IsValid() || a.IsUnspecified() || a.IsLoopback() || a.IsPrivate() || a.IsLinkLocalUnicast() ||
		a.IsMulticast() || a.IsInterfaceLocalMulticast() {
		return false
	}
	for _, n := range notPublic {
		if n.Contains(a) {
			return false
		}
	}
	return true
}

// redirect allows three of the same scheme, and takes the key and the profile's
// own headers away when the host changes.
func (c *client) redirect(req *http.Request, via []*http.Request) error {
	first := via[0]
	switch {
	case len(via) > maxRedirects:
		return fmt.Errorf("more than %d redirects: %w", maxRedirects, coldseam.ErrRejected)
	case req.URL.Scheme != first.URL.Scheme:
		return fmt.Errorf("redirect from %s to %s: %w", first.URL.Scheme, req.URL.Scheme, coldseam.ErrRejected)
	}

	if sameHost(req.URL, first.URL) {
		return nil
	}
	if req.Method != http.MethodGet && req.Method != http.MethodHead {
		return fmt.Errorf("redirect of a %s to another host: %w", req.Method, coldseam.ErrRejected)
	}

	if c.profile.KeyHeader != "" {
		req.Header.Del(c.profile.KeyHeader)
	}
	for h := range c.profile.Headers {
		req.Header.Del(h)
	}
	req.Header.Del("Authorization")
	req.Header.Del("Cookie")
	return nil
}

func sameHost(a, b *url.URL) bool { return strings.EqualFold(a.Host, b.Host) && a.Scheme == b.Scheme }

// retryable: network errors, 5xx, and 429 that names a short wait. A custom condition replaces resty's
// own, so it names errors too. What would fail the same way again, or has used
// up its time, is not tried again.
func retryable(r *resty.Response, err error) bool {
	var ne net.Error
	switch {
	case err == nil:
		return r != nil && (r.StatusCode() == http.StatusTooManyRequests || r.StatusCode() >= 500) && mayRepeat(r)
	case errors.Is(err, resty.ErrResponseBodyTooLarge), errors.Is(err, errPrivate),
		errors.Is(err, coldseam.ErrRejected),
		errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return false
	case errors.As(err, &ne) && ne.Timeout():
		return false
	}
	return true
}

// mayRepeat: a server that has had enough is asked again at once only where it
// names a short wait itself.
func mayRepeat(r *resty.Response) bool {
	d, ok := retryAfterOf(r.Header(), time.Now())
	if r.StatusCode() == http.StatusTooManyRequests && d <= 0 || remaining(r.Header()) == 0 {
		return false
	}
	return !ok || d <= maxRetryAfterInline
}

// longestBackOff bounds every wait that a server asks for: one wrong header must
// not cost the mornings of a week [proposal]. emptyWait follows an answer with
// no request left that does not say until when [proposal].
const (
	longestBackOff = 6 * time.Hour
	emptyWait      = 5 * time.Minute
)

// retryAfter is resty's hook; zero keeps resty's own back-off.
func retryAfter(_ *resty.Client, r *resty.Response) (time.Duration, error) {
	d, _ := retryAfterOf(r.Header(), time.Now())
	return d, nil
}

// enter waits for a slot of the host, for the budget and for the least
// interval between two requests of the profile.
func (c *client) enter(ctx context.Context) (leave func(), err error) {
	select {
	case c.host.slots <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}

	leave = func() { <-c.host.slots }
	if !c.hurry(ctx) {
		if err = c.turn(ctx); err == nil {
			err = c.take(ctx)
		}
	}

	if err != nil {
		leave()
		return nil, err
	}

	if err := sleep(ctx, c.pause()); err != nil {
		leave()
		return nil, err
	}

	return leave, nil
}

// turn waits for the process's own budget.
func (c *client) turn(ctx context.Context) error {
	r := c.rate.Reserve()
	d := r.Delay()
	if end, ok := ctx.Deadline(); ok && time.Now().Add(d).After(end) {
		r.Cancel()
		return fmt.Errorf("request budget of %.0f an hour: %w", c.profile.RatePerHour, coldseam.ErrUnavailable)
	}
	c.tellWait(d)
	if err := sleep(ctx, d); err != nil {
		r.Cancel()
		return err
	}
	return nil
}

// longWait is a wait for the budget that whoever looks on is told of [proposal].
const longWait = 3 * time.Second

func (c *client) tellWait(d time.Duration) {
	if c.waiting != nil && d > longWait {
		c.waiting(c.profile.Name, d)
	}
}

// longestTurn is how long a request waits for its turn among the servers;
// a host that asked for more quiet is left alone [proposal].
const longestTurn = 5 * time.Minute

// take waits for the budget that all servers share. One that cannot be read
// stops nobody: the process's own still holds.
func (c *client) take(ctx context.Context) error {
	for c.shared != nil {
		wait, err := c.shared.TakeRequest(ctx, c.host.name, c.profile.RatePerHour, evenShare)
		if err != nil || wait <= 0 {
			return ctx.Err()
		}
		until := time.Now().Add(wait)
		if end, ok := ctx.Deadline(); wait > longestTurn || ok && until.After(end) {
			return fmt.Errorf("request budget of %s, shared by all servers, is used up until %s: %w", c.host.name,
				until.UTC().Format(time.RFC3339), coldseam.ErrUnavailable)
		}
		c.tellWait(wait)
		if err := sleep(ctx, wait); err != nil {
			return err
		}
	}
	return nil
}

// hold keeps every server from the host for as long as it asked.
func (c *client) hold(ctx context.Context, until time.Time, d time.Duration) error {
	c.host.wait(until)
	if c.shared == nil {
		return nil
	}
	return c.shared.HoldRequests(ctx, c.host.name, d)
}

// pause is how long to wait for min_interval; the place in the row is taken at
// once.
func (c *client) pause() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := time.Now()
	d := max(c.last.Add(time.Duration(c.profile.MinInterval)).Sub(now), 0)
	c.last = now.Add(d)
	return d
}

func sleep(ctx context.Context, d time.Duration) error {
	if d <= 0 {
		return nil
	}
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// newLimiter spreads the hourly budget: a tenth of it at once, the rest evenly,
// so that no hour sees more than the budget.
func newLimiter(p Profile) *rate.Limiter {
	burst := max(int(p.RatePerHour/10), 1)
	even := max(p.RatePerHour-float64(burst), p.RatePerHour/2)
	return rate.NewLimiter(rate.Limit(even/3600), burst)
}

// spent takes what repeated tries used from the budget and returns the number
// of tries.
func (c *client) spent(ctx context.Context, tries int) (int, error) {
	if tries <= 1 {
		return 1, nil
	}
	c.rate.ReserveN(time.Now(), min(tries-1, c.rate.Burst()))
	if c.shared == nil {
		return tries, nil
	}
	return tries, c.shared.SpendRequests(ctx, c.host.name, c.profile.RatePerHour, tries-1)
}

// key reads the key of the profile; it is read at every fetch so that a new
// one needs no restart.
func (p Profile) key() (string, error) {
	if p.KeyFile == "" {
		return "", nil
	}
	b, err := os.ReadFile(p.KeyFile)
	if err != nil {
		return "", fmt.Errorf("key_file of profile %s: %w", p.Name, err)
	}
	k := strings.TrimSpace(string(b))
	if k == "" || strings.ContainsAny(k, "\r\n") {
		return "", fmt.Errorf("key_file of profile %s: want one line: %w", p.Name, coldseam.ErrInvalid)
	}
	return k, nil
}

// secretParams are query keys whose value is never logged or stored; a service
// may echo a key into its links.
var secretParams = []string{"key", "api_key", "apikey", "api-key", "token", "access_token", "appid", "subscription-key"}

// cleanURL is an address without secrets, the form for logs and the store.
func cleanURL(raw, key string) string {
	u, err := url.Parse(raw)
	if err != nil {
		return "(unreadable address)"
	}

	u.User = nil
	q := u.Query()
	changed := false
	for k := range q {
		if contains(secretParams, strings.ToLower(k)) {
			q.Del(k)
			changed = true
		}
	}

	if changed {
		u.RawQuery = q.Encode()
	}
	s := u.String()
	if key != "" {
		s = strings.ReplaceAll(s, key, "***")
	}
	return s
}
