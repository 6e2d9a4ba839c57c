package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/riverqueue/river"

	"example.org/coldseam"
)

// NewMessage is one mail to be queued.
type NewMessage struct {
	Subscriber int64  // 0 = to the admin at AdminEmail
	AdminEmail string // only without Subscriber
	LocalDate  coldseam.Date
	Reach      coldseam.ReachID   // only where one such mail per reach and day is meant
	Deadline   time.Time          // zero = 24 hours after the mailing
	Verdict    string             // told in it, "" = none
	Goes       []coldseam.ReachID // told GO or TOSS-UP in it
	Payload    []byte             // JSON, fixed from now on
}

// NewMailing is a batch of mails of one kind made by one tick.
type NewMailing struct {
	Kind       coldseam.MailKind
	MadeAt     time.Time // becomes the Date of the mails
	MailDomain string    // right side of the Message-IDs
	Messages   []NewMessage

	// Mailing, when not 0, is the mailing that the mails join: a large one is
	// queued piece by piece, and what stops it stops all of it.
	Mailing int64
}

// pieceBytes bounds the payload of one statement: a club's mails of a morning
// are larger than a server's memory may be.
const pieceBytes = 4 << 20

// pieces cuts the mails into statements.
func (e NewMailing) pieces() [][]NewMessage {
	var out [][]NewMessage
	from, size := 0, 0
	for i, l := range e.Messages {
		if size += len(l.Payload); size > pieceBytes && i > from {
			out, from, size = append(out, e.Messages[from:i]), i, len(l.Payload)
		}
	}
	return append(out, e.Messages[from:])
}

// chunkRows is how many mails one job of the queue sends.
const chunkRows = 50

const sqlAddMessages = `
INSERT INTO coldseam.outbox (edition_id, subscriber_id, admin_email, local_date, kind, reach_id, priority, next_at, deadline, domain, message_id, in_reply_to, verdict, payload, goes)
SELECT $1::int8, s.subscriber_id, NULLIF(w.admin, ''), w.day, $2::text, NULLIF(w.reach, ''), $3::int2, $4, w.deadline,
  lower(split_part(COALESCE(s.email, w.admin), '@', 2)),
  '<' || to_char(w.day, 'YYYYMMDD') || '.' || w.subscriber || '.' || $1::int8 || CASE WHEN w.reach = '' THEN '' ELSE '.' || w.i + $14 END || '@' || $5::text || '>',
  COALESCE(CASE WHEN $2::text IN ('flip', 'correction') THEN
    (SELECT m.message_id FROM coldseam.outbox m WHERE m.subscriber_id = s.subscriber_id AND m.local_date = w.day AND m.kind = 'morning') END, ''),
  NULLIF(w.verdict, ''), w.payload, string_to_array(w.goes, E'\n')
FROM unnest($6::int8[], $7::text[], $8::date[], $9::text[], $10::timestamptz[], $11::text[], $12::bytea[], $13::text[]) WITH ORDINALITY
  AS w (subscriber, admin, day, reach, deadline, verdict, payload, goes, i)
LEFT JOIN coldseam.subscriber s ON s.subscriber_id = w.subscriber
WHERE w.subscriber = 0 OR s.subscriber_id IS NOT NULL
ORDER BY w.i
ON CONFLICT ON CONSTRAINT outbox_key DO NOTHING`

const sqlChunks = `
SELECT domain, count(*)
FROM coldseam.outbox
WHERE edition_id = $1 AND outbox_id > $2
GROUP BY domain
ORDER BY domain`

// QueueMailing writes the mailing, its outbox rows and the jobs that send them
// in one transaction. Rows whose subscriber, date, kind (and reach) are in the
// outbox already are left out: n counts the new ones, and with none no mailing
// is made (id 0). ErrInvalid: a mail domain or address that would break a
// header.
func (db *DB) QueueMailing(ctx context.Context, e NewMailing) (id int64, n int, err error) {
	if err := e.check(); err != nil {
		return 0, 0, fmt.Errorf("queue edition: %w", err)
	}
	if len(e.Messages) == 0 {
		return 0, 0, nil
	}
	err = db.inTx(ctx, func(tx pgx.Tx) error {
		id, n, err = db.queueMailing(ctx, tx, e)
		return err
	})
	if err == errNothing {
		return 0, 0, nil
	}
	if err != nil {
		return 0, 0, fmt.Errorf("queue edition: %w", classify(err))
	}
	return id, n, nil
}

