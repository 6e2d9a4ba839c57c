// Package web serves the pages that subscribers see: the board, a page for each
// river, sign-up, preferences, trip log, season and calendars.
//
// Everything is rendered on the server, works without scripts or cookies, and a
// GET never changes anything: mail scanners fetch every link. What a reader may
// do follows from a signed link alone. URLs are written from the configured
// public URL; the Host header takes no part.
package web

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"net/netip"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// Store is what the pages read and write. Errors carry the root classes:
// ErrNotFound, ErrInvalid, ErrUnavailable; anything else reads as a fault of
// ours.
type Store interface {
	Reader
	People
}

// Reader is the public side.
type Reader interface {
	// Board returns the newest brief of each reach that has one, any order,
	// with its chart data.
	Board(ctx context.Context) ([]coldseam.Brief, error)
	// Reaches returns the reaches that the club fishes, in the club's order.
	Reaches(ctx context.Context) ([]coldseam.Reach, error)
	// Scorecard returns what was said and what came on one reach.
	Scorecard(ctx context.Context, reach coldseam.ReachID) (Scorecard, error)
	// Season returns the yearbook of a year; 0 is the newest with a trip or a
	// brief. ErrNotFound without one.
	Season(ctx context.Context, year int) (Season, error)
	// PastSeasons returns the seasons replayed when a reach was set up; none is
	// no error.
	PastSeasons(ctx context.Context, reach coldseam.ReachID) ([]coldseam.Replay, error)
	// BankWords are what members saw of a reach in the last day, newest first.
	BankWords(ctx context.Context, reach coldseam.ReachID) ([]coldseam.BankWord, error)
	// RigTable is the table by which the trip card weighs a float timing, as JSON;
	// nil = there is none for the brief.
	RigTable(ctx context.Context, b coldseam.Brief) (json.RawMessage, error)
	// Status returns the state of feeds and mail, without persons.
	Status(ctx context.Context) (Status, error)
}

// People is the side of one subscriber, reached by a signed link only.
type People interface {
	// SignUp takes note of a request and queues a confirm mail when the address
	// may get one: not confirmed, not suppressed, at most 1 a day and 3 ever
	// while unconfirmed, 100 an hour over all processes. It does about the same
	// work and returns the same nil for every well-formed address.
	SignUp(ctx context.Context, email string, p coldseam.Preferences, at time.Time) error
	// Confirm turns a pending subscriber into a confirmed one and queues the
	// welcome mail; a second call changes nothing.
	Confirm(ctx context.Context, sub int64, at time.Time) error
	// Subscriber returns one by id; ErrNotFound when forgotten.
	Subscriber(ctx context.Context, sub int64) (coldseam.Subscriber, error)
	// SavePreferences replaces them.
	SavePreferences(ctx context.Context, sub int64, p coldseam.Preferences, at time.Time) error
	// Unsubscribe stops all mail at once; again is not an error, and neither is
	// an unknown subscriber.
	Unsubscribe(ctx context.Context, sub int64, at time.Time) error
	// Data is all that is kept of a subscriber, as JSON.
	Data(ctx context.Context, sub int64) ([]byte, error)
	// Forget erases the person; trips stay, of nobody.
	Forget(ctx context.Context, sub int64) error
	// Trip returns what the subscriber logged for the reach and day; ErrNotFound
	// before.
	Trip(ctx context.Context, sub int64, reach coldseam.ReachID, day coldseam.Date) (coldseam.Trip, error)
	// SaveTrip records or replaces the trip of its subscriber, reach and date. An
	// entry whose key came before changes nothing, here and below.
	SaveTrip(ctx context.Context, t coldseam.Trip) error
	// SaveBankWord keeps what a member saw; a danger closes the reach. ErrRejected:
	// more than one member may say in a day.
	SaveBankWord(ctx context.Context, w coldseam.BankWord) error
	// SaveTiming keeps a float timing; ErrRejected as above.
	SaveTiming(ctx context.Context, t coldseam.FloatTiming) error
}

// Limits are the rates that a client address may reach. Zero fields take the
// defaults.
type Limits struct {
	PagesPerMinute int // a client prefix; default 1200: before dawn a whole carrier comes from one
	SignUpsPerHour int // a client prefix; default 5
	SignUpsAllHour int // over all clients of this process; default 100
}

func (l Limits) withDefaults() Limits {
	def := func(v *int, d int) {
		if *v <= 0 {
			*v = d
		}
	}
	def(&l.PagesPerMinute, 1200)
	def(&l.SignUpsPerHour, 5)
	def(&l.SignUpsAllHour, 100)
	return l
}

