package store

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// Swept counts what a sweep moved.
type Swept struct {
	Returned int // claimed, lease over: nothing was transmitted, pending again
	Unknown  int // in data, lease over
	Resent   int // unknown, put back by the policy
	Expired  int // deadline passed
}

// Sweep ends leases that are over, expires what is past its deadline and
// applies the policy for mails without an answer: by default they are sent
// again with the same Message-ID, with HoldUnknown they stay. Every server may
// call it every minute.
func (db *DB) Sweep(ctx context.Context, now time.Time) (Swept, error) {
	now = micro(now)
	var s Swept
	steps := []struct {
		n   *int
		sql string
		on  bool
	}{
		{&s.Unknown, sweepSQL(`state = 'unknown', done_at = $1`, `state = 'in_data' AND lease_until <= $1`), true},
		{&s.Returned, sweepSQL(`state = 'pending', lease_until = NULL, worker = '', next_at = $1`,
			`state = 'claimed' AND lease_until <= $1`), true},
		{&s.Expired, sweepSQL(`state = 'expired', done_at = $1`, `state IN ('pending', 'deferred') AND deadline <= $1`),
			true},
		// After a lost reply the relay gets a minute. A lease that ran out was not
		// renewed for as long as it is: its worker is gone, and a few seconds are
		// left for one whose database was slow. A relay that loses the reply to
		// one mail again and again gets it no more than 12 times [proposal]; a
		// crash of ours says nothing about the mail.
		{&s.Resent, sweepSQL(`state = 'pending', worker = '', lease_until = NULL, next_at = $1`,
			`state = 'unknown' AND deadline > $1 AND (attempt < 12 OR last_stage IS DISTINCT FROM 'dot')
			  AND (done_at <= $1::timestamptz - interval '1 minute' OR lease_until <= $1::timestamptz - interval '10 seconds')`), !db.opts.HoldUnknown},
	}

	err := db.inTx(ctx, func(tx pgx.Tx) error {
		for _, st := range steps {
			if !st.on {
				continue
			}
			tag, err := tx.Exec(ctx, st.sql, now)
			if err != nil {
				return err
			}
			*st.n = int(tag.RowsAffected())
		}
		return nil
	})
	if err != nil {
		return Swept{}, fmt.Errorf("sweep outbox: %w", classify(err))
	}

	return s, nil
}

// sweepSQL moves the rows that nobody holds a lock on: a server that was cut
// off in the middle of a claim must not stop the others.
func sweepSQL(set, where string) string {
	return `UPDATE coldseam.outbox SET ` + set + ` WHERE outbox_id IN (
		SELECT outbox_id FROM coldseam.outbox WHERE ` + where + ` ORDER BY outbox_id FOR UPDATE SKIP LOCKED)`
}

// Hold stops all sending at once, also of what is claimed and not yet in
// transmission; it is kept over restarts.
func (db *DB) Hold(ctx context.Context, e Edit) error { return db.setSwitch(ctx, "hold", true, e) }

// Release lets sending go on, stopped mailings too. What is past its deadline
// stays unsent.
func (db *DB) Release(ctx context.Context, e Edit) error {
	for _, name := range []string{"hold", MassRefusal} {
		if err := db.setSwitch(ctx, name, false, e); err != nil {
			return err
		}
	}
	if _, err := db.pool.Exec(ctx, `UPDATE coldseam.edition SET held = false WHERE held`); err != nil {
		return fmt.Errorf("release editions: %w", classify(err))
	}
	return nil
}

// Held reports whether sending is held, since when, by whom and why.
func (db *DB) Held(ctx context.Context) (held bool, since time.Time, e Edit, err error) {
	held, e, err = db.Switch(ctx, "hold")
	return held, e.At, e, err
}

// SetSwitch sets a named switch of the program, such as the admin's word that
// a job is off.
func (db *DB) SetSwitch(ctx context.Context, name string, on bool, e Edit) error {
	return db.setSwitch(ctx, name, on, e)
}

