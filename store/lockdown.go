package store

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"example.org/coldseam"
)

// Reader is the role of the club's own questions: schema season, read only.
const Reader = "season_reader"

// closedFunctions are those of Postgres itself that a reader could use to
// write, to wait or to lock; all siblings of a name are closed with it. The
// whole of pg_catalog cannot be closed: even count would fail.
const closedFunctions = `^(lo_|lowrite$|loread$|pg_sleep|pg_notify$|pg_advisory_|pg_try_advisory_|pg_cancel_backend$|pg_terminate_backend$` +
	`|pg_stat_get_(tuples|live|dead|mod_|ins_|xact_tuples|db_tuples|numscans|last_|vacuum|analyze|auto|blocks)` + // how many trips there are, and when
	`|pg_relation_size$|pg_table_size$|pg_total_relation_size$|pg_indexes_size$` +
	`|pg_current_xact_id$|txid_current$|pg_read_|pg_ls_|pg_stat_file$|pg_logical_emit_message$|pg_create_|pg_drop_|pg_export_snapshot$|query_to_xml|cursor_to_xml|table_to_xml|schema_to_xml|database_to_xml)`

// readerSettings are those of the role. Postgres keeps a reader from changing the
// privileged ones; the others it may set for its own session, and even for the
// role, which MindReaders sets back. The log is closed to it because a reader
// could fill the disk with messages.
var readerSettings = []struct {
	name, value string
	privileged  bool
}{
	{"default_transaction_read_only", "on", false},
	{"statement_timeout", "15s", false},
	{"lock_timeout", "5s", false},
	{"idle_in_transaction_session_timeout", "30s", false},
	{"search_path", "season", false},
	{"work_mem", "16MB", false},
	{"max_parallel_workers_per_gather", "0", false},
	{"temp_file_limit", "256MB", true},
	{"log_min_messages", "panic", true},
	{"log_min_error_statement", "panic", true},
}

func readerConfig() []string {
	var out []string
	for _, s := range readerSettings {
		out = append(out, s.name+"="+s.value)
	}
	return out
}

