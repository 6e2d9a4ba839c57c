package store_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
	"example.org/coldseam/store/localpg"
	"example.org/coldseam/store/storetest"
)

// ownServer is a Postgres of one test alone, as the program starts it.
func ownServer(t *testing.T) (*localpg.Server, *store.DB) {
	t.Helper()
	pgTools(t)
	pg, err := localpg.Start(t.Context(), localpg.Options{Dir: openDir(t) + "/database", Fast: true})
	require.NoError(t, err)
	t.Cleanup(func() { pg.Stop() })
	db, err := store.Open(t.Context(), pg.URL(""), store.Options{})
	require.NoError(t, err)
	t.Cleanup(db.Close)
	require.NoError(t, db.Migrate(t.Context()))
	return pg, db
}

// What a reader may try with the whole server. After each, a minute's round and
// the next session of a reader, the world must be as want says.
type serverAttack struct {
	name     string
	database string // "" = the club's
	sql      string // run with read-only mode off; a refusal is as good as what the round mends
	probe    string // asked by the program afterwards
	want     string
}

const (
	config   = `SELECT array_to_string(rolconfig, ' ') FROM pg_roles WHERE rolname = 'season_reader'`
	own      = `SELECT count(*)::text FROM pg_db_role_setting WHERE setrole = 'season_reader'::regrole AND setdatabase <> 0`
	password = `SELECT count(*)::text FROM pg_authid WHERE rolname = 'season_reader' AND rolpassword IS NOT NULL`
	sessions = `SELECT count(*)::text FROM pg_stat_activity WHERE usename = 'season_reader'`
	objects  = `SELECT count(*)::text FROM pg_largeobject_metadata`
)

func serverAttacks() []serverAttack {
	out := []serverAttack{
		{"own password", "", `ALTER ROLE season_reader PASSWORD 'x'`, password, "0"},
		{"own password by name of the session", "", `ALTER USER CURRENT_USER PASSWORD 'x'`, password, "0"},
		{"no settings at all", "", `ALTER ROLE season_reader RESET ALL`, "", ""},
		{"a setting taken away", "", `ALTER ROLE season_reader RESET statement_timeout`, "", ""},
		{"a setting more", "", `ALTER ROLE season_reader SET enable_hashjoin = off`, "", ""},
		{"settings in the club's database", "",
			`ALTER ROLE season_reader IN DATABASE coldseam SET statement_timeout = 0`, own, "0"},
		{"settings in another database", "", `ALTER ROLE season_reader IN DATABASE postgres SET work_mem = '2GB'`, own,
			"0"},
		{"settings of a database", "", `ALTER DATABASE coldseam SET work_mem = '2GB'`,
			`SELECT count(*)::text FROM pg_db_role_setting WHERE setrole = 0`, "0"},
		{"settings of everybody", "", `ALTER ROLE ALL SET work_mem = '2GB'`,
			`SELECT count(*)::text FROM pg_db_role_setting WHERE setrole = 0`, "0"},
		{"connections without limit", "", `ALTER ROLE season_reader CONNECTION LIMIT -1`,
			`SELECT rolconnlimit::text FROM pg_roles WHERE rolname = 'season_reader'`, "4"},
		{"another name", "", `ALTER ROLE season_reader RENAME TO owner`,
			`SELECT count(*)::text FROM pg_roles WHERE rolname = 'season_reader'`, "1"},
		{"settings of the owner", "", `ALTER ROLE coldseam SET work_mem = '2GB'`,
			`SELECT count(*)::text FROM pg_roles WHERE rolname = 'coldseam' AND rolconfig IS NOT NULL`, "0"},
		{"temporary files without limit", "", `SET temp_file_limit = -1`, "", ""},
		{"the server's log", "", `SET log_min_messages = debug5`, "", ""},
		{"the server's log of statements", "", `SET log_statement = 'all'`, "", ""},
		{"more rights by a role of the server", "", `GRANT pg_read_all_data TO season_reader`,
			`SELECT count(*)::text FROM pg_auth_members WHERE member = 'season_reader'::regrole`, "0"},
		{"its own views opened to all", "", `GRANT ALL ON season.brief TO public`,
			`SELECT has_table_privilege('season_reader', 'season.brief', 'INSERT')::text`, "false"},
		{"transaction numbers used up", "", `SELECT pg_current_xact_id()`, "", ""},
		{"transaction numbers used up, old name", "", `SELECT txid_current()`, "", ""},
		{"checkpoints", "", `CHECKPOINT`, "", ""},
		{"statistics forgotten", "", `SELECT pg_stat_reset()`, "", ""},
		{"a transaction prepared and left", "", `BEGIN; SELECT 1; PREPARE TRANSACTION 'x'`,
			`SELECT count(*)::text FROM pg_prepared_xacts`, "0"},
		{"foreign servers", "", `CREATE EXTENSION dblink`,
			`SELECT count(*)::text FROM pg_extension WHERE extname = 'dblink'`, "0"},
		{"event trigger", "", `CREATE EVENT TRIGGER x ON ddl_command_end EXECUTE FUNCTION now()`, "", ""},
		{"drop the readers' limits with the role", "", `DROP ROLE season_reader`,
			`SELECT count(*)::text FROM pg_roles WHERE rolname = 'season_reader'`, "1"},
		{"take over the schema", "", `ALTER SCHEMA season OWNER TO season_reader`,
			`SELECT (nspowner = 'season_reader'::regrole)::text FROM pg_namespace WHERE nspname = 'season'`, "false"},
		{"the queue's table by name", "", `DELETE FROM river.river_queue`, "", ""},
	}

	for _, d := range []string{"postgres", "template1"} {
		out = append(out,
			serverAttack{"enter " + d, d, `SELECT 1`, sessions, "0"},
			serverAttack{"temporary tables in " + d, d, `CREATE TEMP TABLE t AS SELECT 1`, sessions, "0"},
			serverAttack{"large objects in " + d, d, `SELECT lo_from_bytea(0, 'x')`, objects, "0"},
			serverAttack{"sleep in " + d, d, `SELECT pg_sleep(0.01)`, sessions, "0"},
			serverAttack{"notify from " + d, d, `NOTIFY x, 'y'`, sessions, "0"},
			serverAttack{"a table in " + d, d, `CREATE TABLE public.t (a int)`, sessions, "0"})
	}

	return out
}

