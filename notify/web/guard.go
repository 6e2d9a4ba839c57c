package web

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// contentPolicy lets a page load our style sheet and images and send forms to
// us, and nothing else: no script runs, whatever a feed or a form brings.
const contentPolicy = "default-src 'none'; img-src 'self'; style-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// cardPolicy lets the trip card alone run the only script there is, which keeps
// the card and asks for the newest word.
const cardPolicy = contentPolicy + "; script-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'"

// guard wraps all pages: headers, rate, size of body, foreign origins.
func (s *site) guard(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	// One-click unsubscribe is authorised by its token alone (RFC 8058): mail
	// services post it from wherever they are.
	cross.AddInsecureBypassPattern("POST /unsubscribe/{token}")
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, "cross-origin", fmt.Errorf("form sent from another site: %w", coldseam.ErrRejected))
	}))
	inner := pack(ownOrigin(cross.Handler(http.MaxBytesHandler(next, maxBody))))

	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "geolocation=(), camera=(), microphone=()")
		h.Set("Cache-Control", "no-cache")

		if strings.HasPrefix(s.Links.PublicURL, "https://") {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		if wait, ok := s.clients.take("page "+s.client(r), s.Limits.PagesPerMinute, time.Minute); !ok && !s.always(r) {
			s.busy(w, r, wait)
			return
		}
		inner.ServeHTTP(w, r)
	})
}

// always names what is answered at any rate: leaving the list, which mail
// services post for many people from few addresses; the style sheet; the
// probes.
func (s *site) always(r *http.Request) bool {
	p := r.URL.Path
	return r.Method == http.MethodPost && strings.HasPrefix(p, notify.PathUnsubscribe) || p == s.style.path ||
		p == "/livez" || p == "/readyz" || p == "/healthz"
}

// ownOrigin drops "Origin: null" where the browser sends no Sec-Fetch-Site: on
// plain http and in older browsers our own no-referrer policy makes our own
// forms say so. A foreign page can say it too, but gains nothing: there are no
// cookies, a form is authorised by the signed link in its address, and sign-up
// is open to everyone within its limits.
func ownOrigin(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Origin") == "null" && r.Header.Get("Sec-Fetch-Site") == "" {
			r.Header.Del("Origin")
		}
		next.ServeHTTP(w, r)
	})
}

// busy answers a client that asks too often.
func (s *site) busy(w http.ResponseWriter, r *http.Request, wait time.Duration) {
	w.Header().Set("Retry-After", fmt.Sprint(max(int(wait.Seconds()), 1)))
	s.message(w, r, http.StatusTooManyRequests, "Too many requests", "Wait a little and try again.")
}

// handle runs one page: panics and errors become pages, and the log gets the
// pattern, never the path, which may hold a token.
func (s *site) handle(pattern string, h func(http.ResponseWriter, *http.Request) error) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		defer func() {
			if v := recover(); v != nil {
				if v == http.ErrAbortHandler { //nolint:errorlint // the sentinel of net/http itself
					panic(v)
				}
				s.Log.Error("page panicked", "page", pattern, "err", fmt.Sprint(v), "stack", string(debug.Stack()))
				s.message(w, r, http.StatusInternalServerError, "Something broke on our side",
					"The club's admin has been told.")
			}
		}()
		if err := h(w, r); err != nil {
			s.fail(w, r, pattern, err)
		}
	})
}

// statusOf maps the error classes to what the client is told.
func statusOf(err error) (code int, title, text string) {
	var big *http.MaxBytesError
	switch {
	case errors.As(err, &big):
		return http.StatusRequestEntityTooLarge, "That form is too large", "Shorten the note and send it again."
	case errors.Is(err, coldseam.ErrNotFound):
		return http.StatusNotFound, "No such page", "The link may be old, or a letter of it was lost on the way."
	case errors.Is(err, coldseam.ErrStale):
		return http.StatusGone, "This link has run out", "Every morning mail carries fresh ones."
	case errors.Is(err, coldseam.ErrInvalid):
		return http.StatusBadRequest, "We could not read that", "Go back, check the form and send it again."
	case errors.Is(err, coldseam.ErrRejected):
		return http.StatusForbidden, "Not allowed from there", "Open the page itself and send the form from it."
	case errors.Is(err, coldseam.ErrUnavailable), errors.Is(err, context.DeadlineExceeded):
		return http.StatusServiceUnavailable, "Not reachable just now",
			"Nothing was lost. Try again in a minute. Until you have read today's call, this is not a go."
	}
	return http.StatusInternalServerError, "Something broke on our side", "The club's admin has been told."
}

// fail writes the page of an error and logs what is ours.
func (s *site) fail(w http.ResponseWriter, r *http.Request, pattern string, err error) {
	if errors.Is(err, context.Canceled) && r.Context().Err() != nil {
		return // the reader left
	}
	code, title, text := statusOf(err)
	if code >= 500 {
		s.Log.Error("page failed", "page", pattern, "code", code, "err", err.Error())
	}
	if code == http.StatusServiceUnavailable {
		w.Header().Set("Retry-After", "60")
	}
	s.message(w, r, code, title, text)
}

// client is the address prefix that rates are counted by: /24 of IPv4, /48 of
// IPv6. Behind a configured proxy it is the last foreign address of
// X-Forwarded-For.
func (s *site) client(r *http.Request) string {
	ip := peer(r)
	if s.trusted(ip) {
		hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
		for i := len(hops) - 1; i >= 0; i-- {
			a, err := netip.ParseAddr(strings.TrimSpace(hops[i]))
			if err != nil {
				break
			}
			if ip = a.Unmap(); !s.trusted(ip) {
				break
			}
		}
	}

	if !ip.IsValid() {
		return "unknown"
	}
	bits := 48
	if ip.Is4() {
		bits = 24
	}
	p, err := ip.Prefix(bits)
	if err != nil { // no address has fewer bits
		return ip.String()
	}

	return p.String()
}

func peer(r *http.Request) netip.Addr {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	a, err := netip.ParseAddr(host)
	if err != nil {
		return netip.Addr{}
	}
	return a.WithZone("").Unmap()
}

func (s *site) trusted(a netip.Addr) bool {
	for _, p := range s.TrustedProxies {
		if p.Contains(a) {
			return true
		}
	}
	return false
}

// health answers a probe: 200 ok or 503. The reason is for loopback only.
func (s *site) health(f func(context.Context) error) func(http.ResponseWriter, *http.Request) error {
	return func(w http.ResponseWriter, r *http.Request) error {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		w.Header().Set("Cache-Control", "no-store")
		var err error
		if f != nil {
			err = f(r.Context())
		}
		if err == nil {
			_, err := w.Write([]byte("ok\n"))
			return err
		}

		w.WriteHeader(http.StatusServiceUnavailable)
		text := "not ok\n"
		if peer(r).IsLoopback() && r.Header.Get("X-Forwarded-For") == "" {
			text = "not ok: " + err.Error() + "\n"
		}
		_, werr := w.Write([]byte(text))
		return werr
	}
}

func robots(w http.ResponseWriter, _ *http.Request) error {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	_, err := w.Write([]byte("User-agent: *\nDisallow: /confirm/\nDisallow: /preferences/\nDisallow: /unsubscribe/\nDisallow: /log/\nDisallow: /bank/\nDisallow: /calendar/\n"))
	return err
}
