package store

import (
	"context"
	"fmt"
	"math"
	"sort"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// retryAfter are the waits after a passing failure [proposal].
var retryAfter = [...]time.Duration{time.Minute, 5 * time.Minute, 15 * time.Minute, 30 * time.Minute, time.Hour}

// paceSpan is how much of a domain's rate one claim may use at once.
const paceSpan = 10 * time.Second

// allDomains is the pace row that bounds all sending together.
const allDomains = "*"

const sqlClaimable = `
SELECT o.outbox_id, o.domain
FROM coldseam.outbox o
JOIN coldseam.edition e USING (edition_id)
WHERE o.state IN ('pending', 'deferred') AND o.next_at <= $1 AND o.deadline > $1 AND NOT e.held
  AND NOT (SELECT is_on FROM coldseam.switch WHERE name = 'hold')
  AND NOT EXISTS (SELECT FROM coldseam.pace p WHERE p.domain IN (o.domain, '*') AND p.next_at > $1)
ORDER BY o.priority, o.domain, o.outbox_id % 97, o.outbox_id
LIMIT $2
FOR UPDATE OF o SKIP LOCKED`

// The rows that sqlClaimable leaves out for their pace alone.
const sqlPaced = `
SELECT min(p.next_at)
FROM (
  SELECT DISTINCT o.domain
  FROM coldseam.outbox o
  JOIN coldseam.edition e USING (edition_id)
  WHERE o.state IN ('pending', 'deferred') AND o.next_at <= $1 AND o.deadline > $1 AND NOT e.held
    AND NOT (SELECT is_on FROM coldseam.switch WHERE name = 'hold')) w
CROSS JOIN LATERAL (SELECT max(p.next_at) AS next_at FROM coldseam.pace p WHERE p.domain IN (w.domain, '*')) p
WHERE p.next_at > $1`

// Paced is when the next mail that is due at now may be claimed, where nothing
// but the pace keeps it back; the zero time when no mail waits for that alone.
func (db *DB) Paced(ctx context.Context, now time.Time) (time.Time, error) {
	var at *time.Time
	if err := db.pool.QueryRow(ctx, sqlPaced, micro(now)).Scan(&at); err != nil {
		return time.Time{}, fmt.Errorf("pace: %w", classify(err))
	}
	return timeOf(at), nil
}

// A subscriber who left meanwhile is skipped; the confirm mail alone goes to a
// pending one, the welcome to either.
const sqlClaim = `
WITH pick AS (
  SELECT o.outbox_id, o.subscriber_id IS NULL OR EXISTS (
    SELECT FROM coldseam.subscriber s
    WHERE s.subscriber_id = o.subscriber_id AND (s.state = 'confirmed' OR o.kind = 'confirm' AND s.state = 'pending')) AS ok
  FROM coldseam.outbox o
  WHERE o.outbox_id = ANY($1)),
mine AS (
  UPDATE coldseam.outbox o
  SET state = CASE WHEN p.ok THEN 'claimed' ELSE 'skipped' END, attempt = o.attempt + 1, worker = $2, lease_until = $3,
      done_at = CASE WHEN p.ok THEN o.done_at ELSE $4 END
  FROM pick p
  WHERE o.outbox_id = p.outbox_id
  RETURNING o.*)
SELECT m.outbox_id, m.edition_id, COALESCE(m.subscriber_id, 0), COALESCE(s.email, m.admin_email), COALESCE(s.name, ''), COALESCE(s.state, ''),
  COALESCE(s.created_at, e.made_at), s.confirmed_at, COALESCE(s.prefs, '{}'), m.kind, m.local_date, COALESCE(m.reach_id, ''), m.state, m.attempt, m.worker,
  e.made_at, m.deadline, m.message_id, m.in_reply_to, m.domain, m.payload
FROM mine m
JOIN coldseam.edition e USING (edition_id)
LEFT JOIN coldseam.subscriber s USING (subscriber_id)
WHERE m.state = 'claimed'
ORDER BY m.priority, m.domain, m.outbox_id`

// Claim gives up to n due mails to a worker until now + lease, corrections
// first, no more of a domain than its rate allows. Rows of subscribers who
// left meanwhile become skipped. Nothing is claimed while sending is held. The
// lease need only reach to InData, which sets a longer one.
func (db *DB) Claim(ctx context.Context, worker string, now time.Time, lease time.Duration,
	n int) ([]coldseam.OutboxMessage, error) {
	if worker == "" || n < 1 {
		return nil, fmt.Errorf("claim: needs a worker and a number: %w", coldseam.ErrInvalid)
	}
	now = micro(now)
	var out []coldseam.OutboxMessage
	err := db.inTx(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, sqlClaimable, now, n)
		if err != nil {
			return err
		}

		byDomain := map[string][]int64{}
		var id int64
		var domain string
		if _, err := pgx.ForEachRow(rows, []any{&id, &domain}, func() error {
			byDomain[domain] = append(byDomain[domain], id)
			return nil
		}); err != nil {
			return err
		}

		ids, err := db.paced(ctx, tx, byDomain, now)
		if err != nil || len(ids) == 0 {
			return err
		}
		rows, err = tx.Query(ctx, sqlClaim, ids, worker, now.Add(lease), now)
		if err != nil {
			return err
		}
		out, err = pgx.CollectRows(rows, scanMessage)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("claim: %w", classify(err))
	}

	return out, nil
}

