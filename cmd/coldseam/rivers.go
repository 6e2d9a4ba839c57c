package main

import (
	"context"
	"errors"
	"strconv"

	"example.org/coldseam/store"
)

// syncLimits writes the club's limits to the database: a changed one leaves a
// row in the audit with who, when and why, one taken out of the file too.
func (a *app) syncLimits(ctx context.Context) error {
	stored, err := a.db.Thresholds(ctx)
	if err != nil {
		return err
	}
	var errs []error
	for k, l := range a.cfg.Thresholds {
		v := strconv.FormatFloat(l.Value, 'g', -1, 64)
		e := store.Edit{Who: l.Who, Why: l.Why}
		if e.Who == "" {
			e.Who = "coldseam.toml"
		}
		if e.Why == "" {
			e.Why = "stricter than the program's own"
		}
		errs = append(errs, a.db.SetThreshold(ctx, k, &v, e))
		delete(stored, k)
	}
	for k := range stored {
		errs = append(errs, a.db.SetThreshold(ctx, k, nil, store.Edit{Who: "coldseam.toml", Why: "taken out of the file: the program's own again"}))
	}
	return errors.Join(errs...)
}
