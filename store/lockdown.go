package store

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// Reader is the role of the club's own questions: schema season, read only.
const Reader = "season_reader"

// closedFunctions are those of Postgres itself that a reader could use to
// write, to wait or to lock; all siblings of a name are closed with it. The
// whole of pg_catalog cannot be closed: even count would fail.
const closedFunctions = `^(lo_|lowrite$|loread$|pg_sleep|pg_notify$|pg_advisory_|pg_try_advisory_|pg_cancel_backend$|pg_terminate_backend$` +
	`|pg_read_|pg_ls_|pg_stat_file$|pg_logical_emit_message$|pg_create_|pg_drop_|pg_export_snapshot$|query_to_xml|cursor_to_xml|table_to_xml|schema_to_xml|database_to_xml)`

// LockDown makes the readers' role and closes everything but schema season to
// it. It may be run again at any time, and must be after a restore: rights on
// a database are not in its dump. It returns what it was not allowed to close,
// which an admin with more rights must.
//
// What stays open and cannot be closed: a reader may turn off its own read-only
// mode and time limit (EndLongReads ends what runs too long; there is nothing
// it may write), and may send NOTIFY.
func (db *DB) LockDown(ctx context.Context) (open []string, err error) {
	var name, me string
	if err := db.pool.QueryRow(ctx, `SELECT current_database(), current_user`).Scan(&name, &me); err != nil {
		return nil, fmt.Errorf("lock down readers: %w", classify(err))
	}
	d, u := pgx.Identifier{name}.Sanitize(), pgx.Identifier{me}.Sanitize()
	err = db.inTx(ctx, func(tx pgx.Tx) error {
		for _, sql := range lockStatements(d, u) {
			refused, err := tryExec(ctx, tx, sql)
			if err != nil {
				return err
			}
			if refused != "" {
				open = append(open, refused+": "+sql)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("lock down readers: %w", classify(err))
	}
	for _, o := range open {
		db.log.Warn("not allowed to close for readers", "sql", o)
	}
	return open, nil
}

func lockStatements(d, u string) []string {
	return []string{
		`DO $$ BEGIN
		   IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'season_reader') THEN
		     CREATE ROLE season_reader LOGIN CONNECTION LIMIT 4;
		   END IF;
		 EXCEPTION WHEN duplicate_object OR unique_violation THEN NULL;
		 END $$`,
		`GRANT ALL ON DATABASE ` + d + ` TO ` + u,
		`REVOKE ALL ON DATABASE ` + d + ` FROM public`,
		`REVOKE ALL ON SCHEMA public FROM public`,
		`REVOKE ALL ON SCHEMA coldseam, river FROM public`,
		`GRANT CONNECT ON DATABASE ` + d + ` TO season_reader`,
		`GRANT USAGE ON SCHEMA season TO season_reader`,
		`GRANT SELECT ON ALL TABLES IN SCHEMA season TO season_reader`,
		`ALTER DEFAULT PRIVILEGES IN SCHEMA season GRANT SELECT ON TABLES TO season_reader`,
		roleSetting(`default_transaction_read_only = on`),
		roleSetting(`statement_timeout = '15s'`),
		roleSetting(`lock_timeout = '5s'`),
		roleSetting(`idle_in_transaction_session_timeout = '30s'`),
		roleSetting(`search_path = season`),
		roleSetting(`temp_file_limit = '1GB'`),
		`DO $$
		 DECLARE f regprocedure;
		 BEGIN
		   FOR f IN SELECT p.oid FROM pg_proc p WHERE p.pronamespace = 'pg_catalog'::regnamespace AND p.proname ~ '` + closedFunctions + `'
		     AND has_function_privilege('season_reader', p.oid, 'EXECUTE')
		   LOOP
		     EXECUTE format('GRANT EXECUTE ON FUNCTION %s TO ` + u + `', f);
		     EXECUTE format('REVOKE EXECUTE ON FUNCTION %s FROM public', f);
		   END LOOP;
		 END $$`,
	}
}

// roleSetting alters the role only where that changes something: roles are
// shared by all databases of a server, and two servers that start at once
// would collide on the row.
func roleSetting(set string) string {
	return `DO $$ BEGIN
	  ALTER ROLE season_reader SET ` + set + `;
	EXCEPTION WHEN internal_error THEN NULL; -- "tuple concurrently updated": the other one set it
	END $$`
}

// tryExec runs a statement under a savepoint; a lack of rights is reported,
// not an error.
func tryExec(ctx context.Context, tx pgx.Tx, sql string) (refused string, err error) {
	err = pgx.BeginFunc(ctx, tx, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, sql)
		return err
	})
	var pe *pgconn.PgError
	if errors.As(err, &pe) && pe.Code == "42501" {
		return pe.Message, nil
	}
	return "", err
}

// OpenToReaders lists what LockDown should have closed and is open, for the
// admin's check; empty = all closed.
func (db *DB) OpenToReaders(ctx context.Context) ([]string, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT 'function ' || p.oid::regprocedure FROM pg_proc p
		WHERE p.pronamespace = 'pg_catalog'::regnamespace AND p.proname ~ $1 AND has_function_privilege($2, p.oid, 'EXECUTE')
		UNION ALL
		SELECT 'schema ' || n FROM unnest(ARRAY['coldseam', 'river']) n WHERE has_schema_privilege($2, n, 'USAGE')
		UNION ALL
		SELECT 'schema public: create' WHERE has_schema_privilege($2, 'public', 'CREATE')
		UNION ALL
		SELECT 'database: ' || p FROM unnest(ARRAY['TEMP', 'CREATE']) p WHERE has_database_privilege($2, current_database(), p)
		UNION ALL
		SELECT 'role: superuser or more' FROM pg_roles WHERE rolname = $2 AND (rolsuper OR rolcreaterole OR rolcreatedb OR rolreplication OR rolbypassrls)
		ORDER BY 1`, closedFunctions, Reader)
	if err != nil {
		return nil, fmt.Errorf("open to readers: %w", classify(err))
	}
	out, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, fmt.Errorf("open to readers: %w", classify(err))
	}
	return out, nil
}

// EndLongReads ends statements of readers that run longer than a limit: a
// reader can turn off its own time limit. It returns how many.
func (db *DB) EndLongReads(ctx context.Context, limit time.Duration) (int, error) {
	var n int
	err := db.pool.QueryRow(ctx, `
		SELECT count(*) FILTER (WHERE pg_terminate_backend(pid))
		FROM pg_stat_activity
		WHERE usename = $1 AND datname = current_database() AND state <> 'idle' AND query_start < clock_timestamp() - $2::interval`,
		Reader, limit).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("end long reads: %w", classify(err))
	}
	return n, nil
}

// EndLostSessions ends sessions of this program on any machine that hold a
// transaction open and have waited for their client longer than a limit: the
// network may swallow bytes and keep the connection, and the locks would stay.
// It returns how many.
func (db *DB) EndLostSessions(ctx context.Context, limit time.Duration) (int, error) {
	var n int
	err := db.pool.QueryRow(ctx, `
		SELECT count(*) FILTER (WHERE pg_terminate_backend(pid))
		FROM pg_stat_activity
		WHERE application_name = 'coldseam' AND usename = current_user AND datname = current_database() AND pid <> pg_backend_pid()
		  AND wait_event = 'ClientRead' AND xact_start < clock_timestamp() - $1::interval AND state_change < clock_timestamp() - $1::interval`,
		limit).Scan(&n)
	if err != nil {
		return 0, fmt.Errorf("end lost sessions: %w", classify(err))
	}
	return n, nil
}
