package store_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// Not parallel: the readers' role has four connections.
func TestAskHasTheRightsOfAReader(t *testing.T) {
	url, db := lockedDown(t)
	ctx := t.Context()
	years, err := db.Seasons(ctx)
	require.NoError(t, err)
	require.Empty(t, years)
	readerConn(t, url).Close(ctx) // skips where the role needs a password

	cfg := db.Pool().Config().ConnConfig
	as := func(user string) (*store.ReaderConn, error) {
		return store.OpenReader(ctx, fmt.Sprintf("host=%s port=%d dbname=%s user=%s password='%s'", cfg.Host, cfg.Port,
			cfg.Database, user, cfg.Password))
	}
	_, err = as(cfg.User)
	require.ErrorIs(t, err, coldseam.ErrRejected)
	r, err := as(store.Reader)
	require.NoError(t, err)
	defer r.Close()

	a, err := r.Ask(ctx, `SELECT band, upper_f, NULL AS nothing, date '2026-04-01' AS day FROM band ORDER BY band_no;`, 1)
	require.NoError(t, err)
	require.Equal(t, store.Answer{Columns: []string{"band", "upper_f", "nothing", "day"},
		Rows: [][]string{{"slow", "37", "", "2026-04-01"}}, More: true}, a)

	for _, sql := range []string{
		`SELECT * FROM coldseam.subscriber`, `SELECT * FROM coldseam.trip`, `SELECT * FROM coldseam.trip_condition`,
		`SELECT * FROM coldseam.book_row`, `SELECT * FROM coldseam.book_now`, `SELECT * FROM coldseam.book_cell`,
		`SELECT n_tup_ins, last_autoanalyze FROM pg_stat_all_tables WHERE relname = 'trip'`, `SELECT pg_relation_size(oid) FROM pg_class WHERE relname = 'trip'`,
		`CREATE TABLE season.mine (a int)`, `SELECT pg_sleep(1)`, `SELEC 1`,
		`SELECT 1; SELECT 2`, `RESET ROLE; SELECT * FROM coldseam.trip`, `COMMIT; DELETE FROM coldseam.trip`,
		`SET ROLE coldseam`, `SET SESSION AUTHORIZATION coldseam`, `COPY coldseam.trip TO STDOUT`,
		`COPY (SELECT 1) TO PROGRAM 'true'`, `DO $$ BEGIN PERFORM * FROM coldseam.trip; END $$`,
	} {
		_, err := r.Ask(ctx, sql, 10)
		require.Error(t, err, sql)
	}
	// What a block sets is of no use to the next one.
	_, err = r.Ask(ctx, `SELECT set_config('role', 'none', false)`, 1)
	require.NoError(t, err)
	_, err = r.Ask(ctx, `SELECT * FROM coldseam.trip`, 1)
	require.ErrorContains(t, err, "permission denied")

	// The connection goes back to the pool with the program's own rights.
	var me string
	for range 20 {
		require.NoError(t, db.Pool().QueryRow(ctx, `SELECT current_user`).Scan(&me))
		require.NotEqual(t, store.Reader, me)
	}
}
