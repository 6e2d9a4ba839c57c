package env

import (
	"context"
	"errors"
	"reflect"
	"regexp"
	"strconv"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// SyncRivers writes the configuration's sites, reaches and limits to the
// database; a changed one keeps its old version with who and why.
func (e *Env) SyncRivers(ctx context.Context) error {
	errs := []error{e.syncLimits(ctx), e.DB.SetSendAt(ctx, e.Config.Club.SendAt),
		e.DB.SetBands(ctx, coldseam.DefaultBands)}
	for _, s := range e.Config.Sites {
		errs = append(errs, e.DB.PutSite(ctx, s.Build()))
	}

	for _, r := range e.Config.Reaches {
		reach, err := r.Build(e.Config)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		why, err := e.reasonOf(ctx, reach, r.Why)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		errs = append(errs, e.DB.PutReach(ctx, reach, store.Edit{Who: OrElse(r.Who, "coldseam.toml"), Why: why}))
	}

	return errors.Join(errs...)
}

// reasonOf is the reason of an edit. One that an earlier edit of the reach gave
// was left standing in the file and says nothing of this one: then the audit
// says what changed and that no new reason was given.
func (e *Env) reasonOf(ctx context.Context, r coldseam.Reach, why string) (string, error) {
	edits, err := e.DB.ReachEdits(ctx, r.ID)
	if err != nil {
		return "", err
	}
	given := strings.TrimSpace(why) != ""
	if len(edits) == 0 {
		return OrElse(strings.TrimSpace(why), "entered"), nil
	}
	for _, e := range edits {
		given = given && e.Why != why
	}
	if given {
		return why, nil
	}
	last := edits[len(edits)-1].Reach
	return "no new reason in the file; changed: " + strings.Join(Changed(last, r), ", "), nil
}

// SyncedReach is a reach as the file has it now.
func (e *Env) SyncedReach(ctx context.Context, id string) (coldseam.Reach, error) {
	if err := e.SyncRivers(ctx); err != nil {
		return coldseam.Reach{}, err
	}
	r, err := e.DB.Reach(ctx, coldseam.ReachID(id))
	if err != nil {
		return r, NoReach(ctx, e.DB, err)
	}
	return r, nil
}

// syncLimits writes the club's limits to the database: a changed one leaves a
// row in the audit with who, when and why, one taken out of the file too.
func (e *Env) syncLimits(ctx context.Context) error {
	stored, err := e.DB.Thresholds(ctx)
	if err != nil {
		return err
	}

	var errs []error
	for k, l := range e.Config.Thresholds {
		v := strconv.FormatFloat(l.Value, 'g', -1, 64)
		edit := store.Edit{Who: l.Who, Why: l.Why}
		if edit.Who == "" {
			edit.Who = "coldseam.toml"
		}
		if edit.Why == "" {
			edit.Why = "stricter than the program's own"
		}
		errs = append(errs, e.DB.SetThreshold(ctx, k, &v, edit))
		delete(stored, k)
	}

	for k := range stored {
		errs = append(errs, e.DB.SetThreshold(ctx, k, nil,
			store.Edit{Who: "coldseam.toml", Why: "taken out of the file: the program's own again"}))
	}
	return errors.Join(errs...)
}

var wordEnd = regexp.MustCompile(`([a-z])([A-Z])`)

// Changed names the parts of a reach that differ, much as the file does.
func Changed(a, b coldseam.Reach) []string {
	var out []string
	x, y := reflect.ValueOf(a), reflect.ValueOf(b)
	for i := range x.NumField() {
		if !reflect.DeepEqual(x.Field(i).Interface(), y.Field(i).Interface()) {
			out = append(out, strings.ToLower(wordEnd.ReplaceAllString(x.Type().Field(i).Name, "${1}_$2")))
		}
	}
	return out
}
