package store_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"

	"example.org/coldseam/store"
	"example.org/coldseam/store/storetest"
)

// readerConn connects as the readers' role.
func readerConn(t testing.TB, url string) *pgx.Conn {
	t.Helper()
	cfg, err := pgx.ParseConfig(url)
	require.NoError(t, err)
	cfg.User = store.Reader
	c, err := pgx.ConnectConfig(t.Context(), cfg)
	if err != nil && strings.Contains(err.Error(), "authentication") {
		t.Skip("the server of TEST_DATABASE_URL asks the readers' role for a password")
	}
	require.NoError(t, err)
	t.Cleanup(func() { c.Close(context.Background()) })
	return c
}

func lockedDown(t testing.TB) (url string, db *store.DB) {
	t.Helper()
	url = storetest.URL(t)
	db, err := store.Open(t.Context(), url, store.Options{})
	require.NoError(t, err)
	t.Cleanup(db.Close)
	open, err := db.LockDown(t.Context())
	require.NoError(t, err)
	require.Empty(t, open)
	return url, db
}

// attacks must all be refused for lack of rights, not for a slip in them.
var attacks = []struct{ name, sql string }{
	{"1 private table", `SELECT * FROM coldseam.subscriber`},
	{"2 private view", `SELECT * FROM coldseam.trip_condition`},
	{"3 queue", `SELECT * FROM river.river_job`},
	{"4 write through a view", `UPDATE season.band SET band = 'x'`},
	{"5 delete through a view", `DELETE FROM season.brief`},
	{"6 read a file", `SELECT pg_read_file('/etc/passwd')`},
	{"7 list files", `SELECT * FROM pg_ls_dir('/')`},
	{"8 copy from program", `COPY season.band TO PROGRAM 'cat'`},
	{"9 copy to file", `COPY (SELECT 1) TO '/tmp/out'`},
	{"10 set role", `SET ROLE ` + "OWNER"},
	{"11 create table", `CREATE TABLE season.mine (a int)`},
	{"12 create in public", `CREATE TABLE public.mine (a int)`},
	{"13 temporary table", `CREATE TEMP TABLE mine (a int)`},
	{"14 create function", `CREATE FUNCTION season.f() RETURNS int LANGUAGE sql AS 'SELECT 1'`},
	{"15 large object", `SELECT lo_create(0)`},
	{"16 large object from bytes", `SELECT lo_from_bytea(0, 'x')`},
	{"17 notify", `SELECT pg_notify('river', 'x')`},
	{"18 sleep", `SELECT pg_sleep(60)`},
	{"19 advisory lock", `SELECT pg_advisory_lock(7263710002)`},
	{"20 end another session", `SELECT pg_terminate_backend(1)`},
	{"21 new role", `CREATE ROLE mine SUPERUSER`},
	{"22 sleep sibling", `SELECT pg_sleep_for('1 minute')`},
	{"23 shared lock sibling", `SELECT pg_try_advisory_xact_lock_shared(1, 2)`},
	{"24 large object import", `SELECT lo_import('/etc/passwd')`},
	{"25 query as text", `SELECT query_to_xml('SELECT 1', true, true, '')`},
	{"26 passwords", `SELECT passwd FROM pg_shadow`},
	{"27 lock a view", `DO $$ BEGIN LOCK TABLE season.brief IN ACCESS EXCLUSIVE MODE; END $$`},
	{"28 comment", `COMMENT ON VIEW season.brief IS 'x'`},
	{"29 create database", `CREATE DATABASE mine`},
	{"30 server settings", `ALTER SYSTEM SET fsync = off`},
}

