//go:build !race

package setup

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/cmd/internal/doctor"
	"example.org/coldseam/cmd/internal/env"
)

// Readings with equipment trouble are NO CALL until the admin stands for them;
// check names the command, and what comes later is judged anew.
func TestAdminConfirmsReadings(t *testing.T) {
	t.Parallel()
	v := clubtest.NewServing(t)
	ctx := t.Context()
	r := v.ReachOf(t, "tamsen-bend")
	spoil := func(o *coldseam.Observation) { o.Flag |= coldseam.Equipment }
	brief := func() coldseam.Brief {
		v.Clock.Forward(v.Now().Add(time.Second))
		b, err := v.Morning.MakeBrief(ctx, r, clubtest.Saturday)
		require.NoError(t, err)
		return b
	}
	require.NotContains(t, clubtest.Codes(brief().Reasons), "discharge_untrusted")

	v.Rewrite(t, r.Site, coldseam.Discharge, 9, spoil)
	b := brief()
	require.Equal(t, coldseam.NoCall, b.Verdict)
	require.Contains(t, clubtest.Codes(b.Reasons), "discharge_untrusted")
	var fixes string
	for _, l := range doctor.RunChecks(ctx, v.Parts, true) {
		fixes += l.Fix + "\n"
	}
	require.Contains(t, fixes, "coldseam reading confirm tamsen-bend --parameter discharge --from 2026-04-17T")

	enter := func(c readingConfirmCmd) error { return c.say(ctx, new(bytes.Buffer), v.Parts) }
	zone := env.Zone(r.Zone)
	at := func(back time.Duration) string { return v.Now().Add(-back).In(zone).Format("2006-01-02T15:04") }
	word := readingConfirmCmd{
		Where:     string(r.ID),
		Parameter: "discharge",
		From:      at(10 * time.Hour),
		To:        at(0),
		Why:       "compared with the staff at five",
		Who:       "club admin",
	}
	for want, change := range map[string]func(*readingConfirmCmd){
		"readings to come": func(c *readingConfirmCmd) { c.To = at(-time.Hour) },
		"lies before":      func(c *readingConfirmCmd) { c.To = at(11 * time.Hour) },
		"YYYY-MM-DDTHH:MM": func(c *readingConfirmCmd) { c.From = "yesterday" },
		"a role":           func(c *readingConfirmCmd) { c.Who = "me@club.example" },
		"no readings":      func(c *readingConfirmCmd) { c.From, c.To = "1999-01-01T00:00", "1999-01-02T00:00" },
		"tamsen-bend":      func(c *readingConfirmCmd) { c.Where = "nowhere" },
	} {
		c := word
		change(&c)
		require.ErrorContains(t, enter(c), want)
	}
	require.Equal(t, coldseam.NoCall, brief().Verdict, "a refused word changes nothing")

	require.NoError(t, enter(word))
	b = brief()
	require.NotContains(t, clubtest.Codes(b.Reasons), "discharge_untrusted")
	require.True(t, b.Verdict.ShowsOdds(), strings.Join(clubtest.Codes(b.Reasons), " "))
	kept, err := v.DB.Confirmations(ctx, r.Site, v.Now().Add(-env.Day), v.Now())
	require.NoError(t, err)
	require.Len(t, kept, 1)
	require.Equal(t, word.Why, kept[0].Why)

	v.Rewrite(t, r.Site, coldseam.Discharge, 9, func(o *coldseam.Observation) { o.Value *= 1.001 })
	require.Equal(t, coldseam.NoCall, brief().Verdict, "the agency has revised the values since")
}
