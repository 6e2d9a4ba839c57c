package club

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"example.org/coldseam/cmd/internal/config"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/parts"
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
	p, err := parts.Open(ctx, cfg, env.Options{Log: log, Migrate: true, Alone: true})
	if err != nil {
		return err
	}
	defer p.Close()

	if err := p.Env.SyncRivers(ctx); err != nil {
		return err
	}
	a := New(p)
	if err := a.Start(ctx); err != nil {
		return err
	}

	log.Info("serving", "listen", a.Addr())
	<-ctx.Done()
	a.Stop()
	return nil
}

// Stop ends the parts in reverse order of their start; a second call does
// nothing.
func (a *App) Stop() {
	a.once.Do(func() {
		for i := len(a.stops) - 1; i >= 0; i-- {
			a.stops[i]()
		}
	})
}

// softStop is how long jobs may finish; shorter than the service manager's
// limit.
const softStop = 75 * time.Second

// Start starts pages, metrics, bounce reports, queue and tick. What it started
// stops again when a later part does not start.
func (a *App) Start(ctx context.Context) error {
	err := a.start(ctx)
	if err != nil {
		a.Stop()
	}
	return err
}

func (a *App) start(ctx context.Context) error {
	cfg := a.env.Config
	h, err := a.handler()
	if err != nil {
		return err
	}
	if a.addr, err = a.listen(cfg.Listen, h); err != nil {
		return err
	}

	if cfg.MetricsAddr != "" {
		mux := http.NewServeMux()
		mux.Handle("GET /metrics", a.MetricsHandler())
		if _, err := a.listen(cfg.MetricsAddr, mux); err != nil {
			return err
		}
	}

	if cfg.Mail.LMTP != "" {
		_, stop, err := a.mail.StartInbox(ctx)
		if err != nil {
			return err
		}
		a.stops = append(a.stops, stop)
	}

	if err := a.startQueue(ctx); err != nil {
		return err
	}
	a.stops = append(a.stops, a.feeds.LearnPrimaries(ctx), a.startCron(ctx), a.FirstSkill(ctx))
	return nil
}

// handler serves the pages.
func (a *App) handler() (http.Handler, error) {
	proxies, err := a.env.Config.TrustedProxies()
	if err != nil {
		return nil, err
	}
	return web.New(web.Config{
		Store:          a.Pages(),
		Links:          a.mail.Links,
		Club:           a.env.Config.Club.Name,
		Cost:           a.env.Table.Cost,
		Margin:         a.env.Table.Margin,
		Now:            a.env.Now,
		Log:            a.env.Log,
		Ready:          a.mail.Ready,
		Healthy:        a.mail.Healthy,
		TrustedProxies: proxies,
	})
}

// startQueue lets this server work on jobs.
func (a *App) startQueue(ctx context.Context) error {
	queue, err := a.env.DB.NewQueue(a.Workers(), store.QueueOptions{Mail: a.env.Config.Mail.Workers})
	if err != nil {
		return err
	}
	if err := queue.Start(context.WithoutCancel(ctx)); err != nil {
		return fmt.Errorf("queue: %w", err)
	}

	a.stops = append(a.stops, func() {
		close(a.closing)
		sctx, cancel := context.WithTimeout(context.Background(), softStop)
		defer cancel()
		if err := queue.Stop(sctx); err != nil {
			_ = queue.StopAndCancel(context.Background())
		}
	})
	return nil
}

// FirstSkill shows the skill of issued forecasts once the service is up.
func (a *App) FirstSkill(ctx context.Context) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := a.showSkill(ctx); err != nil && ctx.Err() == nil {
			a.env.Log.Warn("forecast skill", "err", err)
		}
	}()
	return func() { cancel(); <-done }
}

// listen serves h on addr until Stop.
func (a *App) listen(addr string, h http.Handler) (string, error) {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return "", fmt.Errorf("listen %s: %w", addr, err)
	}

	srv := web.Server(addr, h)
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := srv.Serve(l); err != nil && !errors.Is(err, http.ErrServerClosed) {
			a.env.Log.Error("pages", "err", err)
		}
	}()

	a.stops = append(a.stops, func() {
		sctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		_ = srv.Shutdown(sctx)
		<-done
	})
	return l.Addr().String(), nil
}
