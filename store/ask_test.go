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
	year, err := db.NewestSeason(ctx, "")
	require.NoError(t, err)
	require.Zero(t, year)
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

func TestLoggedDays(t *testing.T) {
	_, db := lockedDown(t)
	seedSeason(t, db)
	ctx := t.Context()
	from, to := coldseam.Date{Year: 2026, Month: 3, Day: 1}, coldseam.Date{Year: 2026, Month: 5, Day: 31}
	days, err := db.LoggedDays(ctx, "bend", from, to)
	require.NoError(t, err)
	trips, err := db.Trips(ctx, "", from, to)
	require.NoError(t, err)
	who, n, fish, zero, stayed := map[int]bool{}, 0, 0, 0, 0

	for _, d := range days {
		if d.Stayed {
			stayed += d.Trips
			require.Zero(t, d.LineHours)
			require.Equal(t, d.Trips, d.ByMail)
			continue
		}
		n, fish, zero = n+d.Trips, fish+d.Fish, zero+d.ZeroTrips
		require.Equal(t, 4*float64(d.Trips), d.LineHours)
		for _, w := range d.Who {
			who[w] = true
		}
	}

	require.Len(t, who, 5)
	require.Equal(t, len(trips), n+stayed)
	require.Equal(t, 5, stayed)
	want, wantZero := 0, 0
	for _, x := range trips {
		want += x.Fish
		if x.Fish == 0 && !x.WentNot {
			wantZero++
		}
	}

	require.Equal(t, want, fish)
	require.Equal(t, wantZero, zero)

	none, err := db.LoggedDays(ctx, "elsewhere", from, to)
	require.NoError(t, err)
	require.Empty(t, none)
}
