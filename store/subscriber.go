package store

import (
	"context"
	"encoding/json"
	"fmt"
	"net/mail"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/coldseam"
)

// The states of a subscriber.
const (
	SubPending      = "pending"
	SubConfirmed    = "confirmed"
	SubPaused       = "paused"
	SubSuppressed   = "suppressed"
	SubUnsubscribed = "unsubscribed"
)

// CheckEmail accepts a plain address: no display name, at most 254 bytes, a
// dot in the domain, nothing that could end a header. ErrInvalid without
// repeating the address, which must not reach a log.
func CheckEmail(s string) error {
	a, err := mail.ParseAddress(s)
	at := strings.LastIndexByte(s, '@')
	if err != nil || a.Address != s || len(s) > 254 || at < 1 || !strings.Contains(strings.Trim(s[at+1:], "."), ".") ||
		strings.ContainsAny(s[at+1:], "[]") || strings.ContainsAny(s, "\r\n\x00 ") || !isASCII(s) {
		return fmt.Errorf("the address is not a plain mail address: %w", coldseam.ErrInvalid)
	}
	return nil
}

// isASCII: other letters need an extension that few relays have, and a look-alike
// of a known address would be somebody else's. A domain in another script has a
// form in ASCII.
func isASCII(s string) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return r > '~' || r < ' ' })
}

// EmailDomain is the recipient domain of an address, lower case.
func EmailDomain(s string) string {
	return strings.ToLower(s[strings.LastIndexByte(s, '@')+1:])
}

// localTime reads "04:45" for a time column.
func localTime(s string) (string, error) {
	t, err := time.Parse("15:04", s)
	if err != nil {
		return "", fmt.Errorf("local time %q: want HH:MM: %w", s, coldseam.ErrInvalid)
	}
	return t.Format("15:04"), nil
}

// subColumns are the preferences that SQL decides by.
type subColumns struct {
	zone, sendAt string
	windowFrom   *string
	prefs        []byte
}

func (db *DB) subColumns(ctx context.Context, p coldseam.Preferences) (c subColumns, err error) {
	if err := db.checkZone(ctx, p.Zone); err != nil {
		return c, err
	}
	c.zone = p.Zone
	if p.SendAt == "" {
		p.SendAt = DefaultSendAt
	}
	if c.sendAt, err = localTime(p.SendAt); err != nil {
		return c, err
	}

	if p.WindowFrom != "" {
		w, err := localTime(p.WindowFrom)
		if err != nil {
			return c, err
		}
		c.windowFrom = &w
	}

	if c.prefs, err = json.Marshal(p); err != nil {
		return c, fmt.Errorf("preferences: %w: %w", err, coldseam.ErrInvalid)
	}
	return c, nil
}

// DefaultSendAt is the local time of the morning mail where none is chosen
// [proposal].
const DefaultSendAt = "04:45"

// AddSubscriber enters an address as pending, or returns the one that is
// there: known = true then, whatever its state, and nothing is changed except
// that an unsubscribed or pending one takes the new preferences. Who left must
// confirm anew, whatever was confirmed before. A confirmed
// one is left alone: a stranger may have typed the address. The zone must be
// set.
func (db *DB) AddSubscriber(ctx context.Context, email, name string,
	p coldseam.Preferences) (s coldseam.Subscriber, known bool, err error) {
	fail := func(err error) (coldseam.Subscriber, bool, error) {
		return coldseam.Subscriber{}, false, fmt.Errorf("add subscriber: %w", classify(err))
	}
	if err := CheckEmail(email); err != nil {
		return fail(err)
	}
	c, err := db.subColumns(ctx, p)
	if err != nil {
		return fail(err)
	}

	var id int64
	err = db.pool.QueryRow(ctx, `
		INSERT INTO coldseam.subscriber (email, name, state, created_at, zone, send_at, window_from, prefs, angler)
		VALUES ($1, $2, 'pending', $3, $4, $5::text::time, $6::text::time, $7, 'a' || left(md5(gen_random_uuid()::text), 12))
		ON CONFLICT (lower(email)) DO NOTHING
		RETURNING subscriber_id`, email, clean(name), micro(db.now()), c.zone, c.sendAt, c.windowFrom, c.prefs).Scan(&id)
	if err == pgx.ErrNoRows {
		known = true
		err = db.pool.QueryRow(ctx, `
			UPDATE coldseam.subscriber
			SET state = CASE WHEN state = 'unsubscribed' THEN 'pending' ELSE state END,
			    confirmed_at = CASE WHEN state = 'unsubscribed' THEN NULL ELSE confirmed_at END,
			    name       = CASE WHEN state IN ('pending', 'unsubscribed') THEN $2 ELSE name END,
			    zone       = CASE WHEN state IN ('pending', 'unsubscribed') THEN $3 ELSE zone END,
			    send_at    = CASE WHEN state IN ('pending', 'unsubscribed') THEN $4::text::time ELSE send_at END,
			    window_from = CASE WHEN state IN ('pending', 'unsubscribed') THEN $5::text::time ELSE window_from END,
			    prefs      = CASE WHEN state IN ('pending', 'unsubscribed') THEN $6 ELSE prefs END
			WHERE lower(email) = lower($1)
			RETURNING subscriber_id`, email, clean(name), c.zone, c.sendAt, c.windowFrom, c.prefs).Scan(&id)
	}

	if err != nil {
		return fail(err)
	}
	s, err = db.Subscriber(ctx, id)
	return s, known, err
}

