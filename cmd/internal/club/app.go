// Package club runs a club: every minute a tick looks at what is due, jobs
// fetch, forecast and mail, and pages and metrics show it.
package club

import (
	"sync"

	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/cmd/internal/recap"
	"example.org/coldseam/ingest"
)

// App is one server of a club: Start runs tick, jobs, pages and metrics until
// Stop.
type App struct {
	env     *env.Env
	feeds   *feeds.Feeds
	mail    *mailing.Mailer
	morning *morning.Maker
	recap   *recap.Season
	metrics *metrics

	addr    string
	closing chan struct{} // closed when the queue begins to stop
	stops   []func()
	once    sync.Once
}

// New makes a server of the parts, whose fetches it counts. Who opened the
// parts closes them, after Stop.
func New(p *parts.Parts) *App {
	a := &App{
		env:     p.Env,
		feeds:   p.Feeds,
		mail:    p.Mail,
		morning: p.Morning,
		recap:   p.Recap,
		metrics: newMetrics(),
		closing: make(chan struct{}),
	}
	a.feeds.Observe = func(feed string, r ingest.Result, err error) { a.metrics.fetched(feed, r, err) }
	return a
}

// Addr is where the pages are served after Start: host and port.
func (a *App) Addr() string { return a.addr }
