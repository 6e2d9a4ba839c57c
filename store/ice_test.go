package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

func iceOn(d coldseam.Date, state string) store.IceDay {
	return store.IceDay{Day: d, State: state, Since: day, Cause: "cold_water", FrostCD: 12.5, ThawCD: 1}
}

func states(days []store.IceDay) (out []string) {
	for _, d := range days {
		out = append(out, d.State)
	}
	return out
}

func TestIceIsReadAsItWasKnown(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{})
	ctx := t.Context()
	require.NoError(t, db.SaveIce(ctx, "bend", t0, []store.IceDay{iceOn(day, "ice"), iceOn(day.Add(1), "ice")}))
	require.NoError(t, db.SaveIce(ctx, "bend", t0.Add(time.Hour),
		[]store.IceDay{iceOn(day, "ice"), iceOn(day.Add(1), "open"), iceOn(day.Add(2), "open")}))

	for _, c := range []struct {
		asOf time.Time
		want []string
	}{{t0.Add(-time.Minute), nil}, {t0.Add(time.Minute), []string{"ice", "ice"}},
		{t0.Add(2 * time.Hour), []string{"ice", "open", "open"}}} {
		got, err := db.IceDays(ctx, "bend", day, day.Add(9), c.asOf)
		require.NoError(t, err)
		require.Equal(t, c.want, states(got))
	}

	got, err := db.IceDays(ctx, "bend", day, day, t0)
	require.NoError(t, err)
	want := iceOn(day, "ice")
	want.KnownAt = t0
	require.Equal(t, []store.IceDay{want}, got)
}

func TestSameIceWritesNothing(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{})
	for i := range 3 {
		require.NoError(t, db.SaveIce(t.Context(), "bend", t0.Add(time.Duration(i)*time.Hour),
			[]store.IceDay{iceOn(day, "ice"), iceOn(day.Add(1), "open")}))
	}
	require.Equal(t, 2, count(t, db, `SELECT count(*) FROM coldseam.ice_state`))
	require.Equal(t, 2, count(t, db, `SELECT count(*) FROM season.ice`))
}

func TestMembersIceWordOnlyCloses(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{})
	ctx := t.Context()
	word := store.IceWord{Reach: "bend", At: t0, Edit: store.Edit{Who: "member", Why: "trip log",
		At: t0.Add(time.Hour)}}
	require.NoError(t, db.SayIce(ctx, word))
	require.NoError(t, db.SayIce(ctx, word), "again")
	open := word
	open.Open = true
	require.ErrorIs(t, db.SayIce(ctx, open), coldseam.ErrInvalid)
	open.Admin, open.Why = true, ""
	require.ErrorIs(t, db.SayIce(ctx, open), coldseam.ErrInvalid)

	got, err := db.IceWords(ctx, "bend", t0.Add(-time.Hour), t0.Add(2*time.Hour))
	require.NoError(t, err)
	require.Equal(t, []store.IceWord{word}, got)
	got, err = db.IceWords(ctx, "bend", t0.Add(-time.Hour), t0.Add(30*time.Minute))
	require.NoError(t, err)
	require.Empty(t, got, "not entered yet")
}
