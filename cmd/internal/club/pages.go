package club

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/mailing"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/cmd/internal/recap"
	"example.org/coldseam/forecast"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/strip"
	"example.org/coldseam/notify/web"
)

// pages is what the web server reads and writes: the store, seen with the
// program's clock and configuration.
type pages struct {
	env     *env.Env
	mail    *mailing.Mailer
	morning *morning.Maker
	recap   *recap.Season
	seasons recap.Cache
	mu      sync.Mutex // one table is computed at a time: all cards ask at once
	tables  map[coldseam.ReachID]rigTable
}

// rigTable is the table of one brief; it takes a third of a second to make.
type rigTable struct {
	brief int64
	json  json.RawMessage
}

// RigTable is the table by which the trip card weighs a float timing.
func (p *pages) RigTable(_ context.Context, b coldseam.Brief) (json.RawMessage, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if had, ok := p.tables[b.Reach]; ok && had.brief == b.ID && b.ID != 0 {
		return had.json, nil
	}
	t, err := forecast.RigTable(b)
	if err != nil {
		return nil, err
	}
	if len(t.Spots) == 0 {
		p.tables[b.Reach] = rigTable{brief: b.ID}
		return nil, nil
	}

	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false) // the digits hold < and >
	if err := enc.Encode(t); err != nil {
		return nil, fmt.Errorf("table of the trip card: %w", err)
	}
	p.tables[b.Reach] = rigTable{b.ID, out.Bytes()}
	return out.Bytes(), nil
}

// Pages is what the web server reads and writes.
func (a *App) Pages() web.Store {
	return &pages{env: a.env, mail: a.mail, morning: a.morning, recap: a.recap,
		tables: map[coldseam.ReachID]rigTable{}}
}

// Board returns the newest brief of each reach, as a stranger may see it.
func (p *pages) Board(ctx context.Context) ([]coldseam.Brief, error) { return p.mail.Board(ctx) }

// Reaches returns the reaches in the club's order.
func (p *pages) Reaches(ctx context.Context) ([]coldseam.Reach, error) { return p.env.DB.Reaches(ctx) }

// SignUp notes a request and queues the confirm mail when the address may get
// one. The answer is the same whatever is known of it.
func (p *pages) SignUp(ctx context.Context, email string, prefs coldseam.Preferences, at time.Time) error {
	if prefs.Zone == "" {
		prefs.Zone = p.env.Config.Club.Zone
	}
	hour, err := p.env.DB.CountAttempt(ctx, "confirm mails", time.Hour, at)
	if err != nil {
		return err
	}

	s, _, err := p.env.DB.AddSubscriber(ctx, email, "", prefs)
	if err != nil {
		return err
	}

	if s.State != "pending" || hour > mailing.MaxConfirmsHour {
		return nil
	}
	if ok, err := p.mail.MayConfirm(ctx, s.ID, at); err != nil || !ok {
		return err
	}
	return p.mail.QueueOne(ctx, coldseam.MailConfirm, s.ID, at, 7*env.Day, notify.Content{Club: p.env.Config.Club.Name})
}

// Confirm turns a pending subscriber into a confirmed one and welcomes them.
func (p *pages) Confirm(ctx context.Context, sub int64, at time.Time) error {
	s, err := p.env.DB.Subscriber(ctx, sub)
	if err != nil {
		return err
	}
	if s.State != "pending" {
		return nil
	}
	if err := p.env.DB.Confirm(ctx, sub); err != nil {
		return err
	}
	return p.mail.QueueOne(ctx, coldseam.MailWelcome, sub, at, env.Day, notify.Content{Club: p.env.Config.Club.Name})
}

// Subscriber returns one by id.
func (p *pages) Subscriber(ctx context.Context, sub int64) (coldseam.Subscriber, error) {
	return p.env.DB.Subscriber(ctx, sub)
}

// SavePreferences replaces them.
func (p *pages) SavePreferences(ctx context.Context, sub int64, prefs coldseam.Preferences, at time.Time) error {
	return p.env.DB.SetPrefs(ctx, sub, prefs)
}

// Unsubscribe stops all mail at once.
func (p *pages) Unsubscribe(ctx context.Context, sub int64, at time.Time) error {
	if err := p.env.DB.Unsubscribe(ctx, sub); err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		return err
	}
	return nil
}

// Data is all that is kept of a subscriber, as JSON.
func (p *pages) Data(ctx context.Context, sub int64) ([]byte, error) {
	e, err := p.env.DB.ExportSubscriber(ctx, sub)
	if err != nil {
		return nil, err
	}
	return json.MarshalIndent(e, "", "  ")
}

// Forget erases the person; trips stay, of nobody.
func (p *pages) Forget(ctx context.Context, sub int64) error { return p.env.DB.Forget(ctx, sub) }

// Trip returns what the subscriber logged for the reach and day.
func (p *pages) Trip(ctx context.Context, sub int64, reach coldseam.ReachID, d coldseam.Date) (coldseam.Trip, error) {
	trips, err := p.env.DB.Trips(ctx, reach, d, d)
	if err != nil {
		return coldseam.Trip{}, err
	}
	for _, t := range trips {
		if t.Subscriber == sub {
			return t, nil
		}
	}
	return coldseam.Trip{}, fmt.Errorf("trip of %s on %s: %w", reach, d, coldseam.ErrNotFound)
}

// Season returns the yearbook of a year, the same that `coldseam recap` writes.
func (p *pages) Season(ctx context.Context, year int) (web.Season, error) {
	return p.seasons.Get(p.env.Now(), year, func() (web.Season, error) {
		x, err := p.recap.Yearbook(ctx, year)
		if err == nil {
			x.Replayed, err = p.replayed(ctx, x.Year)
		}
		return x, err
	})
}

// replayed holds what was told in a year against the replays that are kept.
func (p *pages) replayed(ctx context.Context, year int) (out []string, err error) {
	reaches, err := p.env.DB.Reaches(ctx)
	for _, r := range reaches {
		seasons, err := p.morning.PastSeasons(ctx, r.ID)
		if err != nil {
			return nil, err
		}
		told, err := p.env.DB.MorningWords(ctx, r.ID, coldseam.Date{Year: year, Month: 1, Day: 1},
			coldseam.Date{Year: year, Month: 12, Day: 31})
		if err != nil {
			return nil, err
		}
		out = append(out, strip.Told(r.River+", "+r.Name, seasons, told, year)...)
	}
	return out, err
}
