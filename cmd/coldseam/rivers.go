package main

import (
	"context"
	"errors"
	"strconv"

	"example.org/coldseam/store"
)

// syncLimits writes the club's limits to the database: a changed one leaves a
// row in the audit with who, when and why, one taken out of the file too.
func (e *Env) syncLimits(ctx context.Context) error {
	stored, err := e.db.Thresholds(ctx)
	if err != nil {
		return err
	}
	var errs []error
	for k, l := range e.cfg.Thresholds {
		v := strconv.FormatFloat(l.Value, 'g', -1, 64)
		edit := store.Edit{Who: l.Who, Why: l.Why}
		if edit.Who == "" {
			edit.Who = "coldseam.toml"
		}
		if edit.Why == "" {
			edit.Why = "stricter than the program's own"
		}
		errs = append(errs, e.db.SetThreshold(ctx, k, &v, edit))
		delete(stored, k)
	}
	for k := range stored {
		errs = append(errs, e.db.SetThreshold(ctx, k, nil, store.Edit{Who: "coldseam.toml", Why: "taken out of the file: the program's own again"}))
	}
	return errors.Join(errs...)
}
