package club

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/recap"
	"example.org/coldseam/notify/web"
	"example.org/coldseam/store"
)

// Status returns the state of feeds, briefs and mail, without persons.
func (p *pages) Status(ctx context.Context) (web.Status, error) {
	var s web.Status
	reaches, err := p.env.DB.Reaches(ctx)
	if err != nil {
		return s, err
	}
	names := map[coldseam.SiteID]bool{}

	for _, r := range reaches {
		if !names[r.Site] {
			names[r.Site] = true
			f, err := p.gaugeStates(ctx, r)
			if err != nil {
				return s, err
			}
			s.Feeds = append(s.Feeds, f...)
		}

		today := coldseam.DateOf(p.env.Now().In(env.Zone(r.Zone)))
		b, err := p.env.DB.Brief(ctx, r.ID, today)
		if errors.Is(err, coldseam.ErrNotFound) {
			continue
		}
		if err != nil {
			return s, err
		}
		s.Briefs = append(s.Briefs, web.BriefState{
			River:   r.River,
			Reach:   r.Name,
			Zone:    r.Zone,
			Day:     b.Day,
			Issued:  b.Issued,
			Verdict: b.Verdict,
		})
	}

	today := coldseam.DateOf(p.env.Now().In(env.Zone(p.env.Config.Club.Zone)))
	counts, err := p.env.DB.MailCounts(ctx, coldseam.MailMorning, today)
	if err != nil {
		return s, err
	}

	for state, n := range counts {
		switch state {
		case coldseam.MailSent:
			s.Mail.Sent += n
		case coldseam.MailFailed, coldseam.MailExpired, coldseam.MailUnknown:
			s.Mail.Failed += n
		case coldseam.MailSkipped:
			continue
		default:
			s.Mail.Waiting += n
		}
		s.Mail.Due += n
	}

	s.Held, _, _, err = p.env.DB.Held(ctx)
	return s, err
}

func (p *pages) gaugeStates(ctx context.Context, r coldseam.Reach) ([]web.FeedState, error) {
	site, err := p.env.DB.Site(ctx, r.Site)
	if err != nil {
		return nil, err
	}
	vals, err := p.env.DB.Latest(ctx, r.Site)
	if err != nil {
		return nil, err
	}

	limit := time.Duration(p.env.Table.GaugeAgeH * float64(time.Hour))
	var out []web.FeedState
	for _, v := range vals {
		w, ok := env.ParamWords[v.Param]
		if !ok || v.Stat != coldseam.Instant {
			continue
		}
		f := web.FeedState{Name: w + ", " + site.Name, Agency: site.Provider, At: v.At, Limit: limit, State: "good"}
		if p.env.Now().Sub(v.At) > limit {
			f.State = "stale"
			f.Note = fmt.Sprintf("gauge silent %.0f h", p.env.Now().Sub(v.At).Hours())
		}
		out = append(out, f)
	}

	return out, nil
}

// PastSeasons returns what `site add` replayed of a reach.
func (p *pages) PastSeasons(ctx context.Context, reach coldseam.ReachID) ([]coldseam.Replay, error) {
	return p.morning.PastSeasons(ctx, reach)
}

// Scorecard returns what was said and what came on one reach.
func (p *pages) Scorecard(ctx context.Context, reach coldseam.ReachID) (web.Scorecard, error) {
	today := coldseam.DateOf(p.env.Now().UTC())
	list, err := p.recap.Resolve(ctx, reach, today.Add(-800), today)
	if err != nil {
		return web.Scorecard{}, err
	}
	return recap.Scorecard(list), nil
}

// SaveTrip records or replaces the trip of its subscriber, reach and date, and
// feeds the weight log of its spot.
func (p *pages) SaveTrip(ctx context.Context, t coldseam.Trip) error {
	if t.EnteredAt.IsZero() {
		t.EnteredAt = p.env.Now()
	}
	if t.Source == "" {
		t.Source = "form"
	}
	if err := p.morning.LogIce(ctx, t); err != nil { // first: a danger is not lost with what follows
		return err
	}
	if err := p.env.DB.ReplaceTrip(ctx, t); err != nil {
		return err
	}

	// The calibration line belongs to the stored trip and to its pseudonym: it
	// goes with the trip when the angler corrects it.
	stored, err := p.Trip(ctx, t.Subscriber, t.Reach, t.Date)
	if err != nil {
		return err
	}
	if t.SpotID != stored.SpotID || t.WeightOz != stored.WeightOz || t.Held == nil || stored.Held == nil ||
		*t.Held != *stored.Held {
		return nil // an entry sent again after a correction
	}
	t.ID, t.Angler = stored.ID, stored.Angler
	return p.morning.LogRig(ctx, t)
}

// SaveBankWord keeps what a member saw from the bank and lets a danger close the
// reach: ice by the latch, the rest by a stop of today. The entry that comes again
// does so again, which changes nothing.
func (p *pages) SaveBankWord(ctx context.Context, w coldseam.BankWord) error {
	if err := p.env.DB.AddBankWord(ctx, w); err != nil {
		return err
	}
	r, err := p.env.DB.Reach(ctx, w.Reach)
	if err != nil {
		return err
	}
	if w.Say == "ice" {
		return p.morning.SayIce(ctx, r, store.IceWord{Reach: r.ID, At: w.At, Edit: store.Edit{Who: "member",
			Why: "from the bank", At: p.env.Now()}})
	}
	return p.morning.BriefAnew(ctx, r)
}

// BankWords lists what members saw of a reach today, newest first: as the brief
// reads it.
func (p *pages) BankWords(ctx context.Context, reach coldseam.ReachID) ([]coldseam.BankWord, error) {
	r, err := p.env.DB.Reach(ctx, reach)
	if err != nil {
		return nil, err
	}
	now, loc := p.env.Now(), env.Zone(r.Zone)
	return p.env.DB.BankWords(ctx, reach, coldseam.DateOf(now.In(loc)).At(0, loc), now)
}

// SaveTiming keeps a member's float timing; the next brief weighs by it.
func (p *pages) SaveTiming(ctx context.Context, t coldseam.FloatTiming) error {
	return p.env.DB.AddFloatTiming(ctx, t)
}
