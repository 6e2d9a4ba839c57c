package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/brieftest"
)

func TestNewRefuses(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name string
		bend func(*Config)
	}{
		{"no store", func(c *Config) { c.Store = nil }},
		{"no clock", func(c *Config) { c.Now = nil }},
		{"no log", func(c *Config) { c.Log = nil }},
		{"public url without host", func(c *Config) { c.Links.PublicURL = "club.example" }},
		{"short key", func(c *Config) { c.Links.Tokens.Current.Secret = []byte("short") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			cfg := testConfig(newMemory())
			c.bend(&cfg)
			_, err := New(cfg)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
		})
	}
}

func TestHeadersOnEveryAnswer(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	all := paths()
	all["style"], all["calendar"], all["robots"], all["live"] = readAsset("look.css").path,
		"/river/tamsen-bend/calendar.ics", "/robots.txt", "/livez"

	for name, p := range all {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			hd := get(h, p).Header()
			csp := hd.Get("Content-Security-Policy")
			for _, want := range []string{"default-src 'none'", "img-src 'self'", "style-src 'self'",
				"form-action 'self'"} {
				require.Contains(t, csp, want)
			}
			require.NotContains(t, csp, "unsafe")
			require.Equal(t, "nosniff", hd.Get("X-Content-Type-Options"))
			require.Equal(t, "no-referrer", hd.Get("Referrer-Policy"))
			require.NotEmpty(t, hd.Get("Strict-Transport-Security"))
			require.Empty(t, hd.Get("Set-Cookie"), "no cookies")
			require.NotEmpty(t, hd.Get("Content-Type"))

			if strings.Contains(p, "/preferences/") || strings.Contains(p, "/log/") ||
				strings.Contains(p, "/confirm/") || strings.Contains(p, "/unsubscribe/") {
				require.Equal(t, "no-store", hd.Get("Cache-Control"))
				require.Equal(t, "noindex", hd.Get("X-Robots-Tag"))
			}
		})
	}
}

// A word from the bank takes a button, a member and this morning's link.
func TestBankTakesAMembersWordOfToday(t *testing.T) {
	t.Parallel()
	m := newMemory()
	l, cut := testLinks(), func(s string) string { return strings.TrimPrefix(s, publicURL) }
	today := cut(l.Bank(7, "tamsen-bend", brieftest.Day, clock()))
	h := testHandler(t, m)
	before := m.rows(t)
	require.Contains(t, get(h, today).Body.String(), "Launch closed")
	require.Equal(t, before, m.rows(t), "opening the page says nothing")
	require.Equal(t, http.StatusBadRequest, post(h, today, url.Values{"say": {"open"}}).Code)
	require.Equal(t, http.StatusGone, post(h, cut(l.Bank(7, "tamsen-bend", brieftest.Day.Add(-1), clock())),
		url.Values{"say": {"ice"}}).Code)
	require.Equal(t, http.StatusBadRequest, post(h, today, url.Values{"say": {"ice"}, "at": {"4102444800000"}}).Code)
	require.Empty(t, m.bank)

	r := post(h, today, url.Values{"say": {"launch"}, "key": {"k"}})
	require.Equal(t, http.StatusOK, r.Code)
	require.Contains(t, r.Body.String(), "closed by it")
	post(h, today, url.Values{"say": {"launch"}, "key": {"k"}})
	require.Len(t, m.bank, 1)
	page := get(h, "/river/tamsen-bend").Body.String()
	require.Contains(t, page, "Launch closed, seen at")
	require.NotContains(t, page, "ann@")

	sub := m.subs[7]
	sub.State = "unsubscribed"
	m.subs[7] = sub
	require.Equal(t, http.StatusForbidden, post(h, today, url.Values{"say": {"wood"}}).Code)
}

// A timing is taken from the bank or a moored boat alone.
func TestFloatIsTimedFromDryFeet(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	path := strings.Replace(strings.TrimPrefix(testLinks().Log(7, "tamsen-bend", brieftest.Day, clock()), publicURL),
		"/log/", "/float/", 1)
	good := url.Values{"spot": {"main-seam"}, "length": {"20"}, "s1": {"30"}, "s2": {"31"}, "s3": {"33"}, "wind": {"calm"},
		"place": {"bank"}, "water": {"steady"}}
	for key, bad := range map[string]string{"place": "wading", "water": "rising", "spot": "nowhere", "length": "2",
		"s2": "90", "wind": "howling", "s3": "0"} {
		v := url.Values{}
		for k, x := range good {
			v[k] = x
		}
		v.Set(key, bad)
		require.Equal(t, http.StatusUnprocessableEntity, post(h, path, v).Code, key)
	}
	require.Empty(t, m.timings)
	require.Equal(t, http.StatusOK, post(h, path, good).Code)
	require.Len(t, m.timings, 1)
}