// SwitchesOn lists the named switches that are on and begin with prefix.
func (db *DB) SwitchesOn(ctx context.Context, prefix string) (map[string]bool, error) {
	rows, err := db.pool.Query(ctx, `SELECT name FROM coldseam.switch WHERE is_on AND starts_with(name, $1)`, prefix)
	if err != nil {
		return nil, fmt.Errorf("switches %s: %w", prefix, classify(err))
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, fmt.Errorf("switches %s: %w", prefix, classify(err))
	}
	out := map[string]bool{}
	for _, n := range names {
		out[n] = true
	}
	return out, nil
}

// Switch reads a named switch; one that was never set is off.
func (db *DB) Switch(ctx context.Context, name string) (on bool, e Edit, err error) {
	err = db.pool.QueryRow(ctx, `SELECT is_on, changed_at, who, why FROM coldseam.switch WHERE name = $1`, name).Scan(
		&on, &e.At, &e.Who, &e.Why)
	if err == pgx.ErrNoRows {
		return false, Edit{}, nil
	}
	if err != nil {
		return false, Edit{}, fmt.Errorf("switch %s: %w", name, classify(err))
	}
	e.At = e.At.UTC()
	return on, e, nil
}

const sqlSwitch = `
INSERT INTO coldseam.switch (name, is_on, changed_at, who, why) VALUES ($1, $2, $3, $4, $5)
ON CONFLICT ON CONSTRAINT switch_pkey DO UPDATE
SET is_on = excluded.is_on, changed_at = excluded.changed_at, who = excluded.who, why = excluded.why`

func (db *DB) setSwitch(ctx context.Context, name string, on bool, e Edit) error {
	if err := e.check(); err != nil {
		return fmt.Errorf("switch %s: %w", name, err)
	}
	at := e.At
	if at.IsZero() {
		at = db.now()
	}
	_, err := db.pool.Exec(ctx, sqlSwitch, name, on, micro(at), e.Who, e.Why)
	if err != nil {
		return fmt.Errorf("switch %s: %w", name, classify(err))
	}
	return nil
}

// MailCounts counts the outbox rows of one kind and local date by state.
func (db *DB) MailCounts(ctx context.Context, kind coldseam.MailKind,
	day coldseam.Date) (map[coldseam.MailState]int, error) {
	rows, err := db.pool.Query(ctx,
		`SELECT state, count(*) FROM coldseam.outbox WHERE kind = $1 AND local_date = $2 GROUP BY state`, kind,
		day.UTC())
	if err != nil {
		return nil, fmt.Errorf("mail counts: %w", classify(err))
	}
	out := map[coldseam.MailState]int{}
	var state coldseam.MailState
	var n int
	if _, err := pgx.ForEachRow(rows, []any{&state, &n}, func() error { out[state] = n; return nil }); err != nil {
		return nil, fmt.Errorf("mail counts: %w", classify(err))
	}
	return out, nil
}

// MailTrouble is one state of the outbox that an admin should see.
type MailTrouble struct {
	Kind   coldseam.MailKind
	Day    coldseam.Date
	State  coldseam.MailState
	N      int
	Reply  string // an example of the server's words
	Oldest time.Time
}

// MailTroubles lists unknown, failed, expired and deferred mails since a day,
// and mailings that were stopped.
func (db *DB) MailTroubles(ctx context.Context, since coldseam.Date) ([]MailTrouble, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT o.kind, o.local_date, CASE WHEN e.held AND o.state IN ('pending', 'deferred') THEN 'held' ELSE o.state END AS st, count(*), max(o.reply), min(e.made_at)
		FROM coldseam.outbox o
		JOIN coldseam.edition e USING (edition_id)
		WHERE o.local_date >= $1 AND (o.state IN ('unknown', 'failed', 'expired', 'deferred') OR e.held AND o.state = 'pending')
		GROUP BY 1, 2, 3
		ORDER BY 2 DESC, 1, 3`, since.UTC())
	if err != nil {
		return nil, fmt.Errorf("mail troubles: %w", classify(err))
	}

	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (MailTrouble, error) {
		var m MailTrouble
		var day *time.Time
		err := r.Scan(&m.Kind, &day, &m.State, &m.N, &m.Reply, &m.Oldest)
		m.Day, m.Oldest = dateOf(day), m.Oldest.UTC()
		return m, err
	})
	if err != nil {
		return nil, fmt.Errorf("mail troubles: %w", classify(err))
	}

	return out, nil
}
