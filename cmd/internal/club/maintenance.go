package club

import (
	"context"
	"errors"
	"strconv"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/env"
	"example.org/coldseam/cmd/internal/morning"
	"example.org/coldseam/store"
)

// MaintenanceJob is the daily round: old rows pruned, issued forecasts scored, what is
// usual for the date made anew, models due for their week and replays of seasons
// that are over put in the queue.
func (a *App) MaintenanceJob(ctx context.Context, args store.MaintenanceArgs) error {
	var errs []error
	if _, err := a.env.DB.PruneUnconfirmed(ctx, a.env.Now()); err != nil {
		errs = append(errs, err)
	}
	errs = append(errs, a.env.DB.PruneCounts(ctx, a.env.Now().Add(-48*time.Hour)), a.prune(ctx), a.scoreIssued(ctx),
		a.env.DB.PublishTrips(ctx), a.refreshNormals(ctx, a.env.Now()), a.morning.Recalibrate(ctx), a.Pack(ctx))
	reaches, err := a.env.DB.Reaches(ctx)
	errs = append(errs, err)
	for _, r := range reaches {
		m, err := a.env.DB.Model(ctx, string(r.Site), "thermal", a.env.Now())
		if errors.Is(err, coldseam.ErrNotFound) || err == nil && a.env.Now().Sub(m.MadeAt) > morning.RefitAfter {
			errs = append(errs, a.env.DB.Enqueue(ctx, store.RefitArgs{Site: r.Site, Day: args.Day}))
		} else if err != nil {
			errs = append(errs, err)
		}

		due, err := a.morning.SeasonsDue(ctx, r)
		if err == nil && due {
			err = a.env.DB.Enqueue(ctx, store.SeasonsArgs{Reach: r.ID, Asked: args.Day.UTC()})
		}
		errs = append(errs, err)
	}
	return errors.Join(errs...)
}

// Pack lays the days of past years together, which briefs read.
func (a *App) Pack(ctx context.Context) error {
	_, err := a.env.DB.PackYears(ctx, a.env.Now().Year())
	return err
}

// How long what is only needed for a while is kept [proposal]. Scores, briefs
// and observations are never deleted.
const (
	keepMembers = 60 * env.Day  // of issued ensembles, once scored
	keepFetches = 90 * env.Day  // records of fetches
	keepStates  = 30 * env.Day  // of addresses that are not asked any more
	keepCharts  = 400 * env.Day // series of the charts inside old briefs

	keepReplaced = 2 * env.Day // the same of a brief that a newer one of its morning replaced

	scoreBack = 16 * env.Day
)

// prune deletes rows that are not needed any more.
func (a *App) prune(ctx context.Context) error {
	now := a.env.Now()
	var errs []error
	for _, f := range []func(context.Context, time.Time) (int, error){
		func(ctx context.Context, t time.Time) (int, error) {
			return a.env.DB.DropMembers(ctx, t.Add(-keepMembers))
		},
		func(ctx context.Context, t time.Time) (int, error) {
			return a.env.DB.PruneFetches(ctx, t.Add(-keepFetches))
		},
		func(ctx context.Context, t time.Time) (int, error) {
			return a.env.DB.PrunePayloads(ctx, t.Add(-keepFetches))
		},
		func(ctx context.Context, t time.Time) (int, error) {
			return a.env.DB.PruneStates(ctx, t.Add(-keepStates))
		},
		func(ctx context.Context, t time.Time) (int, error) {
			return a.env.DB.PruneEntries(ctx, t.Add(-keepStates))
		},
		func(ctx context.Context, t time.Time) (int, error) {
			return a.env.DB.DropCharts(ctx, t.Add(-keepCharts), t.Add(-keepReplaced))
		},
	} {
		_, err := f(ctx, now)
		errs = append(errs, err)
	}

	return errors.Join(errs...)
}

// scoreIssued scores the forecasts whose days have come, for the readers of the
// season and the metrics.
func (a *App) scoreIssued(ctx context.Context) error {
	_, err := a.env.DB.ScoreForecasts(ctx, a.env.Now().Add(-scoreBack), a.env.Now())
	if err != nil {
		return err
	}
	return a.showSkill(ctx)
}

// showSkill fills the metric of forecast skill from the database: after each
// scoring, and at start, since the scoring is done by one server a day.
func (a *App) showSkill(ctx context.Context) error {
	reaches, err := a.env.DB.Reaches(ctx)
	if err != nil {
		return err
	}
	var errs []error
	for _, r := range reaches {
		for _, p := range []coldseam.Parameter{coldseam.WaterTemp, coldseam.Discharge} {
			sk, err := a.recap.IssuedSkill(ctx, r, p, coldseam.DateOf(a.env.Now()).Add(-30))
			errs = append(errs, err)
			for _, x := range sk {
				a.metrics.crps.WithLabelValues(string(r.Site)+" "+string(p), strconv.Itoa(x.Lead)).Set(x.CRPS)
			}
		}
	}
	return errors.Join(errs...)
}