func TestErrorClassToStatus(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		err  error
		want int
	}{
		{coldseam.ErrNotFound, 404}, {coldseam.ErrInvalid, 400}, {coldseam.ErrStale, 410},
		{coldseam.ErrUnavailable, 503},
		{coldseam.ErrRejected, 403}, {context.DeadlineExceeded, 503}, {errors.New("disk on fire"), 500},
	} {
		t.Run(c.err.Error(), func(t *testing.T) {
			t.Parallel()
			m := newMemory()
			h := testHandler(t, m)
			m.fail = fmt.Errorf("select board for ann@example.org: %w", c.err)

			for _, p := range []string{"/", "/river/tamsen-bend", "/status", "/season", "/signup", paths()["prefs"],
				paths()["log"]} {
				w := get(h, p)
				if p == "/season" && c.want == http.StatusNotFound {
					require.Contains(t, w.Body.String(), "No season on record yet")
					continue
				}
				require.Equal(t, c.want, w.Code, p)
				require.NotContains(t, w.Body.String(), "ann@example.org", "an error's text stays in the log")
				require.NotContains(t, w.Body.String(), "disk on fire")
				if c.want == 503 {
					require.Equal(t, "60", w.Header().Get("Retry-After"))
					require.Contains(t, w.Body.String(), "this is not a go")
				}
			}
		})
	}
}

func TestLogNamesNoTokenOrAddress(t *testing.T) {
	t.Parallel()
	var out strings.Builder
	m := newMemory()
	cfg := testConfig(m)
	cfg.Log = slog.New(slog.NewTextHandler(&out, nil))
	h, err := New(cfg)
	require.NoError(t, err)
	m.fail = errors.New("broken")
	prefs := paths()["prefs"]
	require.Equal(t, 500, get(h, prefs).Code)
	require.Contains(t, out.String(), "/preferences/{token}")
	require.NotContains(t, out.String(), strings.TrimPrefix(prefs, "/preferences/"))
	require.NotContains(t, out.String(), "@")
}

type panics struct{ *memory }

func (panics) Status(context.Context) (Status, error) { panic("a slip") }

func TestPanicBecomesAPage(t *testing.T) {
	t.Parallel()
	cfg := testConfig(nil)
	cfg.Store = panics{newMemory()}
	h, err := New(cfg)
	require.NoError(t, err)
	w := get(h, "/status")
	require.Equal(t, 500, w.Code)
	require.Contains(t, w.Body.String(), "<h1>")
	require.NotContains(t, w.Body.String(), "slip")
}

func TestForeignFormsAreRefused(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	before := m.rows(t)

	for name, set := range map[string]func(*http.Request){
		"other site":   func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") },
		"other origin": func(r *http.Request) { r.Header.Set("Origin", "https://evil.example") },
	} {
		for _, p := range []string{"/signup", paths()["prefs"], paths()["log"], paths()["confirm"]} {
			r := httptest.NewRequest("POST", p, strings.NewReader("a=none"))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			set(r)
			w := httptest.NewRecorder()
			h.ServeHTTP(w, r)
			require.Equal(t, 403, w.Code, name+" "+p)
		}
	}

	require.Equal(t, before, m.rows(t))
}

func TestBodyLimit(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	before := m.rows(t)
	for _, p := range []string{"/signup", paths()["prefs"], paths()["log"]} {
		require.Equal(t, http.StatusRequestEntityTooLarge,
			post(h, p, url.Values{"note": {strings.Repeat("x", maxBody)}}).Code, p)
	}
	require.Equal(t, before, m.rows(t))
}

