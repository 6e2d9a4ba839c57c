package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
)

// The budget of a host is spread as the fetcher's own: a tenth of the hour's
// requests at once, the rest evenly, so that no hour sees more. One row holds
// it: whole_at is when the budget is whole again, every request moves it by the
// even step, and it may lie as far ahead as the tenth reaches (the generic cell
// rate algorithm [common practice]). A river that is set up and a fetch by hand may
// take more of an hour at once; the polls then wait until it is spread. A whole_at
// further ahead than two hours was written by a clock that went wrong, and is not
// believed.

// sqlTake takes one request if the budget and the host's own word allow it:
// host, now, step and reach in seconds.
const sqlTake = `
INSERT INTO coldseam.request_budget AS b (host, whole_at)
VALUES ($1, $2::timestamptz + $3::float8 * interval '1 second')
ON CONFLICT ON CONSTRAINT request_budget_pkey DO UPDATE
SET whole_at = CASE WHEN b.whole_at > $2 + interval '2 hours' THEN $2 ELSE GREATEST(b.whole_at, $2) END + $3 * interval '1 second'
WHERE CASE WHEN b.whole_at > $2 + interval '2 hours' THEN $2 ELSE GREATEST(b.whole_at, $2) END + ($3 - $4::float8) * interval '1 second' <= $2
  AND (b.held_until IS NULL OR b.held_until <= $2)
RETURNING true`

const sqlTakeWait = `
SELECT extract(epoch FROM GREATEST(whole_at + ($3::float8 - $4::float8) * interval '1 second', held_until) - $2::timestamptz)::float8
FROM coldseam.request_budget WHERE host = $1`

const sqlSpend = `
INSERT INTO coldseam.request_budget AS b (host, whole_at)
VALUES ($1, $2::timestamptz + $3::float8 * interval '1 second')
ON CONFLICT ON CONSTRAINT request_budget_pkey DO UPDATE
SET whole_at = LEAST(GREATEST(b.whole_at, $2) + $3 * interval '1 second', $2 + interval '2 hours')`

const sqlHold = `
INSERT INTO coldseam.request_budget AS b (host, whole_at, held_until)
VALUES ($1, $2::timestamptz, $2 + $3::float8 * interval '1 second')
ON CONFLICT ON CONSTRAINT request_budget_pkey DO UPDATE
SET held_until = GREATEST(b.held_until, excluded.held_until)`

// budget is the even step between requests and the reach of what may be taken at
// once, both in seconds.
func budget(perHour, atOnce float64) (step, reach float64) {
	burst := max(float64(int(perHour/10)), 1)
	step = 3600 / max(perHour-burst, perHour/2)
	return step, step * max(float64(int(perHour*atOnce)), 1)
}

// TakeRequest takes one request from the hourly budget that all servers share
// for a host, of which the share atOnce needs no spreading. A wait above zero means
// that it was not taken: ask again after that.
func (db *DB) TakeRequest(ctx context.Context, host string, perHour, atOnce float64) (wait time.Duration, err error) {
	step, reach := budget(perHour, atOnce)
	now := micro(db.now())
	var ok bool
	err = db.pool.QueryRow(ctx, sqlTake, host, now, step, reach).Scan(&ok)
	if err == nil {
		return 0, nil
	}
	var seconds float64
	if errors.Is(err, pgx.ErrNoRows) {
		err = db.pool.QueryRow(ctx, sqlTakeWait, host, now, step, reach).Scan(&seconds)
	}
	if err != nil {
		return 0, fmt.Errorf("request budget of %s: %w", host, classify(err))
	}
	return max(time.Duration(seconds*float64(time.Second)), time.Millisecond), nil
}

// SpendRequests takes requests that were made already, such as repeated tries.
func (db *DB) SpendRequests(ctx context.Context, host string, perHour float64, n int) error {
	step, _ := budget(perHour, 0)
	if _, err := db.pool.Exec(ctx, sqlSpend, host, micro(db.now()), step*float64(n)); err != nil {
		return fmt.Errorf("request budget of %s: %w", host, classify(err))
	}
	return nil
}

// HoldRequests keeps every server from a host for as long as the host asked.
func (db *DB) HoldRequests(ctx context.Context, host string, d time.Duration) error {
	if _, err := db.pool.Exec(ctx, sqlHold, host, micro(db.now()), d.Seconds()); err != nil {
		return fmt.Errorf("request budget of %s: %w", host, classify(err))
	}
	return nil
}
