package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// ToldLetter is a morning mail that went out, or may have, with what it said.
type ToldLetter struct {
	Subscriber int64
	LocalDate  coldseam.Date
	MadeAt     time.Time
	State      coldseam.MailState
	Payload    []byte
}

// Told lists the morning mails of a local date that a subscriber may have
// read: sent, in transmission or without an answer, and those still waiting,
// which will say what their payload says. Expired, failed and skipped ones
// told nobody anything.
func (db *DB) Told(ctx context.Context, day coldseam.Date) ([]ToldLetter, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT o.subscriber_id, o.local_date, e.made_at, o.state, o.payload
		FROM coldseam.outbox o
		JOIN coldseam.edition e USING (edition_id)
		JOIN coldseam.subscriber s USING (subscriber_id)
		WHERE o.kind = 'morning' AND o.local_date = $1 AND s.state = 'confirmed'
		  AND o.state IN ('sent', 'in_data', 'unknown', 'pending', 'claimed', 'deferred')
		ORDER BY o.outbox_id`, day.UTC())
	if err != nil {
		return nil, fmt.Errorf("told on %s: %w", day, classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (ToldLetter, error) {
		var t ToldLetter
		var d *time.Time
		err := r.Scan(&t.Subscriber, &d, &t.MadeAt, &t.State, &t.Payload)
		t.LocalDate, t.MadeAt = dateOf(d), t.MadeAt.UTC()
		return t, err
	})
	if err != nil {
		return nil, fmt.Errorf("told on %s: %w", day, classify(err))
	}
	return out, nil
}

// Reword changes what a claimed mail says before it is transmitted, so that what
// was told stays on record. ErrStale: the row is not this attempt's any more.
func (db *DB) Reword(ctx context.Context, l coldseam.Letter, verdict string, payload []byte) error {
	tag, err := db.pool.Exec(ctx, `
		UPDATE coldseam.outbox SET verdict = NULLIF($4, ''), payload = $5
		WHERE outbox_id = $1 AND worker = $2 AND attempt = $3 AND state = 'claimed'`, l.ID, l.Worker, l.Attempt, verdict, payload)
	if err != nil {
		return fmt.Errorf("reword mail %d: %w", l.ID, classify(err))
	}
	if tag.RowsAffected() == 0 {
		return fmt.Errorf("reword mail %d: %w", l.ID, coldseam.ErrStale)
	}
	return nil
}

// SaveBriefWith stores a brief and queues the edition that it calls for in one
// transaction, so that page, calendar and mail change together. An edition
// without letters queues nothing. It returns the brief's id and the number of
// new mails.
func (db *DB) SaveBriefWith(ctx context.Context, b coldseam.Brief, e NewEdition) (id int64, n int, err error) {
	err = db.inTx(ctx, func(tx pgx.Tx) error {
		if id, err = db.saveBrief(ctx, tx, b); err != nil || len(e.Letters) == 0 {
			return err
		}
		if err := e.check(); err != nil {
			return err
		}
		_, n, err = db.queueEdition(ctx, tx, e)
		if err == errNothing {
			// The edition row goes with its savepoint; the brief stays.
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
// what they said before.
func (db *DB) ReplaceTrip(ctx context.Context, t coldseam.Trip) error {
	if t.Subscriber == 0 {
		return fmt.Errorf("trip %s %s: no subscriber: %w", t.Reach, t.Date, coldseam.ErrInvalid)
	}
	err := db.inTx(ctx, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `DELETE FROM coldseam.rig_log WHERE trip_id IN (
			SELECT trip_id FROM coldseam.trip WHERE subscriber_id = $1 AND reach_id = $2 AND day = $3)`, t.Subscriber, t.Reach, t.Date.UTC()); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, `DELETE FROM coldseam.trip WHERE subscriber_id = $1 AND reach_id = $2 AND day = $3`, t.Subscriber, t.Reach, t.Date.UTC()); err != nil {
			return err
		}
		_, _, err := db.addTrip(ctx, tx, t)
		return err
	})
	if err != nil {
		return fmt.Errorf("replace trip %s %s: %w", t.Reach, t.Date, classify(err))
	}
	return nil
}