func TestMalformedForm(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	r := httptest.NewRequest("POST", "/signup", strings.NewReader("a=%zz"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	require.Equal(t, 400, w.Code)
}

func TestPageRate(t *testing.T) {
	t.Parallel()
	now := clock()
	cfg := testConfig(newMemory())
	cfg.Limits.PagesPerMinute = 10
	cfg.Now = func() time.Time { return now }

	h, err := New(cfg)
	require.NoError(t, err)
	ask := func(remote string) *httptest.ResponseRecorder {
		r := httptest.NewRequest("GET", "/how", nil)
		r.RemoteAddr = remote
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}

	for i := range 10 {
		require.Equal(t, 200, ask(fmt.Sprintf("192.0.2.%d:99", i)).Code, "one /24 counts as one client")
	}
	w := ask("192.0.2.200:1")
	require.Equal(t, 429, w.Code)
	require.NotEmpty(t, w.Header().Get("Retry-After"))
	require.Equal(t, 200, ask("198.51.100.1:1").Code)

	for _, p := range []string{paths()["unsubscribe"], readAsset("look.css").path, "/healthz"} {
		method := "GET"
		if strings.HasPrefix(p, "/unsubscribe/") {
			method = "POST"
		}
		r := httptest.NewRequest(method, p, nil)
		r.RemoteAddr = "192.0.2.200:1"
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		require.Equal(t, 200, w.Code, "%s is answered at any rate", p)
	}

	now = now.Add(61 * time.Second)
	require.Equal(t, 200, ask("192.0.2.200:1").Code)
}

func TestLimiterStaysSmall(t *testing.T) {
	t.Parallel()
	now := clock()
	l := newLimiter(func() time.Time { return now })
	for i := range 3 * maxKeys {
		l.take(fmt.Sprint(i), 1, time.Minute)
	}
	require.LessOrEqual(t, len(l.seen), maxKeys)
	_, ok := l.take("again", 1, time.Hour)
	require.True(t, ok)
	_, ok = l.take("again", 1, time.Hour)
	require.False(t, ok)
	now = now.Add(-48 * time.Hour) // a clock that was set back must not lock a client out
	_, ok = l.take("again", 1, time.Hour)
	require.True(t, ok)
}

func TestClientBehindProxies(t *testing.T) {
	t.Parallel()
	s := &site{Config: Config{TrustedProxies: []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"),
		netip.MustParsePrefix("10.0.0.0/8")}}}

	for _, c := range []struct{ name, remote, forwarded, want string }{
		{"direct", "203.0.113.9:1", "", "203.0.113.0/24"},
		{"header of a stranger", "203.0.113.9:1", "192.0.2.1", "203.0.113.0/24"},
		{"one proxy", "127.0.0.1:1", "192.0.2.77", "192.0.2.0/24"},
		{"forged front", "127.0.0.1:1", "8.8.8.8, 192.0.2.77", "192.0.2.0/24"},
		{"two proxies", "127.0.0.1:1", "192.0.2.77, 10.1.2.3", "192.0.2.0/24"},
		{"v6", "[2001:db8:1:2::9]:1", "", "2001:db8:1::/48"},
		{"v4 in v6", "[::ffff:203.0.113.9]:1", "", "203.0.113.0/24"},
		{"junk header", "127.0.0.1:1", "junk", "127.0.0.0/24"},
		{"no address", "pipe", "", "unknown"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := httptest.NewRequest("GET", "/", nil)
			r.RemoteAddr = c.remote
			if c.forwarded != "" {
				r.Header.Set("X-Forwarded-For", c.forwarded)
			}
			require.Equal(t, c.want, s.client(r))
		})
	}
}

// TestLocalProxyByDefault: behind a proxy on the same machine readers are told
// apart without any setting; with an empty list nobody's header counts.
func TestLocalProxyByDefault(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name    string
		proxies []netip.Prefix
		want    int
	}{{"default", nil, 200}, {"nobody", []netip.Prefix{}, 429}} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			cfg := testConfig(newMemory())
			cfg.TrustedProxies, cfg.Limits.PagesPerMinute = c.proxies, 3
			h, err := New(cfg)
			require.NoError(t, err)

			last := 0
			for i := range 6 {
				r := httptest.NewRequest("GET", "/how", nil)
				r.RemoteAddr = "127.0.0.1:4"
				r.Header.Set("X-Forwarded-For", fmt.Sprintf("203.0.%d.1", i))
				w := httptest.NewRecorder()
				h.ServeHTTP(w, r)
				last = w.Code
			}

			require.Equal(t, c.want, last)
		})
	}
}

func TestHostHeaderTakesNoPart(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	for name, p := range paths() {
		r := httptest.NewRequest("GET", p, nil)
		r.Host = "evil.example"
		r.Header.Set("X-Forwarded-Host", "evil.example")
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		require.NotContains(t, w.Body.String(), "evil.example", name)
		require.Empty(t, w.Header().Get("Location"), name)
	}
}