// Config is all that the pages need.
type Config struct {
	Store Store
	Links notify.Links // public URL and token keys
	Club  string       // "Tamsen Valley Walleye Club"
	// Cost and Margin make the club's line, see coldseam.LineOf; zero is the
	// default.
	Cost, Margin float64
	Now          func() time.Time
	Log          *slog.Logger
	Limits       Limits
	// TrustedProxies are the peers whose X-Forwarded-For is believed. nil is the
	// loopback, where a proxy on the same machine comes from; empty is nobody.
	TrustedProxies []netip.Prefix
	// SignUpFloor is the time that every answer to a sign-up takes at least, so
	// that known and unknown addresses look alike; default 300 ms, negative none.
	SignUpFloor time.Duration
	// Live, Ready and Healthy answer /livez, /readyz and /healthz; nil is well.
	// Their error text is printed only to loopback clients.
	Live, Ready, Healthy func(context.Context) error
}

// maxBody is the largest form that is read.
const maxBody = 8 << 10

// site is the handler's state.
type site struct {
	Config
	tmpl    pages
	style   asset
	script  asset // of the trip card
	worker  asset
	icon    asset
	clients *limiter
	foot    footCache
}

// New builds the handler. ErrInvalid for a configuration that cannot serve.
func New(c Config) (http.Handler, error) {
	switch {
	case c.Store == nil:
		return nil, fmt.Errorf("web: no store: %w", coldseam.ErrInvalid)
	case c.Now == nil || c.Log == nil:
		return nil, fmt.Errorf("web: no clock or logger: %w", coldseam.ErrInvalid)
	}

	if err := c.Links.Check(); err != nil {
		return nil, fmt.Errorf("web: %w", err)
	}
	if c.Club == "" {
		c.Club = "The club"
	}
	c.Cost, c.Margin = cmp.Or(c.Cost, coldseam.DefaultCost), cmp.Or(c.Margin, coldseam.DefaultMargin)

	if c.SignUpFloor == 0 {
		c.SignUpFloor = 300 * time.Millisecond
	}
	if c.TrustedProxies == nil {
		c.TrustedProxies = []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("::1/128")}
	}
	c.Limits = c.Limits.withDefaults()
	s := &site{Config: c, tmpl: parsePages(), style: readAsset("look.css"), script: readAsset("static/card.js"),
		worker: readAsset("static/sw.js"), icon: readAsset("static/icon.svg"), clients: newLimiter(c.Now)}
	return s.guard(s.routes()), nil
}

// routes is the table of pages. Paths are those that the mails link to.
func (s *site) routes() http.Handler {
	m := http.NewServeMux()
	page := func(pattern string, h func(http.ResponseWriter, *http.Request) error) {
		m.Handle(pattern, s.handle(pattern, h))
	}
	page("GET /{$}", s.board)
	page("GET /river/{reach}", s.river)
	page("GET /river/{reach}/calendar.ics", s.reachCalendar)
	page("GET /river/{reach}/card", s.card)
	page("GET /river/{reach}/card.json", s.cardData)
	page("GET /river/{reach}/card.webmanifest", s.cardManifest)
	page("GET /river/{reach}/sw.js", s.cardWorker)
	page("GET /calendar/{token}", s.ownCalendar)
	page("GET /how", s.how)

	page("GET /status", s.status)
	page("GET /season", s.season)
	page("GET /season/{year}", s.season)
	page("GET /signup", s.signUpForm)
	page("POST /signup", s.signUp)
	page("GET /confirm/{token}", s.confirmForm)
	page("POST /confirm/{token}", s.confirm)
	page("GET /preferences/{token}", s.prefsForm)
	page("POST /preferences/{token}", s.savePrefs)

	page("GET /preferences/{token}/data.json", s.ownData)
	page("GET /preferences/{token}/erase", s.eraseForm)
	page("POST /preferences/{token}/erase", s.erase)
	page("GET /unsubscribe/{token}", s.unsubscribeForm)
	page("POST /unsubscribe/{token}", s.unsubscribe)
	page("GET /log/{token}", s.logForm)
	page("POST /log/{token}", s.saveLog)
	page("GET /bank/{token}", s.bankForm)
	page("POST /bank/{token}", s.saveBank)
	page("POST /float/{token}", s.saveFloat)
	for _, a := range []asset{s.style, s.script, s.icon} {
		page("GET "+a.path, a.serve)
	}
	page("GET /robots.txt", robots)
	page("GET /livez", s.health(s.Live))
	page("GET /readyz", s.health(s.Ready))
	page("GET /healthz", s.health(s.Healthy))
	page("/", func(http.ResponseWriter, *http.Request) error {
		return fmt.Errorf("no such page: %w", coldseam.ErrNotFound)
	})
	return m
}

// Server returns an http.Server for h with the timeouts that slow clients are
// cut off by: header 5 s, body 10 s, answer 30 s, idle 60 s, 64 KB of header.
func Server(addr string, h http.Handler) *http.Server {
	return &http.Server{Addr: addr, Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second,
		WriteTimeout: 30 * time.Second, IdleTimeout: 60 * time.Second, MaxHeaderBytes: 64 << 10}
}
