package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// TripChange is what the import of a paper log did with one trip.
type TripChange struct {
	Trip coldseam.Trip  // with its id
	Was  *coldseam.Trip // what a corrected row said before
	New  bool
}

// ImportTrips stores the rows of a paper log, all of them or none. A row that
// is stored already stays; rows that say the same are as many trips. Where the
// log has as many rows of one reach, day, angler, species and start as are
// stored, those that differ are corrections and replace them in order, else
// they are trips more. What people entered themselves is never replaced.
func (db *DB) ImportTrips(ctx context.Context, rows []coldseam.Trip) (out []TripChange, err error) {
	err = db.inTx(ctx, func(tx pgx.Tx) error {
		// two imports at once would number alike
		if _, err := tx.Exec(ctx, `LOCK TABLE coldseam.trip IN SHARE ROW EXCLUSIVE MODE`); err != nil {
			return classify(err)
		}
		groups, order := map[string][]coldseam.Trip{}, []string(nil)
		for _, t := range rows {
			k := fmt.Sprintf("%q", []string{string(t.Reach), t.Date.String(), clean(t.Angler), t.Species,
				t.Start.UTC().String()})
			if groups[k] == nil {
				order = append(order, k)
			}
			groups[k] = append(groups[k], t)
		}

		for _, k := range order {
			changes, err := db.importAlike(ctx, tx, groups[k])
			if err != nil {
				return err
			}
			out = append(out, changes...)
		}

		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("paper log: %w", err)
	}

	return out, nil
}

// importAlike stores the rows of one reach, day, angler, species and start.
func (db *DB) importAlike(ctx context.Context, tx pgx.Tx, rows []coldseam.Trip) ([]TripChange, error) {
	t := rows[0]
	stored, err := tripsOf(ctx, tx,
		`reach_id = $1 AND day = $2 AND angler = $3 AND species = $4 AND start_at IS NOT DISTINCT FROM $5`,
		t.Reach, t.Date.UTC(), clean(t.Angler), t.Species, nullTime(t.Start))
	if err != nil {
		return nil, err
	}
	corrects := len(rows) == len(stored)
	next := len(stored)
	var out []TripChange

	var open []coldseam.Trip
	for _, t := range rows {
		i := indexOfTrip(stored, func(s coldseam.Trip) bool { return sameEntry(s, t) })
		if i < 0 {
			open = append(open, t)
			continue
		}
		out = append(out, TripChange{Trip: stored[i]})
		stored = append(stored[:i:i], stored[i+1:]...)
	}

	for _, t := range open {
		i := indexOfTrip(stored, func(s coldseam.Trip) bool { return s.Source == t.Source })
		if !corrects || i < 0 {
			if t.ID, _, err = db.addNthTrip(ctx, tx, t, next); err != nil {
				return nil, err
			}
			next++
			out = append(out, TripChange{Trip: t, New: true})
			continue
		}

		was := stored[i]
		stored = append(stored[:i:i], stored[i+1:]...)
		if err := correctTrip(ctx, tx, was.ID, &t); err != nil {
			return nil, err
		}
		out = append(out, TripChange{Trip: t, Was: &was})
	}

	return out, nil
}

func indexOfTrip(list []coldseam.Trip, is func(coldseam.Trip) bool) int {
	for i, t := range list {
		if is(t) {
			return i
		}
	}
	return -1
}

// sameEntry compares what a paper log can say of two trips of one key.
func sameEntry(a, b coldseam.Trip) bool {
	said := func(t coldseam.Trip) string {
		return fmt.Sprintf("%q", []any{t.Hours, t.Anglers, t.Lines, t.Fish, t.LookedAt, t.Ripe, t.Spent, t.Released,
			t.SpotID, t.Presentation,
			t.Body, t.Line, t.WeightOz, valueOf(t.Held), valueOf(t.BecauseMail), valueOf(t.WaterC), t.Clarity, t.Night,
			clean(t.Note)})
	}
	return said(a) == said(b)
}

func valueOf[T any](p *T) any {
	if p == nil {
		return nil
	}
	return *p
}

// correctTrip replaces what a trip said; its weight is entered anew.
func correctTrip(ctx context.Context, tx pgx.Tx, id int64, t *coldseam.Trip) error {
	t.ID = id
	if _, err := tx.Exec(ctx, `DELETE FROM coldseam.rig_log WHERE trip_id = $1`, id); err != nil {
		return classify(err)
	}
	_, err := tx.Exec(ctx, `
		UPDATE coldseam.trip SET hours = $2, anglers = $3, lines = $4, fish = $5, looked_at = $6, ripe = $7, spent = $8, released = $9, spot_id = $10,
		  presentation = $11, body = $12, line = $13, weight_oz = NULLIF($14::float8, 0), held = $15, because_mail = $16, water_c = $17, clarity = $18, night = $19, note = $20
		WHERE trip_id = $1`, id, t.Hours, t.Anglers, t.Lines, t.Fish, t.LookedAt, t.Ripe, t.Spent, t.Released, t.SpotID,
		t.Presentation, t.Body, t.Line, t.WeightOz, t.Held, t.BecauseMail, t.WaterC, t.Clarity, t.Night, clean(t.Note))
	return classify(err)
}
