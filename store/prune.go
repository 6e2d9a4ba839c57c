package store

import (
	"context"
	"fmt"
	"time"
)

// DropMembers drops the members of ensembles issued before a time; their
// quantiles stay. It returns how many ensembles lost them.
func (db *DB) DropMembers(ctx context.Context, before time.Time) (int, error) {
	tag, err := db.pool.Exec(ctx,
		`UPDATE coldseam.ensemble SET members = NULL, trace = NULL WHERE issued_at < $1 AND members IS NOT NULL`,
		micro(before))
	if err != nil {
		return 0, fmt.Errorf("drop members: %w", classify(err))
	}
	return int(tag.RowsAffected()), nil
}

// PruneFetches deletes the log of fetches that ended before a time, payloads
// with it. It returns how many.
func (db *DB) PruneFetches(ctx context.Context, before time.Time) (int, error) {
	tag, err := db.pool.Exec(ctx, `DELETE FROM coldseam.raw_fetch WHERE fetched_at < $1`, micro(before))
	if err != nil {
		return 0, fmt.Errorf("prune fetches: %w", classify(err))
	}
	return int(tag.RowsAffected()), nil
}

// PruneStates forgets addresses that nobody has asked since a time, such as
// the documents of old warnings. It returns how many.
func (db *DB) PruneStates(ctx context.Context, before time.Time) (int, error) {
	tag, err := db.pool.Exec(ctx,
		`DELETE FROM coldseam.fetch_state WHERE last_try_at < $1 AND (not_before IS NULL OR not_before < $1)`,
		micro(before))
	if err != nil {
		return 0, fmt.Errorf("prune fetch states: %w", classify(err))
	}
	return int(tag.RowsAffected()), nil
}

// PrunePayloads empties the payload of mails done before a time: what was told
// stays in the briefs. It returns how many.
func (db *DB) PrunePayloads(ctx context.Context, before time.Time) (int, error) {
	tag, err := db.pool.Exec(ctx, `
		UPDATE coldseam.outbox SET payload = ''
		WHERE done_at < $1 AND state IN ('sent', 'failed', 'skipped', 'expired') AND payload <> ''`, micro(before))
	if err != nil {
		return 0, fmt.Errorf("prune payloads: %w", classify(err))
	}
	return int(tag.RowsAffected()), nil
}

// DropCharts takes the chart data out of briefs issued before a time, and out of
// those issued before a later time that a newer one of their morning replaced:
// what was told stays whole in words and numbers. It looks at the ten days before
// each time, so that a daily round does not unpack the briefs of all years. It
// returns how many.
func (db *DB) DropCharts(ctx context.Context, before, replaced time.Time) (n int, err error) {
	const drop = `
		UPDATE coldseam.brief b SET body = body - 'Chart'
		WHERE b.day > $1::timestamptz::date - 10 AND b.issued_at < $1 AND b.body ? 'Chart'`
	for sql, t := range map[string]time.Time{drop: before, drop + ` AND EXISTS (
		SELECT FROM coldseam.brief n
		WHERE n.reach_id = b.reach_id AND n.day = b.day AND n.issued_at > b.issued_at AND NOT n.replay)`: replaced} {
		tag, err := db.pool.Exec(ctx, sql, micro(t))
		if err != nil {
			return n, fmt.Errorf("drop charts: %w", classify(err))
		}
		n += int(tag.RowsAffected())
	}
	return n, nil
}
