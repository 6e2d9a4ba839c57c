// Package store holds all SQL of the program: what was measured, forecast,
// told, mailed and logged, each with the time it was known. One file per
// table or view group; migrations/ holds the schema and schema.sql its dump.
//
// Times are truncated to microseconds at this edge, the resolution of the
// database. Every method wraps the error classes of the root package:
// ErrNotFound, ErrInvalid for input that can never be stored, ErrUnavailable
// when the database cannot be reached.
package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"

	"example.org/coldseam"
)

// Options of Open. The zero value is right for tests.
type Options struct {
	Log      *slog.Logger     // nil = silent
	Now      func() time.Time // nil = time.Now
	MaxConns int32            // 0 = 12

	// KeepPayloads is how many payloads of each feed address are kept for
	// replay; 0 = 12.
	KeepPayloads int
	// DomainRate and TotalRate bound mails a second to one recipient domain
	// and to all together; 0 = no bound, right for a relay on this machine.
	DomainRate, TotalRate float64
	// HoldUnknown leaves mails without an answer alone instead of sending
	// them again.
	HoldUnknown bool
}

// DB is the database. Its methods may be called from several goroutines.
type DB struct {
	pool  *pgxpool.Pool
	queue *river.Client[pgx.Tx] // inserts only
	log   *slog.Logger
	now   func() time.Time
	opts  Options

	enqueued atomic.Pointer[error] // what the newest Enqueue came to
}

// Open connects. It does not migrate: a second server of the same club may be
// the newer one. ErrUnavailable: no answer. ErrInvalid: the URL.
func Open(ctx context.Context, url string, o Options) (*DB, error) {
	cfg, err := pgxpool.ParseConfig(url)
	if err != nil {
		// The parser's text may hold the password.
		return nil, fmt.Errorf("database url cannot be read: %w", coldseam.ErrInvalid)
	}

	cfg.MaxConns = o.MaxConns
	if cfg.MaxConns == 0 {
		cfg.MaxConns = 12
	}
	cfg.ConnConfig.RuntimeParams["application_name"] = "coldseam"
	cfg.ConnConfig.RuntimeParams["timezone"] = "UTC"

	cfg.AfterConnect = endLostSessions
	cfg.HealthCheckPeriod = 15 * time.Second
	if cfg.ConnConfig.ConnectTimeout == 0 {
		cfg.ConnConfig.ConnectTimeout = 10 * time.Second
	}
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("open database: %w", classify(err))
	}

	if err := pool.Ping(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("open database: %w", classify(err))
	}

	db := &DB{pool: pool, log: o.Log, now: o.Now, opts: o}
	if db.log == nil {
		db.log = slog.New(slog.DiscardHandler)
	}
	if db.now == nil {
		db.now = time.Now
	}
	if db.opts.KeepPayloads == 0 {
		db.opts.KeepPayloads = 12
	}

	if db.queue, err = db.NewQueue(nil, QueueOptions{}); err != nil {
		pool.Close()
		return nil, err
	}

	return db, nil
}

// endLostSessions lets the server end sessions whose client is gone without a
// word, such as a machine cut off from the network: its locks go with it. Set
// by statement, as poolers refuse unknown start parameters.
func endLostSessions(ctx context.Context, c *pgx.Conn) error {
	_, err := c.Exec(ctx, `
		SET idle_in_transaction_session_timeout = '30s';
		DO $$ BEGIN -- not every platform of a server has these
		  PERFORM set_config('client_connection_check_interval', '10s', false), set_config('tcp_keepalives_idle', '20', false),
		    set_config('tcp_keepalives_interval', '10', false), set_config('tcp_keepalives_count', '3', false), set_config('tcp_user_timeout', '45000', false);
		EXCEPTION WHEN OTHERS THEN NULL;
		END $$`)
	return err
}

// Close ends all connections; it waits for those in use.
func (db *DB) Close() { db.pool.Close() }

// Pool is the connection pool, for River and for the admin's own queries.
func (db *DB) Pool() *pgxpool.Pool { return db.pool }

// Ping asks the database for an answer.
func (db *DB) Ping(ctx context.Context) error { return classify(db.pool.Ping(ctx)) }

// inTx runs f in one transaction.
func (db *DB) inTx(ctx context.Context, f func(tx pgx.Tx) error) error {
	return pgx.BeginFunc(ctx, db.pool, f)
}

// InLongTx is inTx for work whose session waits for another one meanwhile, such
// as the snapshot of a dump or the lock of a migration: however long that takes,
// neither the server nor EndLostSessions takes it for lost. A client that dies
// is noticed by the keepalives alone.
func (db *DB) InLongTx(ctx context.Context, o pgx.TxOptions, f func(tx pgx.Tx) error) error {
	return pgx.BeginTxFunc(ctx, db.pool, o, func(tx pgx.Tx) error {
		if err := noTimeLimits(ctx, tx, true); err != nil {
			return err
		}
		return f(tx)
	})
}

// noTimeLimits lifts the limits that the server, the role or we ourselves set
// on time; local = for this transaction. Some exist from Postgres 17 on.
func noTimeLimits(ctx context.Context, c interface {
	Exec(context.Context, string, ...any) (pgconn.CommandTag, error)
}, local bool) error {
	_, err := c.Exec(ctx, `
		SELECT set_config(name, CASE name WHEN 'application_name' THEN 'coldseam long' ELSE '0' END, $1) FROM pg_settings
		WHERE name IN ('application_name', 'statement_timeout', 'lock_timeout',
		  'idle_in_transaction_session_timeout', 'transaction_timeout')`, local)
	return classify(err)
}

// micro is t as the database keeps it.
func micro(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// nullTime is nil for the zero time.
func nullTime(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	m := micro(t)
	return &m
}

func timeOf(t *time.Time) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.UTC()
}

// nullDate is nil for the zero date.
func nullDate(d coldseam.Date) *time.Time {
	if d.IsZero() {
		return nil
	}
	t := d.UTC()
	return &t
}

func dateOf(t *time.Time) coldseam.Date {
	if t == nil {
		return coldseam.Date{}
	}
	return coldseam.DateOf(t.UTC())
}

// Classify adds the error class that a caller decides by.
func Classify(err error) error { return classify(err) }

func classify(err error) error {
	if err == nil {
		return nil
	}
	if errors.Is(err, pgx.ErrNoRows) {
		return coldseam.ErrNotFound // that is all it says
	}

	var pe *pgconn.PgError
	if errors.As(err, &pe) {
		switch pe.Code[:2] {
		case "22", "23": // data exception, integrity constraint
			return fmt.Errorf("%w: %w", err, coldseam.ErrInvalid)
		case "08", "53", "57", "58", "40": // connection, resources (disk full), shutdown, I/O, conflict
			return fmt.Errorf("%w: %w", err, coldseam.ErrUnavailable)
		}
		return err
	}

	var ce *pgconn.ConnectError
	var ne net.Error
	// A server that dies in the middle of an answer leaves its end.
	cutOff := errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF)
	if errors.As(err, &ce) || errors.As(err, &ne) || cutOff || pgconn.SafeToRetry(err) {
		return fmt.Errorf("%w: %w", err, coldseam.ErrUnavailable)
	}

	return err
}