func TestReaderCannotHurtTheServer(t *testing.T) {
	t.Parallel()
	pg, db := ownServer(t)
	ctx := t.Context()
	var wantConfig string
	require.NoError(t, db.Pool().QueryRow(ctx, config).Scan(&wantConfig))
	list := serverAttacks()
	require.GreaterOrEqual(t, len(list), 30)

	for _, a := range list {
		c, err := pgx.Connect(ctx, pg.URLAs(store.Reader, a.database))
		if a.database != "" {
			require.Error(t, err, a.name)
			require.Contains(t, err.Error(), "permission denied", a.name)
			continue
		}

		require.NoError(t, err, a.name)
		_, err = c.Exec(ctx, `SET default_transaction_read_only = off`)
		require.NoError(t, err)
		_, err = c.Exec(ctx, a.sql)
		if a.probe == "" && !strings.HasPrefix(a.sql, "ALTER ROLE season_reader") {
			require.Error(t, err, a.name)
		}
		c.Close(ctx)
		_, err = db.MindReaders(ctx, 30*time.Second)
		require.NoError(t, err, a.name)

		probes := map[string]string{config: wantConfig}
		if a.probe != "" {
			probes[a.probe] = a.want
		}
		for sql, want := range probes {
			var got string
			require.NoError(t, db.Pool().QueryRow(ctx, sql).Scan(&got), a.name)
			require.Equal(t, want, got, a.name)
		}

		open, err := db.OpenToReaders(ctx)
		require.NoError(t, err)
		require.Empty(t, open, a.name)
	}
}

// Memory that a reader asks for ends in an error of its own, whatever work_mem
// it sets; the server goes on.
func TestReaderHasNoMoreMemoryThanItsShare(t *testing.T) {
	t.Parallel()
	pg, db := ownServer(t)
	c, err := pgx.Connect(t.Context(), pg.URLAs(store.Reader, ""))
	require.NoError(t, err)
	defer c.Close(context.Background())
	_, err = c.Exec(t.Context(), `SET statement_timeout = 0; SET work_mem = '2GB'`)
	require.NoError(t, err)
	_, err = c.Exec(t.Context(), `SELECT length(repeat('x', 600000000))`)
	require.ErrorContains(t, err, "out of memory")
	require.NoError(t, c.Ping(t.Context()))
	require.NoError(t, db.Ping(t.Context()))
}

// A reader in a database that never let it in by name is ended, long transactions
// of many short statements too, and whoever holds up the queue of notifications.
func TestReadersAreEndedInAllDatabases(t *testing.T) {
	t.Parallel()
	pg, db := ownServer(t)
	ctx := t.Context()
	_, err := db.Pool().Exec(ctx, `CREATE DATABASE other`)
	require.NoError(t, err)
	reader := func(database string) *pgx.Conn {
		c, err := pgx.Connect(ctx, pg.URLAs(store.Reader, database))
		require.NoError(t, err)
		t.Cleanup(func() { c.Close(context.Background()) })
		return c
	}

	ended := func(what string, limit time.Duration) {
		t.Helper()
		require.Eventually(t, func() bool {
			n, err := db.MindReaders(ctx, limit)
			return err == nil && n == 1
		}, 20*time.Second, 10*time.Millisecond, what)
	}
	reader("other")
	ended("a session in another database", time.Hour)

	c := reader("")
	_, err = c.Exec(ctx, `SET idle_in_transaction_session_timeout = 0; BEGIN`)
	require.NoError(t, err)
	ended("a transaction without end", 5*time.Millisecond)

	c, sender := reader(""), reader("")
	_, err = c.Exec(ctx, `SET idle_in_transaction_session_timeout = 0; LISTEN x`)
	require.NoError(t, err)
	_, err = c.Exec(ctx, `BEGIN`) // holds what comes from now on
	require.NoError(t, err)
	pad := strings.Repeat("x", 7900)

	var usage float64
	for i := 0; usage <= 0.011; i++ {
		var b strings.Builder
		b.WriteString("BEGIN;")
		for k := range 1000 {
			fmt.Fprintf(&b, "NOTIFY x, '%d %d %s';", i, k, pad)
		}
		_, err = sender.Exec(ctx, b.String()+"COMMIT")
		require.NoError(t, err)
		require.NoError(t, db.Pool().QueryRow(ctx, `SELECT pg_notification_queue_usage()`).Scan(&usage))
	}

	_, err = db.MindReaders(ctx, time.Hour)
	require.NoError(t, err)
	for _, held := range []*pgx.Conn{c, sender} {
		require.Error(t, held.Ping(ctx), "a session that fills the queue is ended")
	}
}

