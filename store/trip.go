package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// angler2 is a pseudonym that cannot be led back to a person once the row of
// the person is gone.
func angler2(id int64, now time.Time) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%d/%d", id, now.UnixNano()))
	return hex.EncodeToString(sum[:6])
}

const sqlAddTrip = `
INSERT INTO coldseam.trip (reach_id, subscriber_id, angler, day, start_at, hours, anglers, lines, species, fish, looked_at, ripe, spent, released,
  spot_id, presentation, body, line, weight_oz, held, held_at, angle_deg, because_mail, went_not, water_c, water_at, clarity, first_fish_at, night, note, entered_at, source, nth, in_book)
VALUES ($1, NULLIF($2::int8, 0), COALESCE(NULLIF($3, ''), (SELECT angler FROM coldseam.subscriber WHERE subscriber_id = $2), ''), $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14,
  $15, $16, $17, $18, NULLIF($19::float8, 0), $20, $21, $22, $23, $24, $25, $26, $27, $28, $29, $30, $31, $32, $33,
  $2 = 0 OR COALESCE((SELECT (prefs ->> 'in_book')::boolean FROM coldseam.subscriber WHERE subscriber_id = $2), false))
ON CONFLICT ON CONSTRAINT trip_key DO NOTHING
RETURNING trip_id`

// rowQuerier is the pool or a transaction.
type rowQuerier interface {
	QueryRow(ctx context.Context, sql string, args ...any) pgx.Row
}

// AddTrip stores one line of the trip log. The same angler, reach, day,
// species and start again is a duplicate: added is false and nothing changes.
// ErrInvalid: no reach or day, or negative counts; ErrInvalid too for a reach
// that is not stored.
func (db *DB) AddTrip(ctx context.Context, t coldseam.Trip) (id int64, added bool, err error) {
	return db.addTrip(ctx, db.pool, t)
}

func (db *DB) addTrip(ctx context.Context, q rowQuerier, t coldseam.Trip) (id int64, added bool, err error) {
	return db.addNthTrip(ctx, q, t, 0)
}

// addNthTrip adds a trip under a number among those that say the same.
func (db *DB) addNthTrip(ctx context.Context, q rowQuerier, t coldseam.Trip,
	nth int) (id int64, added bool, err error) {
	if t.Reach == "" || t.Date.IsZero() {
		return 0, false, fmt.Errorf("trip: needs reach and day: %w", coldseam.ErrInvalid)
	}
	entered := t.EnteredAt
	if entered.IsZero() {
		entered = db.now()
	}
	err = q.QueryRow(ctx, sqlAddTrip, t.Reach, t.Subscriber, clean(t.Angler), t.Date.UTC(), nullTime(t.Start), t.Hours,
		t.Anglers, t.Lines, t.Species,
		t.Fish, t.LookedAt, t.Ripe, t.Spent, t.Released, t.SpotID, t.Presentation, t.Body, t.Line, t.WeightOz, t.Held,
		nullTime(t.HeldAt), t.AngleDeg,
		t.BecauseMail, t.WentNot, t.WaterC, nullTime(t.WaterAt), t.Clarity, nullTime(t.FirstFish), t.Night,
		clean(t.Note), micro(entered), t.Source, nth).Scan(&id)
	if err == pgx.ErrNoRows {
		return 0, false, nil
	}
	if err != nil {
		return 0, false, fmt.Errorf("trip %s %s: %w", t.Reach, t.Date, classify(err))
	}
	return id, true, nil
}

// Trips lists the trips of a reach ("" = all) in [from, to], by day.
func (db *DB) Trips(ctx context.Context, reach coldseam.ReachID, from, to coldseam.Date) ([]coldseam.Trip, error) {
	return db.trips(ctx, `($1 = '' OR reach_id = $1) AND day BETWEEN $2 AND $3`, reach, from.UTC(), to.UTC())
}

func (db *DB) trips(ctx context.Context, where string, args ...any) ([]coldseam.Trip, error) {
	return tripsOf(ctx, db.pool, where, args...)
}

type rowsQuerier interface {
	Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error)
}

