package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

// A paper log goes in without loss: rows that say the same are as many trips,
// the same log again changes nothing, a corrected row replaces the one before,
// and a row that cannot be stored leaves nothing behind.
func TestImportTrips(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{})
	ctx := t.Context()
	const r = coldseam.ReachID("bend")
	day := coldseam.Date{Year: 2026, Month: 4, Day: 4}
	row := func(hours float64, fish int) coldseam.Trip {
		return coldseam.Trip{
			Reach:     r,
			Date:      day,
			Hours:     hours,
			Fish:      fish,
			Species:   "walleye",
			Source:    "csv",
			EnteredAt: t0,
		}
	}
	stored := func() (out [][2]float64) {
		list, err := db.Trips(ctx, r, day, day)
		require.NoError(t, err)
		for _, x := range list {
			out = append(out, [2]float64{x.Hours, float64(x.Fish)})
		}
		return out
	}
	kinds := func(rows ...coldseam.Trip) (fresh, corrected int) {
		t.Helper()
		list, err := db.ImportTrips(ctx, rows)
		require.NoError(t, err)
		require.Len(t, list, len(rows))
		for _, x := range list {
			require.NotZero(t, x.Trip.ID)
			if x.New {
				fresh++
			}
			if x.Was != nil {
				corrected++
			}
		}
		return fresh, corrected
	}
	log := []coldseam.Trip{row(3, 2), row(3, 2), row(4, 0)} // no angler, no start
	fresh, corrected := kinds(log...)
	require.Equal(t, [2]int{3, 0}, [2]int{fresh, corrected})
	fresh, corrected = kinds(log...)
	require.Equal(t, [2]int{0, 0}, [2]int{fresh, corrected})
	require.Equal(t, [][2]float64{{3, 2}, {3, 2}, {4, 0}}, stored())

	log[2].Fish = 1
	fresh, corrected = kinds(log...)
	require.Equal(t, [2]int{0, 1}, [2]int{fresh, corrected})
	require.Equal(t, [][2]float64{{3, 2}, {3, 2}, {4, 1}}, stored())

	fresh, corrected = kinds(row(2, 7)) // another list of the same day
	require.Equal(t, [2]int{1, 0}, [2]int{fresh, corrected})

	_, err := db.ImportTrips(ctx, []coldseam.Trip{row(9, 9), {Reach: "nowhere", Date: day, Source: "csv"}})
	require.Error(t, err)
	require.Len(t, stored(), 4)

	entered := row(5, 5)
	entered.Source, entered.Angler, entered.Start = "form", "a1", day.UTC().Add(12*time.Hour)
	_, _, err = db.AddTrip(ctx, entered)
	require.NoError(t, err)
	entered.Source, entered.Fish = "csv", 6
	fresh, corrected = kinds(entered)
	require.Equal(t, [2]int{1, 0}, [2]int{fresh, corrected}, "what a person entered stays")
}
