package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// IceDay is the state of ice of a reach on one civil day.
type IceDay struct {
	Day     coldseam.Date
	State   string // unknown, open, ice, breaking_up
	Since   coldseam.Date
	Cause   string
	FrostCD float64 // degC days
	ThawCD  float64
	KnownAt time.Time // set by reads
}

// A day that stands as it was writes nothing.
const sqlSaveIce = `
INSERT INTO coldseam.ice_state (reach_id, day, known_at, state, since, cause, frost_cd, thaw_cd)
SELECT $1, w.day, $2, w.state, w.since, w.cause, w.frost_cd, w.thaw_cd
FROM unnest($3::date[], $4::text[], $5::date[], $6::text[], $7::float8[], $8::float8[]) AS w (day, state, since, cause, frost_cd, thaw_cd)
LEFT JOIN LATERAL (
  SELECT s.state, s.since, s.cause, s.frost_cd, s.thaw_cd
  FROM coldseam.ice_state s
  WHERE s.reach_id = $1 AND s.day = w.day
  ORDER BY s.known_at DESC
  LIMIT 1) old ON true
WHERE (w.state, w.since, w.cause) IS DISTINCT FROM (old.state, old.since, old.cause)
   OR abs(w.frost_cd - old.frost_cd) > 0.05 OR abs(w.thaw_cd - old.thaw_cd) > 0.05
ON CONFLICT ON CONSTRAINT ice_state_pkey DO UPDATE
SET state = excluded.state, since = excluded.since, cause = excluded.cause, frost_cd = excluded.frost_cd, thaw_cd = excluded.thaw_cd`

// SaveIce stores the states of a reach as known at a time. Days that differ
// from what was known before get a new version, others are left alone.
func (db *DB) SaveIce(ctx context.Context, reach coldseam.ReachID, knownAt time.Time, days []IceDay) error {
	n := len(days)
	day, since := make([]time.Time, n), make([]time.Time, n)
	state, cause := make([]string, n), make([]string, n)
	frost, thaw := make([]float64, n), make([]float64, n)
	for i, d := range days {
		day[i], since[i], state[i], cause[i], frost[i], thaw[i] = d.Day.UTC(), d.Since.UTC(), d.State, d.Cause,
			d.FrostCD, d.ThawCD
	}
	if _, err := db.pool.Exec(ctx, sqlSaveIce, reach, micro(knownAt), day, state, since, cause, frost,
		thaw); err != nil {
		return fmt.Errorf("ice of %s: %w", reach, classify(err))
	}
	return nil
}

// IceDays returns the states of a reach on the days in [from, to] as they were
// known at asOf, ascending.
func (db *DB) IceDays(ctx context.Context, reach coldseam.ReachID, from, to coldseam.Date,
	asOf time.Time) ([]IceDay, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT DISTINCT ON (day) day, state, since, cause, frost_cd, thaw_cd, known_at
		FROM coldseam.ice_state
		WHERE reach_id = $1 AND day BETWEEN $2 AND $3 AND known_at <= $4
		ORDER BY day, known_at DESC`, reach, from.UTC(), to.UTC(), micro(asOf))
	if err != nil {
		return nil, fmt.Errorf("ice of %s: %w", reach, classify(err))
	}

	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (d IceDay, err error) {
		var day, since time.Time
		err = r.Scan(&day, &d.State, &since, &d.Cause, &d.FrostCD, &d.ThawCD, &d.KnownAt)
		d.Day, d.Since, d.KnownAt = coldseam.DateOf(day), coldseam.DateOf(since), d.KnownAt.UTC()
		return d, err
	})
	if err != nil {
		return nil, fmt.Errorf("ice of %s: %w", reach, classify(err))
	}

	return out, nil
}

// IceWord is what the admin or a member said of ice on a reach.
type IceWord struct {
	Reach coldseam.ReachID
	At    time.Time // that it speaks of
	Open  bool      // the admin's alone
	Admin bool
	Edit  // Who is a role or a pseudonym; At is when it was entered
}

// SayIce keeps a word. The same again is left alone. ErrInvalid: no reach, who
// or why, or a member who says open.
func (db *DB) SayIce(ctx context.Context, w IceWord) error {
	fail := func(err error) error { return fmt.Errorf("ice word on %s: %w", w.Reach, err) }
	if err := w.check(); err != nil {
		return fail(err)
	}
	if w.Open && !w.Admin {
		return fail(fmt.Errorf("a member's word only closes: %w", coldseam.ErrInvalid))
	}

	entered := w.Edit.At
	if entered.IsZero() {
		entered = db.now()
	}
	_, err := db.pool.Exec(ctx, `
		INSERT INTO coldseam.ice_word (reach_id, said_at, known_at, open, admin, who, why) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT ON CONSTRAINT ice_word_key DO NOTHING`,
		w.Reach, micro(w.At), micro(entered), w.Open, w.Admin, clean(w.Who), clean(w.Why))
	if err != nil {
		return fail(classify(err))
	}

	return nil
}

// IceWords lists what was said of a reach for times from since on and was known
// at asOf, in order of the time it speaks of.
func (db *DB) IceWords(ctx context.Context, reach coldseam.ReachID, since, asOf time.Time) ([]IceWord, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT reach_id, said_at, open, admin, who, why, known_at
		FROM coldseam.ice_word
		WHERE reach_id = $1 AND said_at >= $2 AND known_at <= $3
		ORDER BY said_at, ice_word_id`, reach, micro(since), micro(asOf))
	if err != nil {
		return nil, fmt.Errorf("ice words on %s: %w", reach, classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (w IceWord, err error) {
		err = r.Scan(&w.Reach, &w.At, &w.Open, &w.Admin, &w.Who, &w.Why, &w.Edit.At)
		w.At, w.Edit.At = w.At.UTC(), w.Edit.At.UTC()
		return w, err
	})
	if err != nil {
		return nil, fmt.Errorf("ice words on %s: %w", reach, classify(err))
	}
	return out, nil
}