func tripsOf(ctx context.Context, q rowsQuerier, where string, args ...any) ([]coldseam.Trip, error) {
	rows, err := q.Query(ctx, `
		SELECT trip_id, reach_id, COALESCE(subscriber_id, 0), angler, day, start_at, hours, anglers, lines, species, fish, looked_at, ripe, spent, released,
		  spot_id, presentation, body, line, COALESCE(weight_oz, 0), held, held_at, angle_deg, because_mail, went_not, water_c, water_at, clarity, first_fish_at,
		  night, note, entered_at, source
		FROM coldseam.trip WHERE `+where+` ORDER BY day, trip_id`, args...)
	if err != nil {
		return nil, fmt.Errorf("trips: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, scanTrip)
	if err != nil {
		return nil, fmt.Errorf("trips: %w", classify(err))
	}
	return out, nil
}

func scanTrip(r pgx.CollectableRow) (coldseam.Trip, error) {
	var t coldseam.Trip
	var day, start, held, water, first *time.Time
	err := r.Scan(&t.ID, &t.Reach, &t.Subscriber, &t.Angler, &day, &start, &t.Hours, &t.Anglers, &t.Lines, &t.Species,
		&t.Fish, &t.LookedAt, &t.Ripe, &t.Spent,
		&t.Released, &t.SpotID, &t.Presentation, &t.Body, &t.Line, &t.WeightOz, &t.Held, &held, &t.AngleDeg,
		&t.BecauseMail, &t.WentNot, &t.WaterC, &water,
		&t.Clarity, &first, &t.Night, &t.Note, &t.EnteredAt, &t.Source)
	t.Date, t.Start, t.HeldAt, t.WaterAt, t.FirstFish, t.EnteredAt = dateOf(day), timeOf(start), timeOf(held),
		timeOf(water), timeOf(first), t.EnteredAt.UTC()
	return t, err
}

// RigLog is one weight that held bottom at a spot, or did not.
type RigLog struct {
	ID           int64
	Trip         int64 // 0 = entered alone
	Reach        coldseam.ReachID
	Spot         string
	At           time.Time
	Angler       string // pseudonym
	Presentation string
	Body, Line   string
	WeightOz     float64
	Held         bool
	AngleDeg     *float64
	FlowM3S      *float64 // at that time; nil = looked up when added
	StageM       *float64
}

const sqlAddRig = `
INSERT INTO coldseam.rig_log (trip_id, reach_id, spot_id, logged_at, angler, presentation, body, line, weight_oz, held, angle_deg, discharge_m3s, stage_m)
VALUES (NULLIF($1::int8, 0), $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
ON CONFLICT ON CONSTRAINT rig_log_key DO NOTHING
RETURNING rig_log_id`

// AddRigLog stores a rig log with the flow and stage of the reach's gauge at
// that time (newest usable instant value within 3 hours before), when they are
// not given. A duplicate is left alone.
func (db *DB) AddRigLog(ctx context.Context, l RigLog) (id int64, added bool, err error) {
	fail := func(err error) (int64, bool, error) {
		return 0, false, fmt.Errorf("rig log %s %s: %w", l.Reach, l.Spot, classify(err))
	}
	r, err := db.Reach(ctx, l.Reach)
	if err != nil {
		return fail(err)
	}

	for _, v := range []struct {
		param coldseam.Parameter
		to    **float64
	}{{coldseam.Discharge, &l.FlowM3S}, {coldseam.Stage, &l.StageM}} {
		if *v.to != nil {
			continue
		}
		s, err := db.History(ctx, r.Site, v.param, coldseam.Instant, l.At.Add(-3*time.Hour), l.At, db.now())
		if isNotFound(err) {
			continue
		}

		if err != nil {
			return fail(err)
		}
		if o, ok := s.Last(); ok {
			*v.to = &o.Value
		}
	}

	err = db.pool.QueryRow(ctx, sqlAddRig, l.Trip, l.Reach, l.Spot, micro(l.At), clean(l.Angler), l.Presentation,
		l.Body, l.Line, l.WeightOz, l.Held, l.AngleDeg,
		l.FlowM3S, l.StageM).Scan(&id)
	if err == pgx.ErrNoRows {
		return 0, false, nil
	}
	if err != nil {
		return fail(err)
	}

	return id, true, nil
}

// RigLogs lists the rig logs of a reach that were made by at, oldest first. Those
// of a trip that was entered later than entered are left out; the zero time asks
// for all.
func (db *DB) RigLogs(ctx context.Context, reach coldseam.ReachID, at, entered time.Time) ([]RigLog, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT rig_log_id, COALESCE(trip_id, 0), reach_id, spot_id, logged_at, angler, presentation, body, line, weight_oz, held, angle_deg, discharge_m3s, stage_m
		FROM coldseam.rig_log l WHERE reach_id = $1 AND ($2::timestamptz IS NULL OR logged_at <= $2)
		  AND ($3::timestamptz IS NULL OR NOT EXISTS (SELECT 1 FROM coldseam.trip t WHERE t.trip_id = l.trip_id AND t.entered_at > $3))
		ORDER BY logged_at, rig_log_id`, reach, nullTime(at), nullTime(entered))
	if err != nil {
		return nil, fmt.Errorf("rig logs of %s: %w", reach, classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (RigLog, error) {
		l, err := pgx.RowToStructByPos[RigLog](r)
		l.At = l.At.UTC()
		return l, err
	})
	if err != nil {
		return nil, fmt.Errorf("rig logs of %s: %w", reach, classify(err))
	}
	return out, nil
}
