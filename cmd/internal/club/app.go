// Package club runs a club: every minute a tick looks at what is due, jobs
// fetch, forecast and mail, and pages and metrics show it.
package club

import (
	"context"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
	"example.org/coldseam/cmd/internal/recap"
	"example.org/coldseam/ingest"
)

// App is the wired program.
type App struct {
	*parts.Parts
	Metrics *metrics
	recaps  recap.Cache
}

// New wires the parts together and measures them.
func New(ctx context.Context, cfg config.Config, o env.Options) (*App, error) {
	p, err := parts.Open(ctx, cfg, o)
	if err != nil {
		return nil, err
	}
	a := &App{Parts: p, Metrics: NewMetrics()}
	a.Observe = func(feed string, r ingest.Result, err error) { a.Metrics.fetched(feed, r, err) }
	return a, nil
}
