package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// DueSubscriber is a subscriber whose morning mail is due.
type DueSubscriber struct {
	coldseam.Subscriber
	LocalDate coldseam.Date
	Deadline  time.Time // not to be sent after
}

// The local clock decides: a send time that the spring change skips is reached
// at the first instant after the gap, one that the autumn change repeats is
// reached the first time, and the outbox key stops the second. The deadline is
// the start of the own fishing window, at most 10:00 local, but at least half
// an hour after the send time: a GO that arrives after the boat is launched is
// worse than none [proposal].
const sqlMornings = `
WITH clock AS (
  SELECT s.*, ($1::timestamptz AT TIME ZONE s.zone) AS local_now
  FROM coldseam.subscriber s
  WHERE s.state = 'confirmed'),
local AS (
  SELECT c.*, c.local_now::date AS local_date, c.local_now::date + c.send_at AS send_local,
    GREATEST(c.local_now::date + LEAST(COALESCE(c.window_from, '10:00'), '10:00'::time), c.local_now::date + c.send_at + interval '30 minutes') AS deadline_local
  FROM clock c)
SELECT subscriber_id, email, name, state, created_at, confirmed_at, prefs, suppressed_why, local_date, deadline_local AT TIME ZONE zone AS deadline
FROM local
WHERE (COALESCE(jsonb_array_length(NULLIF(prefs -> 'weekdays', 'null')), 0) = 0
       OR prefs -> 'weekdays' @> to_jsonb(extract(dow FROM local_now)::int))
  AND NOT EXISTS (
    SELECT FROM coldseam.outbox o
    WHERE o.subscriber_id = local.subscriber_id AND o.local_date = local.local_date AND o.kind = 'morning')`

const sqlDue = sqlMornings + `
  AND local_now >= send_local
  AND deadline_local AT TIME ZONE zone > $1
  AND local_now < deadline_local
ORDER BY deadline, lower(split_part(email, '@', 2)), subscriber_id`

// Due lists the confirmed subscribers whose morning mail is due now and not in
// the outbox yet, each with the civil day it is for; by deadline, then by domain,
// so that the pieces of a mailing hold few domains and make few jobs.
func (db *DB) Due(ctx context.Context, now time.Time) ([]DueSubscriber, error) {
	return db.due(ctx, sqlDue, now)
}

// Who confirmed or changed the send time so late that nothing could be written
// was not missed.
const sqlMissed = sqlMornings + `
  AND local_date = $2 AND deadline_local AT TIME ZONE zone <= $1
  AND confirmed_at < (local_date + send_at) AT TIME ZONE zone
ORDER BY deadline, subscriber_id`

// MissedMornings lists the confirmed subscribers whose deadline of a day has
// passed without a morning mail in the outbox.
func (db *DB) MissedMornings(ctx context.Context, day coldseam.Date, now time.Time) ([]DueSubscriber, error) {
	return db.due(ctx, sqlMissed, now, day.UTC())
}

// The weekend outlook goes out on Thursday from 17:00 to 21:00 local time to
// those who asked for it [proposal].
const (
	OutlookDay  = `4` // Thursday
	OutlookFrom = `time '17:00'`
)

const sqlDueOutlook = `
WITH clock AS (
  SELECT s.*, ($1::timestamptz AT TIME ZONE s.zone) AS local_now
  FROM coldseam.subscriber s
  WHERE s.state = 'confirmed' AND prefs -> 'outlook' = 'true')
SELECT subscriber_id, email, name, state, created_at, confirmed_at, prefs, suppressed_why, local_now::date,
  (local_now::date + time '21:00') AT TIME ZONE zone
FROM clock
WHERE extract(dow FROM local_now) = ` + OutlookDay + ` AND local_now::time >= ` + OutlookFrom + ` AND local_now::time < '21:00'
  AND NOT EXISTS (
    SELECT FROM coldseam.outbox o
    WHERE o.subscriber_id = clock.subscriber_id AND o.local_date = clock.local_now::date AND o.kind = 'outlook')
ORDER BY subscriber_id`

// DueOutlook lists the subscribers whose weekend outlook is due now.
func (db *DB) DueOutlook(ctx context.Context, now time.Time) ([]DueSubscriber, error) {
	return db.due(ctx, sqlDueOutlook, now)
}

func (db *DB) due(ctx context.Context, sql string, now time.Time, more ...any) ([]DueSubscriber, error) {
	rows, err := db.pool.Query(ctx, sql, append([]any{micro(now)}, more...)...)
	if err != nil {
		return nil, fmt.Errorf("due subscribers: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (DueSubscriber, error) {
		var d DueSubscriber
		var confirmed, day *time.Time
		err := r.Scan(&d.ID, &d.Email, &d.Name, &d.State, &d.CreatedAt, &confirmed, &d.Prefs, &d.Suppressed, &day,
			&d.Deadline)
		d.CreatedAt, d.ConfirmedAt, d.LocalDate, d.Deadline = d.CreatedAt.UTC(), timeOf(confirmed), dateOf(day),
			d.Deadline.UTC()
		return d, err
	})
	if err != nil {
		return nil, fmt.Errorf("due subscribers: %w", classify(err))
	}
	return out, nil
}