// Not parallel: the role may have four connections on the whole server.
func TestReaderIsLockedIn(t *testing.T) {
	url, db := lockedDown(t)
	var owner string
	require.NoError(t, db.Pool().QueryRow(t.Context(), `SELECT current_user`).Scan(&owner))
	c := readerConn(t, url)
	var n int
	require.NoError(t, c.QueryRow(t.Context(), `SELECT count(*) FROM dictionary`).Scan(&n),
		"its own schema is open, and is found first")
	require.Greater(t, n, 100)

	for _, readOnly := range []string{"on", "off"} { // a reader may turn its own read-only mode off
		_, err := c.Exec(t.Context(), `SET default_transaction_read_only = `+readOnly)
		require.NoError(t, err)

		for _, a := range attacks {
			sql := strings.ReplaceAll(a.sql, "OWNER", pgx.Identifier{owner}.Sanitize())
			_, err := c.Exec(t.Context(), sql)
			var pe *pgconn.PgError
			require.True(t, errors.As(err, &pe), "%s: %v", a.name, err)
			codes := []string{"42501"} // insufficient_privilege
			if readOnly == "on" {
				codes = append(codes, "25006") // read_only_sql_transaction
			}
			if strings.Contains(a.name, "through a view") {
				codes = append(codes, "55000") // the view cannot be written to at all
			}
			require.Contains(t, codes, pe.Code, "%s: %s %s", a.name, pe.Code, pe.Message)
		}
	}

	open, err := db.OpenToReaders(t.Context())
	require.NoError(t, err)
	require.Empty(t, open)
	_, err = db.Pool().Exec(t.Context(), `GRANT USAGE ON SCHEMA coldseam TO public`)
	require.NoError(t, err)
	open, err = db.OpenToReaders(t.Context())
	require.NoError(t, err)
	require.Equal(t, []string{"schema coldseam"}, open, "the admin's check names what is open")

	// What cannot be closed is ended.
	_, err = c.Exec(t.Context(), `SET statement_timeout = 0`)
	require.NoError(t, err)
	done := make(chan error, 1)
	go func() {
		_, err := c.Exec(context.Background(),
			`SELECT count(*) FROM generate_series(1, 20000) a, generate_series(1, 2000000) b`)
		done <- err
	}()

	require.Eventually(t, func() bool {
		n, err := db.EndLongReads(t.Context(), 50*time.Millisecond)
		return err == nil && n == 1
	}, 10*time.Second, 20*time.Millisecond)
	require.ErrorContains(t, <-done, "terminating connection")
	c.Close(context.Background())

	// At most four at a time.
	var conns []*pgx.Conn
	for i := range 6 {
		cfg, err := pgx.ParseConfig(url)
		require.NoError(t, err)
		cfg.User = store.Reader
		c, err := pgx.ConnectConfig(t.Context(), cfg)
		if err != nil {
			require.ErrorContains(t, err, "too many connections", "connection %d", i)
			break
		}
		conns = append(conns, c)
	}

	require.LessOrEqual(t, len(conns), 4)
	for _, c := range conns {
		c.Close(context.Background())
	}
}

func TestReaderHasLimits(t *testing.T) {
	url, _ := lockedDown(t)
	c := readerConn(t, url)
	for set, want := range map[string]string{
		"default_transaction_read_only": "on", "statement_timeout": "15s", "idle_in_transaction_session_timeout": "30s",
		"temp_file_limit": "256MB", "work_mem": "16MB", "search_path": "season",
	} {
		var got string
		require.NoError(t, c.QueryRow(t.Context(), `SHOW `+set).Scan(&got))
		require.Equal(t, want, got, set)
	}
}

// An application role without superuser rights keeps what it needs: locks,
// and notify for the queue.
func TestApplicationRoleStillWorks(t *testing.T) {
	url := storetest.EmptyURL(t)
	admin, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	defer admin.Close(context.Background())
	var name string
	require.NoError(t, admin.QueryRow(t.Context(), `SELECT current_database()`).Scan(&name))
	role := "app_" + name
	for _, sql := range []string{`CREATE ROLE %s LOGIN PASSWORD 'x'`, `GRANT ALL ON DATABASE ` + name + ` TO %s`,
		`GRANT ALL ON SCHEMA public TO %s`} {
		_, err = admin.Exec(t.Context(), fmt.Sprintf(sql, role))
		require.NoError(t, err)
	}

	t.Cleanup(func() {
		c, err := pgx.Connect(context.Background(), url)
		require.NoError(t, err)
		defer c.Close(context.Background())
		_, err = c.Exec(context.Background(), fmt.Sprintf(`DROP OWNED BY %s CASCADE; DROP ROLE %[1]s`, role))
		require.NoError(t, err)
	})
	cfg, err := pgx.ParseConfig(url)
	require.NoError(t, err)

	app := fmt.Sprintf("host=%s port=%d dbname=%s user=%s password=x sslmode=disable", cfg.Host, cfg.Port, name, role)
	db, err := store.Open(t.Context(), app, store.Options{})
	require.NoError(t, err)
	defer db.Close()
	require.NoError(t, db.Migrate(t.Context()))
	open, err := db.LockDown(t.Context())
	require.NoError(t, err)
	require.NotEmpty(t, open, "it may not close functions of the server, and says so")

	sql, err := db.LockSQL(t.Context())
	require.NoError(t, err)
	_, err = admin.Exec(t.Context(), sql)
	require.NoError(t, err)
	open, err = db.LockDown(t.Context())
	require.NoError(t, err)
	require.Empty(t, open, "somebody with more rights has closed it")
	put(t, db, flow, obs(0, 1, t0, 0))
	require.Equal(t, 1, queue(t, db, "morning", morning, subscriber(t, db, "ada@one.example")))
}
