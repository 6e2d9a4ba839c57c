package store

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// Bounce is one delivery failure.
type Bounce struct {
	At      time.Time
	MailDay coldseam.Date // local date of the mail
	Code    int
	Esc     string // enhanced status code
	Text    string // the server's words
	Effect  string // suppressed, counted, ours
}

// failDays is after how many failing days in a row an address is suppressed
// [proposal].
const failDays = 3

// effectOf sorts an enhanced status code (RFC 3463): an address that does not
// exist suppresses at once, policy and security are about us, all else counts.
func effectOf(esc string) string {
	switch {
	case esc == "5.1.1" || esc == "5.1.2" || esc == "5.1.10":
		return "suppressed"
	case strings.HasPrefix(esc, "5.7.") || strings.HasPrefix(esc, "4.7."):
		return "ours"
	}
	return "counted"
}

// A server that calls many addresses of a club dead within a day is wrong about
// them, or about us: members do not vanish together [proposal].
const (
	massShare = 0.2
	massLeast = 3 // of the club's members, or all where there are fewer, but two

	// MassRefusal is the switch that is on from such a day until sending is
	// released, or for a day: nobody is taken off the list meanwhile.
	MassRefusal = "mass refusal"
)

// sqlGone lists the members whom a reply or a report took off the list within a
// day. Addresses that were never confirmed do not count: strangers enter them.
const sqlGone = `
SELECT s.subscriber_id
FROM coldseam.subscriber s
WHERE s.state = 'suppressed' AND s.confirmed_at IS NOT NULL AND s.suppressed_at > $1::timestamptz - interval '1 day'
  AND (EXISTS (SELECT FROM coldseam.outbox o WHERE o.subscriber_id = s.subscriber_id AND o.state = 'failed' AND o.done_at = s.suppressed_at)
    OR EXISTS (SELECT FROM coldseam.bounce b WHERE b.subscriber_id = s.subscriber_id AND b.effect = 'suppressed' AND b.bounced_at = s.suppressed_at))`