const subCols = `subscriber_id, email, name, state, created_at, confirmed_at, prefs, suppressed_why`

func scanSub(r pgx.CollectableRow) (coldseam.Subscriber, error) {
	var s coldseam.Subscriber
	var confirmed *time.Time
	err := r.Scan(&s.ID, &s.Email, &s.Name, &s.State, &s.CreatedAt, &confirmed, &s.Prefs, &s.Suppressed)
	s.CreatedAt, s.ConfirmedAt = s.CreatedAt.UTC(), timeOf(confirmed)
	return s, err
}

func (db *DB) oneSub(ctx context.Context, where string, arg any) (coldseam.Subscriber, error) {
	rows, err := db.pool.Query(ctx, `SELECT `+subCols+` FROM coldseam.subscriber WHERE `+where, arg)
	if err != nil {
		return coldseam.Subscriber{}, classify(err)
	}
	s, err := pgx.CollectExactlyOneRow(rows, scanSub)
	return s, classify(err)
}

// Subscriber returns one subscriber, or ErrNotFound.
func (db *DB) Subscriber(ctx context.Context, id int64) (coldseam.Subscriber, error) {
	s, err := db.oneSub(ctx, `subscriber_id = $1`, id)
	if err != nil {
		return s, fmt.Errorf("subscriber %d: %w", id, err)
	}
	return s, nil
}

// SubscriberByEmail returns one subscriber, or ErrNotFound; the error does not
// repeat the address.
func (db *DB) SubscriberByEmail(ctx context.Context, email string) (coldseam.Subscriber, error) {
	s, err := db.oneSub(ctx, `lower(email) = lower($1)`, email)
	if err != nil {
		return s, fmt.Errorf("subscriber by address: %w", err)
	}
	return s, nil
}