// LockDown makes the readers' role and closes everything but schema season to
// it. It may be run again at any time, and must be after a restore: rights on
// a database are not in its dump. It returns what it was not allowed to close and
// is open, which an admin with more rights must close, by the statements of LockSQL.
//
// What stays open and cannot be closed: a reader may turn off its own read-only
// mode and limits, change the settings of its role, and send NOTIFY. There is
// nothing it may write; MindReaders ends what runs too long and sets the role
// back, and the program neither sends nor hears notifications. It may also read
// about how many rows a table has, to the newest analyze, in pg_class.reltuples and
// in the plans that EXPLAIN shows: how many members and trips there are, roughly.
func (db *DB) LockDown(ctx context.Context) (open []string, err error) {
	list, err := db.lockStatements(ctx)
	if err != nil {
		return nil, fmt.Errorf("lock down readers: %w", classify(err))
	}

	var refused []string
	err = db.inTx(ctx, func(tx pgx.Tx) error {
		for _, sql := range list {
			why, err := tryExec(ctx, tx, sql)
			if err != nil {
				return err
			}
			if why != "" {
				refused = append(refused, why)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("lock down readers: %w", classify(err))
	}
	if len(refused) == 0 {
		return nil, nil
	}

	// Somebody with more rights may have closed it already.
	open, err = db.OpenToReaders(ctx)
	if errors.Is(err, coldseam.ErrNotFound) {
		open, err = refused[:1], nil
	}
	if len(open) > 0 {
		db.log.Warn("open to readers: a superuser must run what `coldseam migrate --readers-sql` prints", "open", open)
	}
	return open, err
}

// LockSQL is what LockDown does, for a superuser of the server to run on the
// program's database where the program's own role may not.
func (db *DB) LockSQL(ctx context.Context) (string, error) {
	list, err := db.lockStatements(ctx)
	if err != nil {
		return "", fmt.Errorf("lock down readers: %w", classify(err))
	}
	return strings.Join(list, ";\n") + ";\n", nil
}

func (db *DB) lockStatements(ctx context.Context) ([]string, error) {
	var d, u string
	err := db.pool.QueryRow(ctx, `SELECT quote_ident(current_database()), quote_ident(current_user)`).Scan(&d, &u)
	if err != nil {
		return nil, err
	}

	list := []string{
		`DO $$ BEGIN
		   IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = 'season_reader') THEN
		     CREATE ROLE season_reader LOGIN CONNECTION LIMIT 4;
		   END IF;
		 EXCEPTION WHEN duplicate_object OR unique_violation THEN NULL;
		 END $$`,
		// Who is no superuser ends the sessions of a role only as its member.
		`DO $$ BEGIN
		   IF NOT pg_has_role('` + strings.ReplaceAll(u, "'", "''") + `', 'season_reader', 'USAGE') THEN GRANT season_reader TO ` + u + `; END IF;
		 EXCEPTION WHEN internal_error OR unique_violation THEN NULL;
		 END $$`,
		`GRANT ALL ON DATABASE ` + d + ` TO ` + u,
		`REVOKE ALL ON DATABASE ` + d + ` FROM public`,
		`REVOKE ALL ON SCHEMA public FROM public`,
		`REVOKE ALL ON SCHEMA coldseam, river FROM public`,
		`GRANT CONNECT ON DATABASE ` + d + ` TO season_reader`,
		`GRANT USAGE ON SCHEMA season TO season_reader`,
		`GRANT SELECT ON ALL TABLES IN SCHEMA season TO season_reader`,
		`ALTER DEFAULT PRIVILEGES FOR ROLE ` + u + ` IN SCHEMA season GRANT SELECT ON TABLES TO season_reader`,
		resetReader,
	}

	for _, s := range readerSettings {
		list = append(list, roleSetting(s.name+` = '`+s.value+`'`))
	}

	return append(list, closeMaintenance, `DO $$
		 DECLARE f regprocedure;
		 BEGIN
		   FOR f IN SELECT p.oid FROM pg_proc p WHERE p.pronamespace = 'pg_catalog'::regnamespace AND p.proname ~ '`+closedFunctions+`'
		     AND has_function_privilege('season_reader', p.oid, 'EXECUTE')
		   LOOP
		     EXECUTE format('GRANT EXECUTE ON FUNCTION %s TO `+u+`, pg_monitor', f);
		     EXECUTE format('REVOKE EXECUTE ON FUNCTION %s FROM public', f);
		   END LOOP;
		 END $$`), nil
}

// resetReader undoes what a reader may have set for its own role, everywhere. A
// server without network trusts its socket: a password there is nobody's.
const resetReader = `DO $$ DECLARE d text; BEGIN
  ALTER ROLE season_reader RESET ALL;
  FOR d IN SELECT datname FROM pg_db_role_setting s JOIN pg_database ON setdatabase = pg_database.oid
    WHERE setrole = 'season_reader'::regrole
  LOOP EXECUTE format('ALTER ROLE season_reader IN DATABASE %I RESET ALL', d); END LOOP;
  IF current_setting('listen_addresses') = '' THEN ALTER ROLE season_reader PASSWORD NULL; END IF;
EXCEPTION WHEN internal_error THEN NULL;
END $$`

// closeMaintenance closes the databases that every server has and everybody may
// enter, but to the roles that could log in before.
const closeMaintenance = `DO $$ DECLARE d text; r text; BEGIN
  FOR d IN SELECT datname FROM pg_database
    WHERE datname IN ('postgres', 'template1') AND datname <> current_database() AND has_database_privilege('season_reader', oid, 'CONNECT')
  LOOP
    FOR r IN SELECT rolname FROM pg_roles
      WHERE rolcanlogin AND NOT rolsuper AND rolname <> 'season_reader' AND has_database_privilege(oid, d, 'CONNECT')
    LOOP EXECUTE format('GRANT CONNECT ON DATABASE %I TO %I', d, r); END LOOP;
    EXECUTE format('REVOKE CONNECT, TEMPORARY ON DATABASE %I FROM public', d);
  END LOOP;
EXCEPTION WHEN internal_error OR undefined_object THEN NULL; -- another server does the same
END $$`

// roleSetting alters the role only where that changes something: roles are
// shared by all databases of a server, and two servers that start at once
// would collide on the row.
func roleSetting(set string) string {
	return `DO $$ BEGIN
	  ALTER ROLE season_reader SET ` + set + `;
	EXCEPTION WHEN internal_error THEN NULL; -- "tuple concurrently updated": the other one set it
	END $$`
}

// tryExec runs a statement under a savepoint; a lack of rights, or of the role
// that nobody had the right to make, is reported, not an error.
func tryExec(ctx context.Context, tx pgx.Tx, sql string) (refused string, err error) {
	err = pgx.BeginFunc(ctx, tx, func(tx pgx.Tx) error {
		_, err := tx.Exec(ctx, sql)
		return err
	})
	var pe *pgconn.PgError
	if errors.As(err, &pe) && (pe.Code == "42501" || pe.Code == "42704") { // no right, or no such role
		return pe.Message, nil
	}
	return "", err
}

// OpenToReaders lists what LockDown should have closed and is open, for the
// admin's check; empty = all closed. ErrNotFound: there is no such role.
func (db *DB) OpenToReaders(ctx context.Context) ([]string, error) {
	var there bool
	err := db.pool.QueryRow(ctx, `SELECT to_regrole($1) IS NOT NULL`, Reader).Scan(&there)
	if err == nil && !there {
		err = fmt.Errorf("role %s: %w", Reader, coldseam.ErrNotFound)
	}
	if err != nil {
		return nil, fmt.Errorf("open to readers: %w", classify(err))
	}

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
		SELECT 'database ' || datname || ': CONNECT' FROM pg_database
		WHERE datname IN ('postgres', 'template1') AND datname <> current_database() AND has_database_privilege($2, oid, 'CONNECT')
		UNION ALL
		SELECT 'setting ' || c FROM pg_roles, unnest($3::text[]) c WHERE rolname = $2 AND NOT c = ANY(COALESCE(rolconfig, '{}'))
		UNION ALL
		SELECT 'settings of its own: ' || array_to_string(setconfig, ', ') FROM pg_db_role_setting WHERE setrole = $2::regrole AND setdatabase <> 0
		UNION ALL
		SELECT 'role: connections without limit' FROM pg_roles WHERE rolname = $2 AND rolconnlimit NOT BETWEEN 0 AND 4
		UNION ALL
		SELECT 'role: member of ' || roleid::regrole FROM pg_auth_members WHERE member = $2::regrole
		UNION ALL
		SELECT 'role: its sessions cannot be ended' WHERE NOT pg_has_role(current_user, $2, 'USAGE')
		UNION ALL
		SELECT 'role: superuser or more' FROM pg_roles WHERE rolname = $2 AND (rolsuper OR rolcreaterole OR rolcreatedb OR rolreplication OR rolbypassrls)
		ORDER BY 1`, closedFunctions, Reader, readerConfig())
	if err != nil {
		return nil, fmt.Errorf("open to readers: %w", classify(err))
	}

	out, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return nil, fmt.Errorf("open to readers: %w", classify(err))
	}

	return out, nil
}

// The role as a reader may have left it. Whoever may not set the privileged
// settings is not asked for them: $1 are all settings, $2 those that it may set.
const sqlReaderChanged = `
SELECT EXISTS (SELECT FROM pg_db_role_setting WHERE setrole = r.oid AND setdatabase <> 0)
  OR NOT COALESCE(r.rolconfig, '{}') <@ $1::text[] OR NOT COALESCE(r.rolconfig, '{}') @> $2::text[]
  OR current_setting('listen_addresses') = '' AND EXISTS (SELECT FROM pg_shadow s WHERE s.usename = r.rolname AND s.passwd IS NOT NULL)
FROM pg_roles r, pg_roles me
WHERE r.rolname = $3 AND me.rolname = current_user AND (me.rolsuper OR me.rolcreaterole)`

// MindReaders ends the sessions of readers that run a statement or a transaction
// for too long, or are in a database that is not open to them, or have filled
// the queue of notifications; and it sets their role back where a reader has
// changed it. It returns how many sessions it ended.
func (db *DB) MindReaders(ctx context.Context, limit time.Duration) (int, error) {
	n, err := db.EndLongReads(ctx, limit)
	var super, changed bool
	if err == nil {
		err = db.pool.QueryRow(ctx, `SELECT rolsuper FROM pg_roles WHERE rolname = current_user`).Scan(&super)
	}

	if err == nil {
		var must []string
		for _, s := range readerSettings {
			if super || !s.privileged {
				must = append(must, s.name+"="+s.value)
			}
		}
		sql := sqlReaderChanged
		if !super { // passwords are closed to others
			sql = strings.Replace(sql, `pg_shadow s WHERE s.usename = r.rolname AND s.passwd IS NOT NULL`,
				`pg_roles WHERE false`, 1)
		}
		err = db.pool.QueryRow(ctx, sql, readerConfig(), must, Reader).Scan(&changed)
	}

	if errors.Is(err, pgx.ErrNoRows) { // no role, or no right to set it: check says so
		return n, nil
	}

	if err == nil && changed {
		db.log.Warn("the readers' role was changed and is set back")
		_, err = db.LockDown(ctx)
	}

	if err != nil {
		return n, fmt.Errorf("mind readers: %w", classify(err))
	}

	return n, nil
}

// manyNotes is the share of the queue of notifications from which its readers
// are ended: whoever holds it up keeps it from being emptied [proposal].
const manyNotes = 0.01

// EndLongReads ends the sessions of readers, in whatever database of the server,
// with a statement older than limit or a transaction older than ten times it: a
// reader can turn off its own time limits. It returns how many. In a database
// that never let them in by name they have no business at all.
func (db *DB) EndLongReads(ctx context.Context, limit time.Duration) (int, error) {
	var n int
	// The queue is measured once, before the first session ends: its end may empty
	// the queue before the row of the next one is looked at.
	err := db.pool.QueryRow(ctx, `
		WITH queue AS MATERIALIZED (SELECT pg_notification_queue_usage() AS used)
		SELECT count(*) FILTER (WHERE pg_terminate_backend(pid))
		FROM queue, pg_stat_activity a LEFT JOIN pg_database d ON d.oid = a.datid
		WHERE usename = $1 AND pg_has_role(current_user, usesysid, 'USAGE')
		  AND (state <> 'idle' AND query_start < clock_timestamp() - $2::interval
		    OR xact_start < clock_timestamp() - 10 * $2::interval
		    OR NOT EXISTS (SELECT FROM aclexplode(d.datacl) x WHERE x.grantee = a.usesysid AND x.privilege_type = 'CONNECT')
		    OR queue.used > $3)`,
		Reader, limit, manyNotes).Scan(&n)
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
