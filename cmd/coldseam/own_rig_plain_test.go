//go:build !race

package main

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/cmd/internal/clubtest"
	"example.org/coldseam/forecast"
)

// jigLine is the JIG line that a rig wants on the Tamsen.
func jigLine(t *testing.T, v *clubtest.Harness, own coldseam.Preferences) string {
	t.Helper()
	b, err := v.DB.Brief(t.Context(), "tamsen-bend", clubtest.Saturday)
	require.NoError(t, err)
	spots, err := forecast.OwnJig(b, b.WindowI, own)
	require.NoError(t, err)
	if spots[0].TieOz == 0 {
		return "JIG    none"
	}
	return "JIG    tie " + coldseam.OzName(spots[0].TieOz) + " oz"
}

// However many rigs a club fishes, each member's mail weighs his own.
func TestEveryMembersRigIsWeighed(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	rigs := map[string]coldseam.Preferences{}
	for i := range 40 {
		p := coldseam.Preferences{
			Reaches: []coldseam.ReachID{"tamsen-bend"},
			SendAt:  "04:45",
			Craft:   coldseam.CraftBoat,
			Line:    fmt.Sprintf("nylon-%.3f", .10+.01*float64(i)),
		}
		to := fmt.Sprintf("rig%02d@example.org", i)
		rigs[to] = p
		v.Join(t, to, p)
	}
	v.Send(t, "04:45")

	letters := v.Messages(t)
	lines := map[string]bool{}
	for to, p := range rigs {
		require.Len(t, letters[to], 1, to)
		want := jigLine(t, v, p)
		require.Contains(t, clubtest.Text(t, letters[to][0]), want, "%s %s", to, p.Line)
		lines[want] = true
	}
	require.Greater(t, len(lines), 2, "lines from thin to thick want more than two sizes")
}

// A rig that is changed after the mail was queued is the one that is weighed.
func TestRigChangedBeforeTheMailIsWritten(t *testing.T) {
	t.Parallel()
	v := clubtest.NewReady(t, nil)
	p := coldseam.Preferences{Reaches: []coldseam.ReachID{"tamsen-bend"}, SendAt: "04:45", Craft: coldseam.CraftBoat}
	id := v.Join(t, "changed@example.org", p)
	before := jigLine(t, v, p)
	v.Clock.Forward(clubtest.MorningAt(4, 45))
	_, _, err := v.Mail.QueueMornings(t.Context(), v.Now())
	require.NoError(t, err)

	p.Zone, p.Line = "America/Chicago", "nylon-0.40"
	require.NoError(t, v.DB.SetPrefs(t.Context(), id, p))
	after := jigLine(t, v, p)
	require.NotEqual(t, before, after)
	_, err = v.Mail.Sender("test").Run(t.Context(), 100)
	require.NoError(t, err)
	text := clubtest.Text(t, v.Messages(t)["changed@example.org"][0])
	require.Contains(t, text, after)
	require.False(t, strings.Contains(text, before+" ") || strings.Contains(text, before+","))
}
