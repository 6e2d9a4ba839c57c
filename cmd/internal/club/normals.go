package club

import (
	"context"
	"errors"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// refreshNormals makes what is usual for the date anew every Monday, and at once where
// there is none: the season views say "above" and "below" by it. A gauge
// without daily values has none.
func (a *App) refreshNormals(ctx context.Context, now time.Time) error {
	list, err := a.env.DB.Normals(ctx)
	if err != nil {
		return err
	}

	have := map[store.Normal]bool{}
	if now.UTC().Weekday() != time.Monday {
		for _, k := range list {
			have[k] = true
		}
	}

	reaches, err := a.env.DB.Reaches(ctx)
	if err != nil {
		return err
	}

	var errs []error
	for _, r := range reaches {
		for _, p := range []coldseam.Parameter{coldseam.Discharge, coldseam.WaterTemp} {
			k := store.Normal{Site: string(r.Site), Param: string(p)}
			if have[k] {
				continue
			}
			have[k] = true
			if err := a.env.DB.BuildClimatology(ctx, r.Site, p, now); err != nil && !errors.Is(err, coldseam.ErrNotFound) {
				errs = append(errs, err)
			}
		}
	}

	return errors.Join(errs...)
}