// suppress takes an address off the list for what a server said, unless it says
// that of too many: then all of the last day are put back, the refused mails wait
// again, and the mailings of members that are not out yet are held.
func suppress(ctx context.Context, tx pgx.Tx, id int64, why string, at time.Time) (done bool, err error) {
	// One at a time: two servers must not each see all but the other's.
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock(7263710004)`); err != nil {
		return false, err
	}
	if _, err := tx.Exec(ctx, sqlSuppress, id, clean(why), at); err != nil {
		return false, err
	}
	var gone []int64
	var members int

	var stopped bool
	err = tx.QueryRow(ctx, `
		WITH gone AS (`+sqlGone+`)
		SELECT (SELECT COALESCE(array_agg(subscriber_id), '{}') FROM gone),
		  (SELECT count(*) FROM coldseam.subscriber WHERE state = 'confirmed') + (SELECT count(*) FROM gone),
		  EXISTS (SELECT FROM coldseam.switch WHERE name = $2 AND is_on AND changed_at > $1::timestamptz - interval '1 day')`, at, MassRefusal).Scan(&gone, &members, &stopped)
	if err != nil {
		return false, err
	}

	n := len(gone)
	many := n >= max(2, min(massLeast, members)) && float64(n) >= massShare*float64(members)
	if n == 0 || !many && !stopped {
		return true, nil
	}

	if _, err := tx.Exec(ctx, `
		WITH back AS (
		  UPDATE coldseam.outbox o SET state = 'deferred', next_at = $2
		  FROM coldseam.subscriber s
		  WHERE s.subscriber_id = ANY($1) AND o.subscriber_id = s.subscriber_id AND o.state = 'failed' AND o.done_at = s.suppressed_at)
		UPDATE coldseam.bounce b SET effect = 'ours'
		FROM coldseam.subscriber s
		WHERE s.subscriber_id = ANY($1) AND b.subscriber_id = s.subscriber_id AND b.effect = 'suppressed' AND b.bounced_at = s.suppressed_at`, gone, at); err != nil {
		return false, err
	}

	if _, err := tx.Exec(ctx, sqlUnsuppressMany, gone); err != nil {
		return false, err
	}
	words := clean(fmt.Sprintf("%d of %d members were refused within a day, the last with: %s", n, members, why))
	if _, err = tx.Exec(ctx, `
		UPDATE coldseam.edition e SET held = true, held_why = $1
		WHERE NOT held AND EXISTS (
		  SELECT FROM coldseam.outbox o
		  WHERE o.edition_id = e.edition_id AND o.subscriber_id IS NOT NULL AND o.kind NOT IN ('confirm', 'welcome')
		    AND o.state IN ('pending', 'deferred', 'claimed'))`, words); err != nil || stopped {
		return false, err
	}

	_, err = tx.Exec(ctx, sqlSwitch, MassRefusal, true, at, "coldseam", words)
	return false, err
}

// RecordBounce stores a failure and suppresses the address when it does not
// exist, or after three failing days in a row: a day counts once, and a day in
// between on which mail went through without a bounce starts the count anew.
// Failures for policy reasons are about us and never count.
func (db *DB) RecordBounce(ctx context.Context, id int64, b Bounce) (suppressed bool, err error) {
	b.Effect = effectOf(b.Esc)
	err = db.inTx(ctx, func(tx pgx.Tx) error {
		var n int32
		var last *time.Time
		if err := tx.QueryRow(ctx,
			`SELECT fail_days, last_fail_day FROM coldseam.subscriber WHERE subscriber_id = $1 FOR UPDATE`, id).Scan(&n,
			&last); err != nil {
			return err
		}

		if b.Effect == "counted" {
			days, err := countFail(ctx, tx, id, int(n), dateOf(last), b.MailDay)
			if err != nil {
				return err
			}
			if days >= failDays {
				b.Effect = "suppressed"
			}
		}

		if _, err := tx.Exec(ctx,
			`INSERT INTO coldseam.bounce (subscriber_id, bounced_at, mail_day, code, esc, wording, effect) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			id, micro(b.At), b.MailDay.UTC(), b.Code, b.Esc, clean(b.Text), b.Effect); err != nil {
			return err
		}

		if suppressed = b.Effect == "suppressed"; suppressed {
			suppressed, err = suppress(ctx, tx, id, b.Esc+" "+b.Text, micro(b.At))
			return err
		}

		return nil
	})
	if err != nil {
		return false, fmt.Errorf("bounce of subscriber %d: %w", id, classify(err))
	}

	return suppressed, nil
}

func countFail(ctx context.Context, tx pgx.Tx, id int64, n int, last, day coldseam.Date) (int, error) {
	switch {
	case n > 0 && !last.Before(day):
		return n, nil // that day, or a later one, was counted
	case n > 0:
		var good bool
		err := tx.QueryRow(ctx, `
			SELECT EXISTS (
			  SELECT FROM coldseam.outbox o
			  WHERE o.subscriber_id = $1 AND o.state = 'sent' AND o.local_date > $2 AND o.local_date < $3
			    AND NOT EXISTS (SELECT FROM coldseam.bounce b WHERE b.subscriber_id = $1 AND b.mail_day = o.local_date))`,
			id, last.UTC(), day.UTC()).Scan(&good)
		if err != nil {
			return 0, err
		}

		if good {
			n = 0
		}
	}

	n++
	_, err := tx.Exec(ctx, `UPDATE coldseam.subscriber SET fail_days = $2, last_fail_day = $3 WHERE subscriber_id = $1`,
		id, n, day.UTC())
	return n, err
}

// Bounces lists the failures of one subscriber, newest first.
func (db *DB) Bounces(ctx context.Context, id int64) ([]Bounce, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT bounced_at, mail_day, code, esc, wording, effect
		FROM coldseam.bounce WHERE subscriber_id = $1 ORDER BY bounced_at DESC, bounce_id DESC`, id)
	if err != nil {
		return nil, fmt.Errorf("bounces of subscriber %d: %w", id, classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (Bounce, error) {
		var b Bounce
		var day *time.Time
		err := r.Scan(&b.At, &day, &b.Code, &b.Esc, &b.Text, &b.Effect)
		b.At, b.MailDay = b.At.UTC(), dateOf(day)
		return b, err
	})
	if err != nil {
		return nil, fmt.Errorf("bounces of subscriber %d: %w", id, classify(err))
	}
	return out, nil
}
