package store_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// Not parallel with the readers' own tests in mind: a question holds no
// connection of the role, only its rights.
func TestAskHasTheRightsOfAReader(t *testing.T) {
	_, db := lockedDown(t)
	ctx := t.Context()
	year, err := db.NewestSeason(ctx, "")
	require.NoError(t, err)
	require.Zero(t, year)

	a, err := db.Answer(ctx, `SELECT band, upper_f, NULL AS nothing, date '2026-04-01' AS day FROM band ORDER BY band_no LIMIT 1`)
	require.NoError(t, err)
	require.Equal(t, store.Answer{Columns: []string{"band", "upper_f", "nothing", "day"},
		Rows: [][]string{{"slow", "37", "", "2026-04-01"}}}, a)

	for _, sql := range []string{
		`SELECT * FROM coldseam.subscriber`, `SELECT * FROM coldseam.trip`, `SELECT * FROM coldseam.trip_condition`,
		`CREATE TABLE season.mine (a int)`, `SELECT pg_sleep(1)`, `SELEC 1`,
	} {
		_, err := db.Answer(ctx, sql)
		require.Error(t, err, sql)
	}
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