// queueMailing does it within a transaction, under a savepoint of its own:
// errNothing leaves no mailing behind.
func (db *DB) queueMailing(ctx context.Context, outer pgx.Tx, e NewMailing) (id int64, n int, err error) {
	err = pgx.BeginFunc(ctx, outer, func(tx pgx.Tx) error {
		if id = e.Mailing; id == 0 {
			if err := tx.QueryRow(ctx,
				`INSERT INTO coldseam.edition (kind, made_at, n) VALUES ($1, $2, 0) RETURNING edition_id`, e.Kind,
				micro(e.MadeAt)).Scan(&id); err != nil {
				return err
			}
		}

		var before int64 // the last row of the pieces before
		if err := tx.QueryRow(ctx, `SELECT COALESCE(max(outbox_id), 0) FROM coldseam.outbox WHERE edition_id = $1`,
			id).Scan(&before); err != nil {
			return err
		}
		done := 0
		for _, letters := range e.pieces() {
			c := messageColumnsOf(e.MadeAt, letters)
			tag, err := tx.Exec(ctx, sqlAddMessages, id, e.Kind, priority(e.Kind), micro(e.MadeAt), e.MailDomain,
				c.subscriber, c.admin, c.day, c.reach, c.deadline, c.verdict, c.payload, c.goes, done)
			if err != nil {
				return err
			}
			done, n = done+len(letters), n+int(tag.RowsAffected())
		}

		if n == 0 {
			return errNothing
		}
		if _, err := tx.Exec(ctx, `UPDATE coldseam.edition SET n = n + $2 WHERE edition_id = $1`, id, n); err != nil {
			return err
		}
		return db.queueChunks(ctx, tx, id, before)
	})

	return id, n, err
}

var errNothing = fmt.Errorf("nothing to do")

func (e NewMailing) check() error {
	if e.MailDomain == "" || strings.ContainsAny(e.MailDomain, " <>@\r\n\x00") {
		return fmt.Errorf("mail domain %q: %w", e.MailDomain, coldseam.ErrInvalid)
	}
	if e.Kind == "" || e.MadeAt.IsZero() {
		return fmt.Errorf("needs kind and time: %w", coldseam.ErrInvalid)
	}
	for i, l := range e.Messages {
		if l.LocalDate.IsZero() || (l.Subscriber == 0) == (l.AdminEmail == "") {
			return fmt.Errorf("message %d needs a date and one recipient: %w", i, coldseam.ErrInvalid)
		}
		if l.AdminEmail != "" {
			if err := CheckEmail(l.AdminEmail); err != nil {
				return fmt.Errorf("message %d: %w", i, err)
			}
		}
	}
	return nil
}

type messageColumns struct {
	subscriber                  []int64
	admin, reach, verdict, goes []string
	day, deadline               []time.Time
	payload                     [][]byte
}

func messageColumnsOf(madeAt time.Time, letters []NewMessage) messageColumns {
	var c messageColumns
	for _, l := range letters {
		deadline := l.Deadline
		if deadline.IsZero() {
			deadline = madeAt.Add(24 * time.Hour)
		}
		payload := l.Payload
		if payload == nil {
			payload = []byte{}
		}
		c.subscriber, c.admin, c.reach = append(c.subscriber, l.Subscriber), append(c.admin, l.AdminEmail),
			append(c.reach, string(l.Reach))
		c.day, c.deadline = append(c.day, l.LocalDate.UTC()), append(c.deadline, micro(deadline))
		c.verdict, c.payload, c.goes = append(c.verdict, l.Verdict), append(c.payload, payload),
			append(c.goes, joinReaches(l.Goes))
	}
	return c
}

func joinReaches(ids []coldseam.ReachID) string {
	var out []string
	for _, id := range ids {
		out = append(out, string(id))
	}
	return strings.Join(out, "\n")
}

// priority puts what keeps somebody off the water first.
func priority(k coldseam.MailKind) int16 {
	switch k {
	case coldseam.MailCorrection:
		return 0
	case coldseam.MailAlarm, coldseam.MailSilent:
		return 1
	case coldseam.MailFlip:
		return 2
	case coldseam.MailMorning:
		return 3
	}
	return 4
}

