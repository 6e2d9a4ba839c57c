package morning

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/flow"
	"example.org/coldseam/forecast/thermal"
	"example.org/coldseam/store"
)

// Refit fits both daily models of a site on everything known and stores them
// as a new version.
func (mk *Maker) Refit(ctx context.Context, site coldseam.SiteID) error {
	reaches, err := mk.DB.Reaches(ctx)
	if err != nil {
		return err
	}
	for _, r := range reaches {
		if r.Site != site {
			continue
		}
		f, err := mk.Features(ctx, r, coldseam.DateOf(mk.Now().In(env.Zone(r.Zone))), mk.Now(), false)
		if err != nil {
			return err
		}
		return errors.Join(mk.fitAndSave(ctx, site, f), mk.fitRain(ctx, r, f))
	}
	return nil
}

func (mk *Maker) fitAndSave(ctx context.Context, site coldseam.SiteID, f forecast.Features) error {
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