func scanMessage(r pgx.CollectableRow) (coldseam.OutboxMessage, error) {
	var l coldseam.OutboxMessage
	var confirmed, day *time.Time
	s := &l.Subscriber
	err := r.Scan(&l.ID, &l.Mailing, &s.ID, &s.Email, &s.Name, &s.State, &s.CreatedAt, &confirmed, &s.Prefs, &l.Kind,
		&day, &l.Reach, &l.State,
		&l.Attempt, &l.Worker, &l.CreatedAt, &l.Deadline, &l.MessageID, &l.InReplyTo, &l.Domain, &l.Payload)
	s.CreatedAt, s.ConfirmedAt, l.LocalDate = s.CreatedAt.UTC(), timeOf(confirmed), dateOf(day)
	l.CreatedAt, l.Deadline = l.CreatedAt.UTC(), l.Deadline.UTC()
	return l, err
}

// paced cuts the claim to the rates and books what it uses. Domains are taken
// in order, so that two workers lock the rows in the same order.
func (db *DB) paced(ctx context.Context, tx pgx.Tx, byDomain map[string][]int64, now time.Time) ([]int64, error) {
	var ids []int64
	for _, d := range sortedKeys(byDomain) {
		k, err := db.reserve(ctx, tx, d, db.opts.DomainRate, len(byDomain[d]), now)
		if err != nil {
			return nil, err
		}
		ids = append(ids, byDomain[d][:k]...)
	}
	k, err := db.reserve(ctx, tx, allDomains, db.opts.TotalRate, len(ids), now)
	if err != nil {
		return nil, err
	}
	sort.Slice(ids, func(i, j int) bool { return ids[i] < ids[j] })
	return ids[:k], nil
}

// reserve takes up to want sends from a domain's rate and returns how many.
func (db *DB) reserve(ctx context.Context, tx pgx.Tx, domain string, rate float64, want int, now time.Time) (int, error) {
	if want == 0 {
		return 0, nil
	}
	if rate > 0 {
		if _, err := tx.Exec(ctx,
			`INSERT INTO coldseam.pace (domain, rate_hz, next_at) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING`, domain,
			rate, now); err != nil {
			return 0, err
		}
	}

	var have float64
	var next time.Time
	err := tx.QueryRow(ctx, `SELECT rate_hz, next_at FROM coldseam.pace WHERE domain = $1 FOR UPDATE`, domain).Scan(
		&have, &next)
	if err == pgx.ErrNoRows {
		return want, nil // no bound
	}
	if err != nil {
		return 0, err
	}

	if next.After(now) {
		return 0, nil
	}
	k := min(want, max(1, int(have*paceSpan.Seconds())))
	wait := time.Duration(float64(k) / have * float64(time.Second))
	_, err = tx.Exec(ctx, `UPDATE coldseam.pace SET next_at = $2 WHERE domain = $1`, domain, micro(now.Add(wait)))
	return k, err
}

const sqlInData = `
UPDATE coldseam.outbox o
SET state = 'in_data', lease_until = $5
WHERE o.outbox_id = $1 AND o.worker = $2 AND o.attempt = $3
  AND (o.state = 'in_data'
    OR o.state = 'claimed' AND o.lease_until > $4 AND o.deadline > $4
      AND NOT (SELECT is_on FROM coldseam.switch WHERE name = 'hold')
      AND NOT EXISTS (SELECT FROM coldseam.edition e WHERE e.edition_id = o.edition_id AND e.held)
      AND (o.subscriber_id IS NULL OR EXISTS (
        SELECT FROM coldseam.subscriber s
        WHERE s.subscriber_id = o.subscriber_id AND (s.state = 'confirmed' OR o.kind = 'confirm' AND s.state = 'pending'))))`

// InData commits that the text of a mail is about to be transmitted: from now
// on a crash leaves it unknown. False: the worker must not send, because its
// claim is over, the deadline has passed, sending is held or the subscriber
// left. Called again while the reply is waited for, it lengthens the lease,
// whatever was held or left meanwhile: the text is on its way.
func (db *DB) InData(ctx context.Context, l coldseam.OutboxMessage, now, leaseUntil time.Time) (bool, error) {
	tag, err := db.pool.Exec(ctx, sqlInData, l.ID, l.Worker, l.Attempt, micro(now), micro(leaseUntil))
	if err != nil {
		return false, fmt.Errorf("mail %d in data: %w", l.ID, classify(err))
	}
	return tag.RowsAffected() == 1, nil
}

