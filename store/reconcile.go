package store

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// UnknownMail is a mail of which nobody knows whether the relay took it.
type UnknownMail struct {
	ID        int64
	Date      coldseam.Date
	Kind      coldseam.MailKind
	MessageID string
}

// UnknownMails lists the mails without an answer, oldest first.
func (db *DB) UnknownMails(ctx context.Context) ([]UnknownMail, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT outbox_id, local_date::text, kind, message_id FROM coldseam.outbox WHERE state = 'unknown' ORDER BY outbox_id`)
	if err != nil {
		return nil, fmt.Errorf("unknown mails: %w", classify(err))
	}

	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (UnknownMail, error) {
		var u UnknownMail
		var d string
		err := r.Scan(&u.ID, &d, &u.Kind, &u.MessageID)
		if err == nil {
			u.Date, err = coldseam.ParseDate(d)
		}
		return u, err
	})
	if err != nil {
		return nil, fmt.Errorf("unknown mails: %w", classify(err))
	}

	return out, nil
}

// Reconcile turns an unknown mail into a sent one, by other evidence than the
// relay's answer. A row that is not unknown any more is left alone: false.
func (db *DB) Reconcile(ctx context.Context, id int64, why string) (bool, error) {
	tag, err := db.pool.Exec(ctx, `
		UPDATE coldseam.outbox SET state = 'sent', reply = $2, done_at = COALESCE(done_at, $3), lease_until = NULL
		WHERE outbox_id = $1 AND state = 'unknown'`, id, clean(why), micro(db.now()))
	if err != nil {
		return false, fmt.Errorf("reconcile mail %d: %w", id, classify(err))
	}
	return tag.RowsAffected() == 1, nil
}