func TestHealth(t *testing.T) {
	t.Parallel()
	cfg := testConfig(newMemory())
	cfg.Ready = func(context.Context) error { return errors.New("database: connection refused") }
	h, err := New(cfg)
	require.NoError(t, err)

	ask := func(path, remote, fwd string) *httptest.ResponseRecorder {
		r := httptest.NewRequest("GET", path, nil)
		r.RemoteAddr = remote
		if fwd != "" {
			r.Header.Set("X-Forwarded-For", fwd)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w
	}
	require.Equal(t, 200, ask("/livez", "192.0.2.1:1", "").Code)
	require.Equal(t, 200, ask("/healthz", "192.0.2.1:1", "").Code)

	w := ask("/readyz", "192.0.2.1:1", "")
	require.Equal(t, 503, w.Code)
	require.NotContains(t, w.Body.String(), "database")
	require.Contains(t, ask("/readyz", "127.0.0.1:1", "").Body.String(), "connection refused")
	require.NotContains(t, ask("/readyz", "127.0.0.1:1", "192.0.2.1").Body.String(), "refused",
		"behind a proxy the reader is not local")
}

func TestServerTimeouts(t *testing.T) {
	t.Parallel()
	s := Server("127.0.0.1:0", http.NotFoundHandler())
	require.Equal(t, []time.Duration{5 * time.Second, 10 * time.Second, 30 * time.Second, 60 * time.Second},
		[]time.Duration{s.ReadHeaderTimeout, s.ReadTimeout, s.WriteTimeout, s.IdleTimeout})
}

func TestOtherMethods(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	before := m.rows(t)
	for name, p := range paths() {
		for _, method := range []string{"PUT", "DELETE", "PATCH", "TRACE"} {
			w := httptest.NewRecorder()
			h.ServeHTTP(w, httptest.NewRequest(method, p, nil))
			require.GreaterOrEqual(t, w.Code, 400, name+method)
		}
	}
	require.Equal(t, before, m.rows(t))
}

func TestTokensKeepTheirPurpose(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	before := m.rows(t)
	tok := testLinks().Tokens

	pages := map[notify.Purpose]string{notify.ForConfirm: "/confirm/", notify.ForPrefs: "/preferences/",
		notify.ForUnsubscribe: "/unsubscribe/", notify.ForLog: "/log/", notify.ForCalendar: "/calendar/"}
	for p := range pages {
		token := tok.Sign(notify.Claim{Purpose: p, Subscriber: 7, Extra: notify.LogExtra("tamsen-bend",
			coldseam.Date{Year: 2027, Month: 4, Day: 10})})
		for q, path := range pages {
			if p == q {
				require.Equal(t, 200, get(h, path+token).Code)
				continue
			}
			require.Equal(t, 404, get(h, path+token).Code)
			require.NotEqual(t, 200, post(h, path+token, url.Values{}).Code)
		}
	}

	require.Equal(t, before, m.rows(t))
	old := notify.Tokens{List: tok.List, Current: tok.Previous}
	require.Equal(t, 200, get(h, "/preferences/"+old.Sign(notify.Claim{Purpose: notify.ForPrefs, Subscriber: 7})).Code,
		"the previous key still opens")
	other := notify.Tokens{List: "other", Current: tok.Current}
	require.Equal(t, 404, get(h, "/preferences/"+
		other.Sign(notify.Claim{Purpose: notify.ForPrefs, Subscriber: 7})).Code, "another list's does not")
}

func TestExpiredLinks(t *testing.T) {
	t.Parallel()
	m := newMemory()
	cfg := testConfig(m)
	now := clock()
	cfg.Now = func() time.Time { return now }
	h, err := New(cfg)
	require.NoError(t, err)
	log, confirm, leave := paths()["log"], paths()["confirm"], paths()["unsubscribe"]
	now = clock().Add(72*time.Hour + time.Second)

	w := get(h, log)
	require.Equal(t, 410, w.Code)
	require.Contains(t, w.Body.String(), "run out")
	require.Equal(t, 410, post(h, log, url.Values{"a": {"none"}, "hours": {"3"}}).Code)
	require.Empty(t, m.trips)
	now = clock().Add(8 * 24 * time.Hour)
	require.Equal(t, 410, post(h, confirm, nil).Code)
	now = clock().AddDate(10, 0, 0)
	require.Equal(t, 200, post(h, leave, nil).Code, "unsubscribe never expires")
}
