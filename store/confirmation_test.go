package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/store"
)

func TestConfirmationIsReadAsItWasKnown(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{})
	ctx := t.Context()
	r, err := db.Reach(ctx, "bend")
	require.NoError(t, err)
	word := coldseam.Confirmation{
		Site:  r.Site,
		Param: coldseam.Stage,
		From:  t0,
		To:    t0.Add(time.Hour),
		At:    t0.Add(2 * time.Hour),
		Who:   "club admin",
		Why:   "read the staff",
	}
	require.NoError(t, db.ConfirmReadings(ctx, word))
	require.NoError(t, db.ConfirmReadings(ctx, word), "again")

	for _, c := range []struct {
		since, asOf time.Time
		want        []coldseam.Confirmation
	}{
		{t0, t0.Add(2 * time.Hour), []coldseam.Confirmation{word}},
		{t0, t0.Add(2*time.Hour - time.Second), []coldseam.Confirmation{}},
		{t0.Add(61 * time.Minute), t0.Add(72 * time.Hour), []coldseam.Confirmation{}},
	} {
		got, err := db.Confirmations(ctx, r.Site, c.since, c.asOf)
		require.NoError(t, err)
		require.Equal(t, c.want, got)
	}

	all, err := db.Confirmations(ctx, "", time.Time{}, word.At)
	require.NoError(t, err)
	require.Equal(t, []coldseam.Confirmation{word}, all, "of all gauges")
	require.Equal(t, 1, count(t, db, `SELECT count(*) FROM season.confirmation WHERE site_id = '`+string(r.Site)+
		`' AND why = 'read the staff'`))
}

func TestConfirmationIsRefused(t *testing.T) {
	t.Parallel()
	db := withBend(t, store.Options{})
	r, err := db.Reach(t.Context(), "bend")
	require.NoError(t, err)
	for name, spoil := range map[string]func(*coldseam.Confirmation){
		"no reason":            func(c *coldseam.Confirmation) { c.Why = "" },
		"an address":           func(c *coldseam.Confirmation) { c.Who = "admin@club.example" },
		"ends before it began": func(c *coldseam.Confirmation) { c.To = c.From.Add(-time.Second) },
		"readings to come":     func(c *coldseam.Confirmation) { c.To = c.At.Add(time.Second) },
		"no such gauge":        func(c *coldseam.Confirmation) { c.Site = "nowhere" },
	} {
		c := coldseam.Confirmation{
			Site:  r.Site,
			Param: coldseam.Stage,
			From:  t0,
			To:    t0.Add(time.Hour),
			At:    t0.Add(2 * time.Hour),
			Who:   "club admin",
			Why:   "read the staff",
		}
		spoil(&c)
		require.Error(t, db.ConfirmReadings(t.Context(), c), name)
	}
}
