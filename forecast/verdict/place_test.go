package verdict

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// told is the place of each morning when the rules alone name those of wanted,
// a letter a morning; small letters are slack water on a dangerous morning, a
// dot is a morning without advice.
func told(wanted string) string {
	var m coldseam.PlaceMemory
	var b strings.Builder
	day := coldseam.Date{Year: 2026, Month: 4, Day: 1}
	for i, w := range wanted {
		place := strings.Trim(string(w), ".")
		m = nextPlace(m, place, w >= 'a' && w <= 'z', day.Add(i))
		b.WriteString(m.Told)
	}
	return b.String()
}

func TestPlaceDoesNotFlip(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, wanted, told string }{
		{"there and back", "ABABA", "AAAAA"},
		{"there and back for a fortnight", "ABABABABABABAB", "AAAAAAAAAAAAAA"},
		{"two mornings running, on the fifth day", "AAABB", "AAAAB"},
		{"two mornings running, too soon", "ABBAA", "AAAAA"},
		{"it holds from the fifth day on", "ABBBB", "AAAAB"},
		{"a third place ends the two mornings", "AAAABCB", "AAAAAAA"},
		{"and again after four days", "AAAABBAAAA", "AAAAABBBBA"},
		{"danger at once", "AAs", "AAs"},
		{"danger holds as another place does", "AAsAAAA", "AAssssA"},
		{"a morning without advice ends the two mornings", "AAAAB.B", "AAAAAAA"},
	} {
		require.Equal(t, c.told, told(c.wanted), c.name)
	}
}

// Only the way to slack water is taken at once, and only on a dangerous morning.
func TestDangerMovesAtOnce(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2026, Month: 4, Day: 20}
	held := coldseam.PlaceMemory{Told: "current_seam", Since: day.Add(-1), Wanted: "current_seam"}
	in := AdviceInputs{WaterC: coldseam.C(43), FlowPct: .5, Day: day, Held: held}
	require.Equal(t, "current_seam", Advise(in).Where[0])
	for name, change := range map[string]func(*AdviceInputs){
		"flood":  func(in *AdviceInputs) { in.FlowPct = .95 },
		"rising": func(in *AdviceInputs) { in.RisePct = 12 },
	} {
		x := in
		change(&x)
		a := Advise(x)
		require.Contains(t, slackPlaces, a.Where[0], name)
		require.Equal(t, day, a.Place.Since, name)
	}
}

// A row may name places of which the reach has none, and another row one that it
// has: what the reach lacks is held as well.
func TestPlaceOfAReachWithOneSpot(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2026, Month: 4, Day: 20}
	held := coldseam.PlaceMemory{Told: "slack_pocket", Since: day.Add(-1), Wanted: "slack_pocket"}
	in := AdviceInputs{WaterC: coldseam.C(35), FlowPct: .5, Day: day, Held: held,
		Reach: coldseam.Reach{Spots: []coldseam.Spot{{ID: "hole", Class: "bend_hole_deep"}}}}
	a := Advise(in)
	require.Equal(t, []string{"slack_pocket", "bend_hole_deep"}, a.Where)
	require.Equal(t, coldseam.PlaceMemory{Told: "slack_pocket", Since: day.Add(-1), Wanted: "bend_hole_deep",
		Band: "slow", BandWanted: "slow"}, a.Place)
}