// Work is queued and taken whatever has become of the queue of notifications, and
// nobody who sends one pauses the work.
func TestQueueNeedsNoNotifications(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	ctx := t.Context()
	for _, sql := range []string{
		`CREATE SCHEMA broken`,
		`CREATE FUNCTION broken.pg_notify(text, text) RETURNS void LANGUAGE plpgsql AS $$ BEGIN RAISE 'too many notifications in the NOTIFY queue'; END $$`,
	} {
		_, err := db.Pool().Exec(ctx, sql)
		require.NoError(t, err)
	}

	var name string
	require.NoError(t, db.Pool().QueryRow(ctx, `SELECT quote_ident(current_database())`).Scan(&name))
	_, err := db.Pool().Exec(ctx, `ALTER DATABASE `+name+` SET search_path = broken, pg_catalog, public`)
	require.NoError(t, err)
	db.Pool().Reset()
	require.NoError(t, db.Enqueue(ctx, store.MaintenanceArgs{Day: day}))
	require.NoError(t, db.EnqueueFailure())
	_, err = db.Pool().Exec(ctx, `ALTER TABLE river.river_job RENAME TO gone`)
	require.NoError(t, err)
	require.Error(t, db.Enqueue(ctx, store.MaintenanceArgs{Day: day.Add(1)}))
	require.Error(t, db.EnqueueFailure(), "the page of health tells")
}

// ordinary makes an owner without any right beyond its own database.
func ordinary(t *testing.T, pg *localpg.Server) (url string) {
	t.Helper()
	c, err := pgx.Connect(t.Context(), pg.URL(""))
	require.NoError(t, err)
	defer c.Close(context.Background())
	for _, sql := range []string{`CREATE ROLE club LOGIN`, `CREATE DATABASE club OWNER club`} {
		_, err = c.Exec(t.Context(), sql)
		require.NoError(t, err)
	}
	return pg.URLAs("club", "club")
}

// An owner without rights on the server sets the program up from nothing. Then a
// superuser runs the printed statements once, and all is closed.
func TestOrdinaryOwnerFromNothing(t *testing.T) {
	t.Parallel()
	pgTools(t)
	pg, err := localpg.Start(t.Context(), localpg.Options{Dir: openDir(t) + "/database", Fast: true})
	require.NoError(t, err)
	t.Cleanup(func() { pg.Stop() })
	ctx := t.Context()
	db, err := store.Open(ctx, ordinary(t, pg), store.Options{})
	require.NoError(t, err)

	t.Cleanup(db.Close)
	require.NoError(t, db.Migrate(ctx))
	require.NoError(t, db.RequireCurrent(ctx))
	_, err = db.OpenToReaders(ctx)
	require.ErrorIs(t, err, coldseam.ErrNotFound)
	_, err = db.MindReaders(ctx, time.Second)
	require.NoError(t, err)
	put(t, db, flow, obs(0, 1, t0, 0))
	require.Equal(t, 1, queue(t, db, "morning", morning, subscriber(t, db, "ada@one.example")))

	sql, err := db.LockSQL(ctx)
	require.NoError(t, err)
	super, err := pgx.Connect(ctx, pg.URL("club"))
	require.NoError(t, err)
	defer super.Close(context.Background())
	_, err = super.Exec(ctx, sql)
	require.NoError(t, err)
	require.NoError(t, db.Migrate(ctx), "the next start changes nothing about it")
	open, err := db.OpenToReaders(ctx)
	require.NoError(t, err)
	require.Empty(t, open)

	c, err := pgx.Connect(ctx, pg.URLAs(store.Reader, "club"))
	require.NoError(t, err)
	defer c.Close(context.Background())

	var n int
	require.NoError(t, c.QueryRow(ctx, `SELECT count(*) FROM dictionary`).Scan(&n))
	require.Positive(t, n)
	_, err = c.Exec(ctx, `SELECT pg_sleep(0)`)
	require.ErrorContains(t, err, "permission denied")
	_, err = c.Exec(ctx, `BEGIN`)
	require.NoError(t, err)
	require.Eventually(t, func() bool {
		n, err := db.MindReaders(ctx, time.Millisecond)
		return err == nil && n == 1
	}, 10*time.Second, 10*time.Millisecond)
}
