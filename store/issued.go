package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// IssuedMail is a morning mail that went out, or may have, with what it said.
type IssuedMail struct {
	Subscriber int64
	LocalDate  coldseam.Date
	MadeAt     time.Time
	State      coldseam.MailState
	Payload    []byte
}

// EachIssuedMail hands out, one by one, the morning mails of a local date that told
// a subscriber to go to a reach and may have been read: sent, in transmission
// or without an answer, and those still waiting, which will say what their
// payload says. Expired, failed and skipped ones told nobody anything. f must
// not use the database for long: the rows are still being read.
func (db *DB) EachIssuedMail(ctx context.Context, day coldseam.Date, reach coldseam.ReachID, f func(IssuedMail) error) error {
	rows, err := db.pool.Query(ctx, `
		SELECT o.subscriber_id, o.local_date, e.made_at, o.state, o.payload
		FROM coldseam.outbox o
		JOIN coldseam.edition e USING (edition_id)
		JOIN coldseam.subscriber s USING (subscriber_id)
		WHERE o.kind = 'morning' AND o.local_date = $1 AND $2 = ANY (o.goes) AND s.state = 'confirmed'
		  AND o.state IN ('sent', 'in_data', 'unknown', 'pending', 'claimed', 'deferred')
		ORDER BY o.outbox_id`, day.UTC(), reach)
	if err != nil {
		return fmt.Errorf("told on %s: %w", day, classify(err))
	}

	var t IssuedMail
	var d *time.Time
	_, err = pgx.ForEachRow(rows, []any{&t.Subscriber, &d, &t.MadeAt, &t.State, &t.Payload}, func() error {
		t.LocalDate, t.MadeAt = dateOf(d), t.MadeAt.UTC()
		return f(t)
	})
	if err != nil {
		return fmt.Errorf("told on %s: %w", day, classify(err))
	}

	return nil
}

// OpenMorning is a morning to which a subscriber was told to go, without a trip
// in the log.
type OpenMorning struct {
	Subscriber int64
	Reach      coldseam.ReachID
	Day        coldseam.Date
}

// OpenMornings lists them for a span of days, by subscriber, the newest first.
func (db *DB) OpenMornings(ctx context.Context, from, to coldseam.Date) ([]OpenMorning, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT o.subscriber_id, g.reach, o.local_date
		FROM coldseam.outbox o
		JOIN coldseam.subscriber s USING (subscriber_id)
		CROSS JOIN LATERAL unnest(o.goes) WITH ORDINALITY AS g (reach, i)
		WHERE o.kind = 'morning' AND o.local_date BETWEEN $1 AND $2 AND s.state = 'confirmed'
		  AND o.state IN ('sent', 'in_data', 'unknown', 'pending', 'claimed', 'deferred')
		  AND NOT EXISTS (SELECT FROM coldseam.trip t WHERE t.subscriber_id = o.subscriber_id AND t.reach_id = g.reach AND t.day = o.local_date)
		ORDER BY o.subscriber_id, o.local_date DESC, g.i`, from.UTC(), to.UTC())
	if err != nil {
		return nil, fmt.Errorf("open mornings: %w", classify(err))
	}

	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (OpenMorning, error) {
		var m OpenMorning
		var d *time.Time
		err := r.Scan(&m.Subscriber, &m.Reach, &d)
		m.Day = dateOf(d)
		return m, err
	})
	if err != nil {
		return nil, fmt.Errorf("open mornings: %w", classify(err))
	}

	return out, nil
}

// Reword changes what a claimed mail says before it is transmitted, so that what
// was told stays on record. ErrStale: the row is not this attempt's any more.
func (db *DB) Reword(ctx context.Context, l coldseam.OutboxMessage, verdict string, goes []coldseam.ReachID,
	payload []byte) error {
	tag, err := db.pool.Exec(ctx, `
		UPDATE coldseam.outbox SET verdict = NULLIF($4, ''), payload = $5, goes = string_to_array($6, E'\n')
		WHERE outbox_id = $1 AND worker = $2 AND attempt = $3 AND state = 'claimed'`, l.ID, l.Worker, l.Attempt, verdict, payload, joinReaches(goes))
	if err != nil {
		return fmt.Errorf("reword mail %d: %w", l.ID, classify(err))
	}
	if tag.RowsAffected() == 0 {
		return fmt.Errorf("reword mail %d: %w", l.ID, coldseam.ErrStale)
	}
	return nil
}

// SaveBriefWith stores a brief and queues the mailing that it calls for in one
// transaction, so that page, calendar and mail change together. A mailing
// without mails queues nothing. It returns the brief's id and the number of
// new mails.
func (db *DB) SaveBriefWith(ctx context.Context, b coldseam.Brief, e NewMailing) (id int64, n int, err error) {
	err = db.inTx(ctx, func(tx pgx.Tx) error {
		if id, err = db.saveBrief(ctx, tx, b); err != nil || len(e.Messages) == 0 {
			return err
		}
		if err := e.check(); err != nil {
			return err
		}
		_, n, err = db.queueMailing(ctx, tx, e)
		if err == errNothing {
			// The mailing row goes with its savepoint; the brief stays.
			n, err = 0, nil
		}

		return err
	})
	if err != nil {
		return 0, 0, fmt.Errorf("brief %s %s with mail: %w", b.Reach, b.Day, classify(err))
	}

	return id, n, nil
}

// ReplaceTrip records what a subscriber says of a reach and day in place of
// what they said before. An entry of a phone that came before changes nothing.
func (db *DB) ReplaceTrip(ctx context.Context, t coldseam.Trip) error {
	if t.Subscriber == 0 {
		return fmt.Errorf("trip %s %s: no subscriber: %w", t.Reach, t.Date, coldseam.ErrInvalid)
	}
	err := db.inTx(ctx, func(tx pgx.Tx) error {
		if err := claimEntry(ctx, tx, t.Subscriber, t.Entry, db.now()); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, `DELETE FROM coldseam.rig_log WHERE trip_id IN (
			SELECT trip_id FROM coldseam.trip WHERE subscriber_id = $1 AND reach_id = $2 AND day = $3)`, t.Subscriber, t.Reach, t.Date.UTC()); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, `DELETE FROM coldseam.trip WHERE subscriber_id = $1 AND reach_id = $2 AND day = $3`,
			t.Subscriber, t.Reach, t.Date.UTC()); err != nil {
			return err
		}
		_, _, err := db.addTrip(ctx, tx, t)
		return err
	})
	if err != nil && !errors.Is(err, errCame) {
		return fmt.Errorf("replace trip %s %s: %w", t.Reach, t.Date, classify(err))
	}

	return nil
}
