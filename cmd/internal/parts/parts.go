// Package parts wires the parts of the program in their order, for one
// command or for the service.
package parts

import (
	"context"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/feeds"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/recap"
)

// Parts are the parts of the program, wired for one command or for the service.
type Parts struct {
	Env     *env.Env
	Feeds   *feeds.Feeds
	Mail    *mailing.Mailer
	Morning *morning.Maker
	Recap   *recap.Season
}

// Open opens the database and wires the parts together.
func Open(ctx context.Context, cfg config.Config, o env.Options) (*Parts, error) {
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
	mail, err := mailing.New(ctx, e, o)
	if err != nil {
		return nil, err
	}
	maker, err := morning.New(e, mail)
	if err != nil {
		return nil, err
	}
	p := &Parts{Env: e, Feeds: feeds.New(e), Mail: mail, Morning: maker, Recap: recap.NewSeason(e)}
	maker.Profile = p.Feeds.Fetcher.Profile
	return p, nil
}

// Close ends everything that Open started, in reverse order.
func (p *Parts) Close() {
	p.Feeds.Fetcher.Close()
	p.Env.Close()
}

// For reads the configuration and wires the parts for one command.
func For(ctx context.Context, s *env.Streams, g *env.Globals, o env.Options) (*Parts, error) {
	cfg, err := env.Read(s, g, &o)
	if err != nil {
		return nil, err
	}
	return Open(ctx, cfg, o)
}

// With runs f with the parts wired.
func With(ctx context.Context, s *env.Streams, g *env.Globals, f func(a *Parts) error) error {
	a, err := For(ctx, s, g, env.Options{Migrate: true})
	if err != nil {
		return err
	}
	defer a.Close()
	return f(a)
}

// WithRivers runs f with the parts wired and the rivers of the file stored.
func WithRivers(ctx context.Context, s *env.Streams, g *env.Globals, f func(a *Parts) error) error {
	return With(ctx, s, g, func(a *Parts) error {
		if err := a.Env.SyncRivers(ctx); err != nil {
			return err
		}
		return f(a)
	})
}
