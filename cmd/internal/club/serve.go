package club

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/notify/web"
	"example.org/coldseam/store"
)

// Serve runs the service: tick, jobs, pages, metrics.
type Serve struct{}

// Run serves until the context ends, then stops softly: no new job, the mail
// in transmission finishes.
func (c *Serve) Run(ctx context.Context, s *env.Streams, g *env.Globals) error {
	cfg, err := config.Load(g.Config)
	if err != nil {
		return env.Fail(2, err.Error())
	}
	log := env.NewLogger(s.Err, slog.LevelInfo)
	a, err := New(ctx, cfg, env.Options{Log: log, Migrate: true, Alone: true})
	if err != nil {
		return err
	}
	defer a.Close()

	if err := a.SyncRivers(ctx); err != nil {
		return err
	}
	srv, err := a.Start(ctx)
	if err != nil {
		return err
	}

	log.Info("serving", "listen", srv.Addr)
	<-ctx.Done()
	srv.Stop()
	return nil
}

// Running are the running parts of a server.
type Running struct {
	Addr  string
	lmtp  string // where reports arrive, "" = nowhere
	stops []func()
	once  sync.Once
}

// Stop ends the parts in reverse order of their start; a second call does
// nothing.
func (s *Running) Stop() {
	s.once.Do(func() {
		for i := len(s.stops) - 1; i >= 0; i-- {
			s.stops[i]()
		}
	})
}

// softStop is how long jobs may finish; shorter than the service manager's
// limit.
const softStop = 75 * time.Second

// Start starts queue, pages, metrics and tick.
func (a *App) Start(ctx context.Context) (*Running, error) {
	out := &Running{}
	fail := func(err error) (*Running, error) {
		out.Stop()
		return nil, err
	}
	proxies, err := a.Config.TrustedProxies()
	if err != nil {
		return fail(err)
	}

	h, err := web.New(web.Config{
		Store:          Pages{a},
		Links:          a.Links,
		Club:           a.Config.Club.Name,
		Cost:           a.Table.Cost,
		Margin:         a.Table.Margin,
		Now:            a.Now,
		Log:            a.Log,
		Ready:          a.Ready,
		Healthy:        a.Healthy,
		TrustedProxies: proxies,
	})
	if err != nil {
		return fail(err)
	}
	if out.Addr, err = out.listen(a, a.Config.Listen, h); err != nil {
		return fail(err)
	}

	if a.Config.MetricsAddr != "" {
		mux := http.NewServeMux()
		mux.Handle("GET /metrics", a.MetricsHandler())
		if _, err := out.listen(a, a.Config.MetricsAddr, mux); err != nil {
			return fail(err)
		}
	}

	if a.Config.Mail.LMTP != "" {
		addr, stop, err := a.StartInbox(ctx)
		if err != nil {
			return fail(err)
		}
		out.lmtp, out.stops = addr, append(out.stops, stop)
	}

	queue, err := a.DB.NewQueue(a.Workers(), store.QueueOptions{Mail: a.Config.Mail.Workers})
	if err != nil {
		return fail(err)
	}
	if err := queue.Start(context.WithoutCancel(ctx)); err != nil {
		return fail(fmt.Errorf("queue: %w", err))
	}

	out.stops = append(out.stops, func() {
		sctx, cancel := context.WithTimeout(context.Background(), softStop)
		defer cancel()
		if err := queue.Stop(sctx); err != nil {
			_ = queue.StopAndCancel(context.Background())
		}
	})
	out.stops = append(out.stops, a.LearnPrimaries(ctx), a.startCron(ctx), a.FirstSkill(ctx))
	return out, nil
}

// FirstSkill shows the skill of issued forecasts once the service is up.
func (a *App) FirstSkill(ctx context.Context) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := a.showSkill(ctx); err != nil && ctx.Err() == nil {
			a.Log.Warn("forecast skill", "err", err)
		}
	}()
	return func() { cancel(); <-done }
}

// listen serves h on addr until the services stop.
func (s *Running) listen(a *App, addr string, h http.Handler) (string, error) {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return "", fmt.Errorf("listen %s: %w", addr, err)
	}

	srv := web.Server(addr, h)
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := srv.Serve(l); err != nil && !errors.Is(err, http.ErrServerClosed) {
			a.Log.Error("pages", "err", err)
		}
	}()

	s.stops = append(s.stops, func() {
		sctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		_ = srv.Shutdown(sctx)
		<-done
	})
	return l.Addr().String(), nil
}
