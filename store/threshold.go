package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// ThresholdEdit is one change of a limit; nil = the program's own.
type ThresholdEdit struct {
	Key      string
	Old, New *string
	At       time.Time
	Who, Why string
}

// SetThreshold sets a limit of the club, or clears it with value nil, and
// keeps who did it, when and why. An equal value writes nothing.
func (db *DB) SetThreshold(ctx context.Context, key string, value *string, e Edit) error {
	if key == "" {
		return fmt.Errorf("threshold: no key: %w", coldseam.ErrInvalid)
	}
	if err := e.check(); err != nil {
		return fmt.Errorf("threshold %s: %w", key, err)
	}
	at := micro(e.At)
	if e.At.IsZero() {
		at = micro(db.now())
	}

	err := db.inTx(ctx, func(tx pgx.Tx) error {
		var old *string
		if err := tx.QueryRow(ctx, `SELECT (SELECT value FROM coldseam.threshold WHERE key = $1 FOR UPDATE)`, key).Scan(
			&old); err != nil {
			return err
		}
		if old == nil && value == nil || old != nil && value != nil && *old == *value {
			return nil
		}

		b := &pgx.Batch{}
		if value == nil {
			b.Queue(`DELETE FROM coldseam.threshold WHERE key = $1`, key)
		} else {
			b.Queue(`INSERT INTO coldseam.threshold (key, value, edited_at, who, why) VALUES ($1, $2, $3, $4, $5)
				ON CONFLICT ON CONSTRAINT threshold_pkey DO UPDATE SET value = excluded.value, edited_at = excluded.edited_at, who = excluded.who, why = excluded.why`,
				key, *value, at, e.Who, e.Why)
		}

		b.Queue(`INSERT INTO coldseam.threshold_audit (key, old_value, new_value, edited_at, who, why) VALUES ($1, $2, $3, $4, $5, $6)`,
			key, old, value, at, e.Who, e.Why)
		return tx.SendBatch(ctx, b).Close()
	})
	if err != nil {
		return fmt.Errorf("threshold %s: %w", key, classify(err))
	}

	return nil
}

// Thresholds returns the limits the club has set.
func (db *DB) Thresholds(ctx context.Context) (map[string]string, error) {
	rows, err := db.pool.Query(ctx, `SELECT key, value FROM coldseam.threshold`)
	if err != nil {
		return nil, fmt.Errorf("thresholds: %w", classify(err))
	}
	out := map[string]string{}
	var k, v string
	if _, err := pgx.ForEachRow(rows, []any{&k, &v}, func() error { out[k] = v; return nil }); err != nil {
		return nil, fmt.Errorf("thresholds: %w", classify(err))
	}
	return out, nil
}

// ThresholdEdits lists every change of a limit, oldest first; key "" = all.
func (db *DB) ThresholdEdits(ctx context.Context, key string) ([]ThresholdEdit, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT key, old_value, new_value, edited_at, who, why FROM coldseam.threshold_audit
		WHERE $1 = '' OR key = $1 ORDER BY audit_id`, key)
	if err != nil {
		return nil, fmt.Errorf("threshold edits: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, pgx.RowToStructByPos[ThresholdEdit])
	if err != nil {
		return nil, fmt.Errorf("threshold edits: %w", classify(err))
	}
	return out, nil
}