// queueChunks inserts the jobs: one per 50 rows of one domain.
func (db *DB) queueChunks(ctx context.Context, tx pgx.Tx, id, before int64) error {
	rows, err := tx.Query(ctx, sqlChunks, id, before)
	if err != nil {
		return err
	}

	var jobs []river.InsertManyParams
	var domain string
	var n int
	_, err = pgx.ForEachRow(rows, []any{&domain, &n}, func() error {
		for ; n > 0; n -= chunkRows {
			jobs = append(jobs,
				river.InsertManyParams{Args: MailArgs{Mailing: id, Domain: domain, N: min(n, chunkRows)}})
		}
		return nil
	})
	if err != nil {
		return err
	}

	if _, err := db.queue.InsertManyTx(ctx, tx, jobs); err != nil {
		return fmt.Errorf("insert jobs: %w", err)
	}
	return nil
}

// Enqueue inserts jobs, each unless its unique key is there already: all in one
// statement, so that a far database costs a tick one wait and not one a job.
func (db *DB) Enqueue(ctx context.Context, jobs ...river.JobArgs) error {
	var many []river.InsertManyParams
	seen := map[string]bool{}
	for _, j := range jobs {
		key, err := json.Marshal(j)
		if err != nil {
			return fmt.Errorf("enqueue %s: %w", j.Kind(), err)
		}
		if k := j.Kind() + string(key); !seen[k] { // one statement may not touch a row twice
			seen[k] = true
			many = append(many, river.InsertManyParams{Args: j})
		}
	}

	if len(many) == 0 {
		return nil
	}
	_, err := db.queue.InsertMany(ctx, many)
	said := err == nil || refused(err)
	if err != nil {
		err = fmt.Errorf("enqueue %s: %w", many[0].Args.Kind(), classify(err))
	}

	if said {
		db.enqueued.Store(&err)
	}
	return err
}

// refused reports whether a database that is there said no. One that is away,
// starting or ending is told by its ping, and is well as soon as that is.
func refused(err error) bool {
	var pe *pgconn.PgError
	return errors.As(err, &pe) && pe.Code[:2] != "08" && pe.Code[:2] != "57"
}

// EnqueueFailure is why the database refused the newest Enqueue of this server:
// while it is not nil, nothing is fetched or forecast.
func (db *DB) EnqueueFailure() error {
	if err := db.enqueued.Load(); err != nil {
		return *err
	}
	return nil
}

// EnqueueAt is Enqueue for a job that must not start before a time.
func (db *DB) EnqueueAt(ctx context.Context, args river.JobArgs, at time.Time) error {
	if _, err := db.queue.Insert(ctx, args, &river.InsertOpts{ScheduledAt: at}); err != nil {
		return fmt.Errorf("enqueue %s: %w", args.Kind(), classify(err))
	}
	return nil
}

// DueMail inserts mail jobs for rows that are due and have no job to send
// them: those deferred, released or returned by a sweep. Only a job that waits
// for a free worker counts: one that runs may be that of a server that died,
// and River gives it up after its timeout alone. A job too many finds nothing
// to claim. It returns the number of jobs.
func (db *DB) DueMail(ctx context.Context, now time.Time) (int, error) {
	var n int
	err := db.inTx(ctx, func(tx pgx.Tx) error {
		var mine bool // only one server does it at a time
		if err := tx.QueryRow(ctx, `SELECT pg_try_advisory_xact_lock(7263710003)`).Scan(&mine); err != nil || !mine {
			return err
		}
		rows, err := tx.Query(ctx, `
			SELECT o.domain, count(*), min(o.edition_id)
			FROM coldseam.outbox o
			JOIN coldseam.edition e USING (edition_id)
			WHERE o.state IN ('pending', 'deferred') AND o.next_at <= $1 AND o.deadline > $1 AND NOT e.held
			  AND NOT (SELECT is_on FROM coldseam.switch WHERE name = 'hold')
			  AND NOT EXISTS (
			    SELECT FROM river.river_job j
			    WHERE j.kind = 'mail' AND j.state IN ('available', 'pending') AND j.args ->> 'domain' = o.domain)
			GROUP BY o.domain`, micro(now))
		if err != nil {
			return err
		}

		var jobs []river.InsertManyParams
		var a MailArgs
		_, err = pgx.ForEachRow(rows, []any{&a.Domain, &a.N, &a.Mailing}, func() error {
			for rest := a.N; rest > 0; rest -= chunkRows {
				jobs = append(jobs, river.InsertManyParams{Args: MailArgs{Mailing: a.Mailing, Domain: a.Domain,
					N: min(rest, chunkRows)}})
			}
			return nil
		})
		if err != nil || len(jobs) == 0 {
			return err
		}

		n = len(jobs)
		_, err = db.queue.InsertManyTx(ctx, tx, jobs)
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("due mail: %w", classify(err))
	}

	return n, nil
}