// Subscribers lists subscribers by id, of one state or of all ("").
func (db *DB) Subscribers(ctx context.Context, state string) ([]coldseam.Subscriber, error) {
	rows, err := db.pool.Query(ctx, `SELECT `+subCols+
		` FROM coldseam.subscriber WHERE $1 = '' OR state = $1 ORDER BY subscriber_id`, state)
	if err != nil {
		return nil, fmt.Errorf("subscribers: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, scanSub)
	if err != nil {
		return nil, fmt.Errorf("subscribers: %w", classify(err))
	}
	return out, nil
}

// setSub runs an update of one subscriber; no row is ErrNotFound, or
// ErrRejected when the subscriber is there but in another state.
func (db *DB) setSub(ctx context.Context, what string, id int64, sql string, args ...any) error {
	tag, err := db.pool.Exec(ctx, sql, append([]any{id}, args...)...)
	if err == nil && tag.RowsAffected() == 0 {
		s, ferr := db.Subscriber(ctx, id)
		if ferr != nil {
			return ferr
		}
		err = fmt.Errorf("it is %s: %w", s.State, coldseam.ErrRejected)
	}
	if err != nil {
		return fmt.Errorf("%s subscriber %d: %w", what, id, classify(err))
	}
	return nil
}

// Confirm turns a pending subscriber into a confirmed one; confirmed already
// is no error. In any other state it is ErrRejected: an old link must not bring
// back somebody who left.
func (db *DB) Confirm(ctx context.Context, id int64) error {
	return db.setSub(ctx, "confirm", id, `
		UPDATE coldseam.subscriber SET state = 'confirmed', confirmed_at = COALESCE(confirmed_at, $2)
		WHERE subscriber_id = $1 AND state IN ('pending', 'confirmed')`, micro(db.now()))
}

// Unsubscribe ends the mail at once, from any state; a second time is no
// error. Rows that wait in the outbox are skipped when their turn comes.
func (db *DB) Unsubscribe(ctx context.Context, id int64) error {
	return db.setSub(ctx, "unsubscribe", id,
		`UPDATE coldseam.subscriber SET state = 'unsubscribed' WHERE subscriber_id = $1`)
}

// Pause and Resume stop and restart the mail of a confirmed subscriber.
func (db *DB) Pause(ctx context.Context, id int64) error {
	return db.setSub(ctx, "pause", id,
		`UPDATE coldseam.subscriber SET state = 'paused' WHERE subscriber_id = $1 AND state IN ('confirmed', 'paused')`)
}

// Resume restarts the mail of a paused subscriber.
func (db *DB) Resume(ctx context.Context, id int64) error {
	return db.setSub(ctx, "resume", id,
		`UPDATE coldseam.subscriber SET state = 'confirmed' WHERE subscriber_id = $1 AND state IN ('confirmed', 'paused')`)
}

// Suppress stops mail to an address that refuses it, with the server's words.
func (db *DB) Suppress(ctx context.Context, id int64, why string) error {
	return db.setSub(ctx, "suppress", id, sqlSuppress, clean(why), micro(db.now()))
}

const sqlSuppress = `
UPDATE coldseam.subscriber
SET state = CASE WHEN state = 'unsubscribed' THEN state ELSE 'suppressed' END, suppressed_why = $2, suppressed_at = $3
WHERE subscriber_id = $1`

// Unsuppress puts a suppressed subscriber back: confirmed if it ever was.
func (db *DB) Unsuppress(ctx context.Context, id int64) error {
	return db.setSub(ctx, "unsuppress", id, sqlUnsuppress)
}

const setUnsuppressed = `
UPDATE coldseam.subscriber
SET state = CASE WHEN confirmed_at IS NULL THEN 'pending' ELSE 'confirmed' END,
    suppressed_why = '', suppressed_at = NULL, fail_days = 0, last_fail_day = NULL
WHERE state = 'suppressed' AND `

const (
	sqlUnsuppress     = setUnsuppressed + `subscriber_id = $1`
	sqlUnsuppressMany = setUnsuppressed + `subscriber_id = ANY($1)`
)

// UnsuppressSince puts back all who were suppressed since a time, after an
// outage of our own; it returns how many.
func (db *DB) UnsuppressSince(ctx context.Context, since time.Time) (int, error) {
	tag, err := db.pool.Exec(ctx, setUnsuppressed+`suppressed_at >= $1`, micro(since))
	if err != nil {
		return 0, fmt.Errorf("unsuppress: %w", classify(err))
	}
	return int(tag.RowsAffected()), nil
}

// SetPrefs replaces the preferences. The zone must be set.
func (db *DB) SetPrefs(ctx context.Context, id int64, p coldseam.Preferences) error {
	c, err := db.subColumns(ctx, p)
	if err != nil {
		return fmt.Errorf("preferences of subscriber %d: %w", id, err)
	}
	return db.setSub(ctx, "preferences of", id, `
		WITH book AS (UPDATE coldseam.trip SET in_book = $6 WHERE subscriber_id = $1 AND in_book <> $6)
		UPDATE coldseam.subscriber SET zone = $2, send_at = $3::text::time, window_from = $4::text::time, prefs = $5 WHERE subscriber_id = $1`,
		c.zone, c.sendAt, c.windowFrom, c.prefs, p.InBook)
}

// Forget erases a person: the row, bounces and outbox rows go, trips stay
// under a new pseudonym that nothing leads back from.
func (db *DB) Forget(ctx context.Context, id int64) error {
	err := db.inTx(ctx, func(tx pgx.Tx) error {
		var angler string
		if err := tx.QueryRow(ctx, `SELECT angler FROM coldseam.subscriber WHERE subscriber_id = $1 FOR UPDATE`,
			id).Scan(&angler); err != nil {
			return err
		}
		b := &pgx.Batch{}
		b.Queue(`UPDATE coldseam.rig_log r SET angler = 'x' || $2 WHERE angler = $1 AND $1 <> ''`, angler,
			angler2(id, db.now()))
		b.Queue(`UPDATE coldseam.trip SET angler = 'x' || $2, note = '', subscriber_id = NULL WHERE subscriber_id = $1 OR (angler = $3 AND $3 <> '')`, id, angler2(id, db.now()), angler)
		b.Queue(`DELETE FROM coldseam.outbox WHERE subscriber_id = $1`, id)
		b.Queue(`DELETE FROM coldseam.subscriber WHERE subscriber_id = $1`, id)
		return tx.SendBatch(ctx, b).Close()
	})
	if err != nil {
		return fmt.Errorf("forget subscriber %d: %w", id, classify(err))
	}
	return nil
}

// PruneUnconfirmed deletes addresses that were not confirmed within 14 days
// [proposal]; it returns how many.
func (db *DB) PruneUnconfirmed(ctx context.Context, now time.Time) (int, error) {
	tag, err := db.pool.Exec(ctx, `
		DELETE FROM coldseam.subscriber WHERE state = 'pending' AND confirmed_at IS NULL AND created_at < $1`, micro(now.AddDate(0, 0, -14)))
	if err != nil {
		return 0, fmt.Errorf("prune unconfirmed: %w", classify(err))
	}
	return int(tag.RowsAffected()), nil
}

// Export is all that is stored about one subscriber.
type Export struct {
	Subscriber coldseam.Subscriber
	Trips      []coldseam.Trip
	Bounces    []Bounce
	Mails      []MailRecord
	Bank       []coldseam.BankWord
	Timings    []coldseam.FloatTiming
}

// MailRecord is one mail of the outbox as its subscriber and the admin see it.
type MailRecord struct {
	Date    coldseam.Date
	Kind    coldseam.MailKind
	State   coldseam.MailState
	DoneAt  time.Time
	Code    int
	Esc     string
	Reply   string
	Attempt int
}

// ExportSubscriber collects all that is stored about a subscriber.
func (db *DB) ExportSubscriber(ctx context.Context, id int64) (Export, error) {
	var e Export
	var err error
	if e.Subscriber, err = db.Subscriber(ctx, id); err != nil {
		return e, err
	}
	if e.Bounces, err = db.Bounces(ctx, id); err != nil {
		return e, err
	}
	if e.Trips, err = db.trips(ctx, `subscriber_id = $1`, id); err != nil {
		return e, err
	}
	if e.Bank, err = db.bankWords(ctx, `subscriber_id = $1`, id); err != nil {
		return e, err
	}
	if e.Timings, err = db.floatTimings(ctx, `subscriber_id = $1`, id); err != nil {
		return e, err
	}
	e.Mails, err = db.Mails(ctx, id)
	return e, err
}

// Mails lists the mails of one subscriber, newest first.
func (db *DB) Mails(ctx context.Context, id int64) ([]MailRecord, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT local_date, kind, state, done_at, last_code, last_esc, reply, attempt
		FROM coldseam.outbox WHERE subscriber_id = $1 ORDER BY local_date DESC, outbox_id DESC`, id)
	if err != nil {
		return nil, fmt.Errorf("mails of subscriber %d: %w", id, classify(err))
	}
	out, err := pgx.CollectRows(rows, func(r pgx.CollectableRow) (MailRecord, error) {
		var m MailRecord
		var day, done *time.Time
		err := r.Scan(&day, &m.Kind, &m.State, &done, &m.Code, &m.Esc, &m.Reply, &m.Attempt)
		m.Date, m.DoneAt = dateOf(day), timeOf(done)
		return m, err
	})
	if err != nil {
		return nil, fmt.Errorf("mails of subscriber %d: %w", id, classify(err))
	}
	return out, nil
}

// CountAttempt counts one more in a bucket and its window of the given length
// and returns the count so far. Buckets are hashes or prefixes, never
// addresses.
func (db *DB) CountAttempt(ctx context.Context, bucket string, window time.Duration, now time.Time) (int, error) {
	var n int
	err := db.pool.QueryRow(ctx, `
		INSERT INTO coldseam.rate_count AS c (bucket, window_start, n) VALUES ($1, $2, 1)
		ON CONFLICT ON CONSTRAINT rate_count_pkey DO UPDATE SET n = c.n + 1
		RETURNING n`, bucket, now.UTC().Truncate(window)).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("count attempt: %w", classify(err))
	}
	return n, nil
}

// PruneCounts drops counters of windows that began before a time.
func (db *DB) PruneCounts(ctx context.Context, before time.Time) error {
	if _, err := db.pool.Exec(ctx, `DELETE FROM coldseam.rate_count WHERE window_start < $1`,
		micro(before)); err != nil {
		return fmt.Errorf("prune counters: %w", classify(err))
	}
	return nil
}

// CountConfirmMail counts one more confirm mail to a pending address and
// returns the number so far.
func (db *DB) CountConfirmMail(ctx context.Context, id int64) (int, error) {
	var n int
	err := db.pool.QueryRow(ctx,
		`UPDATE coldseam.subscriber SET confirm_sends = confirm_sends + 1 WHERE subscriber_id = $1 RETURNING confirm_sends`, id).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("confirm mail of subscriber %d: %w", id, classify(err))
	}
	return n, nil
}