// A reply that comes after the lease was swept still counts, as long as
// nobody else has taken the row.
const sqlDone = `
UPDATE coldseam.outbox
SET state = $4, done_at = $5, next_at = $6, lease_until = NULL, last_stage = $7, last_code = $8, last_esc = $9, reply = $10
WHERE outbox_id = $1 AND worker = $2 AND attempt = $3 AND state IN ('claimed', 'in_data', 'unknown')
RETURNING COALESCE(subscriber_id, 0), edition_id, domain`

// Done records what an attempt came to, and what follows from it: the wait
// after a passing failure, a suppressed address, a slower or faster domain, an
// mailing stopped because the fault is ours. ErrStale: the row is not this
// attempt's any more, and nothing was changed.
func (db *DB) Done(ctx context.Context, l coldseam.OutboxMessage, o coldseam.Outcome, now time.Time) error {
	now = micro(now)
	next := now
	state := o.State
	if state == coldseam.MailDeferred {
		if next = micro(o.NextAt); o.NextAt.IsZero() {
			next = now.Add(waitAfter(l))
		}
	}

	err := db.inTx(ctx, func(tx pgx.Tx) error {
		var sub, edition int64
		var domain string
		err := tx.QueryRow(ctx, sqlDone, l.ID, l.Worker, l.Attempt, state, now, next, o.Stage, o.Code, o.Esc,
			clean(o.Reply)).Scan(&sub, &edition, &domain)
		if err == pgx.ErrNoRows {
			return coldseam.ErrStale
		}
		if err != nil {
			return err
		}

		if o.Suppress != "" && sub != 0 {
			if _, err := suppress(ctx, tx, sub, o.Suppress, now); err != nil {
				return err
			}
		}

		if o.Breaker {
			why := clean(fmt.Sprintf("%d %s %s", o.Code, o.Esc, o.Reply))
			if _, err := tx.Exec(ctx,
				`UPDATE coldseam.edition SET held = true, held_why = $2 WHERE edition_id = $1 AND NOT held`, edition,
				why); err != nil {
				return err
			}
		}

		return db.adaptPace(ctx, tx, domain, o, now)
	})
	if err != nil {
		return fmt.Errorf("mail %d done: %w", l.ID, classify(err))
	}

	return nil
}

// waitAfter is the wait before the next attempt, spread by +-20 % so that a
// batch does not come back as one.
func waitAfter(l coldseam.OutboxMessage) time.Duration {
	w := retryAfter[min(max(l.Attempt-1, 0), len(retryAfter)-1)]
	spread := float64((l.ID*2654435761+int64(l.Attempt)*40503)%1000) / 1000 // 0-1, the same for the same attempt
	return time.Duration(float64(w) * (.8 + .4*math.Abs(spread)))
}

// slowDown tells the replies that ask to send less.
func slowDown(o coldseam.Outcome) bool {
	return o.Code == 421 || strings.HasPrefix(o.Esc, "4.7.") || o.Esc == "4.3.2" ||
		strings.Contains(strings.ToLower(o.Reply), "too many")
}

// adaptPace halves the rate of a domain that asks for it and doubles it after
// 100 good mails, up to the configured rate.
func (db *DB) adaptPace(ctx context.Context, tx pgx.Tx, domain string, o coldseam.Outcome, now time.Time) error {
	base := db.opts.DomainRate

	switch {
	case slowDown(o):
		first := base
		if first == 0 {
			first = 1 // a mail a second where no rate was set
		}
		_, err := tx.Exec(ctx, `
			INSERT INTO coldseam.pace AS p (domain, rate_hz, next_at) VALUES ($1, $2 / 2.0, $3)
			ON CONFLICT (domain) DO UPDATE SET rate_hz = GREATEST(p.rate_hz / 2, 1.0 / 60), good = 0`, domain, first, now)
		return err
	case o.State == coldseam.MailSent && base > 0:
		_, err := tx.Exec(ctx, `
			UPDATE coldseam.pace SET good = CASE WHEN good >= 99 THEN 0 ELSE good + 1 END,
			  rate_hz = CASE WHEN good >= 99 THEN LEAST(rate_hz * 2, $2) ELSE rate_hz END
			WHERE domain = $1 AND rate_hz < $2`, domain, base)
		return err
	case o.State == coldseam.MailSent:
		// No rate was set: after 100 good mails there is none again.
		if _, err := tx.Exec(ctx, `UPDATE coldseam.pace SET good = good + 1 WHERE domain = $1`, domain); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `DELETE FROM coldseam.pace WHERE domain = $1 AND good >= 100`, domain)
		return err
	}

	return nil
}
