package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/flow"
	"example.org/coldseam/forecast/thermal"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/store"
)

// lastLight is the sunset of a reach on d: after it the day's windows are over.
func (a *app) lastLight(r coldseam.Reach, d coldseam.Date) time.Time {
	loc := zoneOf(r.Zone)
	if sun := verdict.SunOf(d, r.Lat, r.Lon, loc); sun.OK {
		return sun.Set
	}
	return d.In(loc).Add(16 * time.Hour)
}

// upkeepJob is the daily round: old rows pruned, models due for their week put
// in the queue.
func (a *app) upkeepJob(ctx context.Context, args store.UpkeepArgs) error {
	var errs []error
	if _, err := a.db.PruneUnconfirmed(ctx, a.now()); err != nil {
		errs = append(errs, err)
	}
	errs = append(errs, a.db.PruneCounts(ctx, a.now().Add(-48*time.Hour)))
	reaches, err := a.db.Reaches(ctx)
	errs = append(errs, err)
	for _, r := range reaches {
		m, err := a.db.Model(ctx, string(r.Site), "thermal", a.now())
		if errors.Is(err, coldseam.ErrNotFound) || err == nil && a.now().Sub(m.MadeAt) > refitAfter {
			errs = append(errs, a.db.Enqueue(ctx, store.RefitArgs{Site: r.Site, Day: args.Day}))
		} else if err != nil {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

// refit fits both daily models of a site on everything known and stores them
// as a new version.
func (a *app) refit(ctx context.Context, site coldseam.SiteID) error {
	reaches, err := a.db.Reaches(ctx)
	if err != nil {
		return err
	}
	for _, r := range reaches {
		if r.Site != site {
			continue
		}
		f, err := a.features(ctx, r, coldseam.DateOf(a.now().In(zoneOf(r.Zone))), a.now(), false)
		if err != nil {
			return err
		}
		return a.fitAndSave(ctx, site, f.Days, f.Pool, f.Seed)
	}
	return nil
}

func (a *app) fitAndSave(ctx context.Context, site coldseam.SiteID, days coldseam.Days, pool []coldseam.Days, seed uint64) error {
	var errs []error
	if m, err := flow.Fit(days, flow.Options{Seed: seed, Pool: pool}); err == nil {
		errs = append(errs, a.saveModel(ctx, site, "flow", m, m.From, m.To, m.Score))
	} else {
		errs = append(errs, err)
	}
	if m, err := thermal.Fit(days, thermal.Options{Seed: seed, Pool: pool}); err == nil {
		errs = append(errs, a.saveModel(ctx, site, "thermal", m, m.From, m.To, m.Score))
	} else {
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

func (a *app) saveModel(ctx context.Context, site coldseam.SiteID, kind string, v any, from, to coldseam.Date, score float64) error {
	raw, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("model %s: %w", kind, err)
	}
	_, err = a.db.SaveModel(ctx, store.Model{Owner: string(site), Kind: kind, MadeAt: a.now(), From: from, To: to,
		Score: json.RawMessage(fmt.Sprintf(`{"crps_lead5":%g}`, score)), Params: raw})
	return err
}
