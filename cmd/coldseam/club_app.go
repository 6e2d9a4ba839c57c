package main

import (
	"context"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/ingest"
)

// app is the wired program.
type app struct {
	*Parts
	metrics *metrics
	recaps  recapCache
}

// build wires the parts together and measures them.
func build(ctx context.Context, cfg config.Config, o env.Options) (*app, error) {
	p, err := openParts(ctx, cfg, o)
	if err != nil {
		return nil, err
	}
	a := &app{Parts: p, metrics: newMetrics()}
	a.observe = func(feed string, r ingest.Result, err error) { a.metrics.fetched(feed, r, err) }
	return a, nil
}
