package morning

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/flow"
	"example.org/coldseam/forecast/season"
	"example.org/coldseam/forecast/thermal"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/store"
)

// centreKind is the name under which the level of a reach's odds and the thirds of
// its mornings are stored.
const centreKind = "odds-centre"

// centre is what centreKind holds. Another table of effects makes it void.
type centre struct {
	verdict.Centre
	Effects verdict.Effects
}

// centre reads the level of the odds; a reach without one, or after a change of
// the effects, is centred at once.
func (g *gather) centre() {
	var c centre
	m, err := g.DB.Model(g.ctx, string(g.f.Reach.ID), centreKind, g.f.Now)
	if g.keep(err) && g.keep(json.Unmarshal(m.Params, &c)) && maps.Equal(c.Effects, g.f.Effects) {
		g.f.Centre = &c.Centre
		return
	}
	fresh := centred(*g.f)
	g.f.Centre = &fresh
}

// centred replays the other years of a reach.
func centred(f forecast.Inputs) verdict.Centre {
	f.Days.Lat = f.Reach.Lat
	return season.CentreOf(f.Days, f.Reach, f.Species, f.Effects, f.Day.Year)
}

// Refit fits both daily models of a site, and the odds of each of its reaches, on
// everything known and stores them as a new version.
func (mk *Maker) Refit(ctx context.Context, site coldseam.SiteID) error {
	reaches, err := mk.DB.Reaches(ctx)
	if err != nil {
		return err
	}
	var errs []error
	fitted := false
	for _, r := range reaches {
		if r.Site != site {
			continue
		}
		f, err := mk.Inputs(ctx, r, coldseam.DateOf(mk.Now().In(env.Zone(r.Zone))), mk.Now(), false)
		if err != nil {
			return errors.Join(append(errs, err)...)
		}
		if !fitted {
			errs = append(errs, mk.fitAndSave(ctx, site, f), mk.fitRain(ctx, r, f))
			fitted = true
		}
		errs = append(errs, mk.saveCentre(ctx, f))
	}
	return errors.Join(errs...)
}

func (mk *Maker) saveCentre(ctx context.Context, f forecast.Inputs) error {
	raw, err := json.Marshal(centre{centred(f), f.Effects})
	if err != nil {
		return fmt.Errorf("odds of %s: %w", f.Reach.ID, err)
	}
	_, err = mk.DB.SaveModel(ctx, store.Model{Owner: string(f.Reach.ID), Kind: centreKind, MadeAt: mk.Now(), Params: raw})
	return err
}

func (mk *Maker) fitAndSave(ctx context.Context, site coldseam.SiteID, f forecast.Inputs) error {
	var errs []error
	if m, err := flow.Fit(f.Days, flow.Options{Seed: f.Seed, Pool: f.Pool, Upstream: f.Upstream}); err == nil {
		errs = append(errs, mk.saveModel(ctx, site, "flow", m, m.From, m.To, m.Score))
	} else {
		errs = append(errs, err)
	}
	if m, err := thermal.Fit(f.Days, thermal.Options{Seed: f.Seed, Pool: f.Pool}); err == nil {
		errs = append(errs, mk.saveModel(ctx, site, "thermal", m, m.From, m.To, m.Score))
	} else {
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

func (mk *Maker) saveModel(ctx context.Context, site coldseam.SiteID, kind string, v any, from, to coldseam.Date,
	score float64) error {
	raw, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("model %s: %w", kind, err)
	}
	_, err = mk.DB.SaveModel(ctx, store.Model{Owner: string(site), Kind: kind, MadeAt: mk.Now(), From: from, To: to,
		Score: json.RawMessage(fmt.Sprintf(`{"crps_lead5":%g}`, score)), Params: raw})
	return err
}
