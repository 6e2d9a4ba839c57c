package main

import (
	"context"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
)

// Parts are the parts of the program, wired for one command or for the service.
type Parts struct {
	*env.Env
	*Feeds
	*Mailer
	*Maker
	*Book
}

// openParts opens the database and wires the parts together.
func openParts(ctx context.Context, cfg config.Config, o env.Options) (*Parts, error) {
	e, err := env.Open(ctx, cfg, o)
	if err != nil {
		return nil, err
	}
	p, err := wire(ctx, e, o)
	if err != nil {
		e.Close()
	}
	return p, err
}

func wire(ctx context.Context, e *env.Env, o env.Options) (*Parts, error) {
	mail, err := newMailer(ctx, e, o)
	if err != nil {
		return nil, err
	}
	maker, err := newMaker(e, mail)
	if err != nil {
		return nil, err
	}
	p := &Parts{Env: e, Feeds: newFeeds(e), Mailer: mail, Maker: maker, Book: &Book{e}}
	maker.profile = p.fetcher.Profile
	return p, nil
}

// Close ends everything that openParts started, in reverse order.
func (p *Parts) Close() {
	p.fetcher.Close()
	p.Env.Close()
}

// partsFor reads the configuration and wires the parts for one command.
func partsFor(ctx context.Context, s *env.Streams, g *env.Globals, o env.Options) (*Parts, error) {
	cfg, err := env.Read(s, g, &o)
	if err != nil {
		return nil, err
	}
	return openParts(ctx, cfg, o)
}

// withParts runs f with the parts wired.
func withParts(ctx context.Context, s *env.Streams, g *env.Globals, f func(a *Parts) error) error {
	a, err := partsFor(ctx, s, g, env.Options{Migrate: true})
	if err != nil {
		return err
	}
	defer a.Close()
	return f(a)
}
