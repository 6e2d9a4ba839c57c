package verdict

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

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
		Band: "slow", BandWanted: "slow", Flow: "normal"}, a.Place)
}

// Water that stays between the edges where a condition begins and ends keeps the
// condition it came with, whatever it does there.
func TestConditionsDoNotFlipBetweenTheirEdges(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.SampledFrom([]struct {
			lo, hi float64
			held   []string
			next   func(string, float64) string
		}{
			{5.01, 10, []string{"rising", ""}, heldTrend},
			{-5, -2.01, []string{"falling", ""}, heldTrend},
			{.221, .279, []string{"low", "normal"}, heldClass},
			{.721, .779, []string{"normal", "high"}, heldClass},
			{.871, .9, []string{"high", "flood"}, heldClass},
		}).Draw(t, "band")

		held := rapid.SampledFrom(b.held).Draw(t, "held")
		for _, x := range rapid.SliceOf(rapid.Float64Range(b.lo, b.hi)).Draw(t, "mornings") {
			require.Equal(t, held, b.next(held, x), "%v", x)
		}
	})
}

// Beyond both edges a condition is that of the day alone; danger begins at its
// edge, whatever was told before.
func TestConditionsFollowTheWater(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		held := rapid.SampledFrom([]string{"", "rising", "falling"}).Draw(t, "trend")
		change := rapid.Float64Range(-60, 300).Draw(t, "change")
		switch got := heldTrend(held, change); {
		case change > 10:
			require.Equal(t, "rising", got)
		case change < -5:
			require.Equal(t, "falling", got)
		case change > -2 && change < 5:
			require.Empty(t, got)
		}

		class := rapid.SampledFrom([]string{"", "low", "normal", "high", "flood"}).Draw(t, "class")
		pct := rapid.Float64Range(0, 1).Draw(t, "pct")
		got := heldClass(class, pct)
		if pct > .9 {
			require.Equal(t, "flood", got)
		}
		if FlowClass(pct-.03) == FlowClass(pct+.03) {
			require.Equal(t, FlowClass(pct), got)
		}
		require.Empty(t, heldClass(class, math.NaN()))
	})
}

// A warning is said from its edge on, also while the advice still keeps to the
// class of the day before, and until the water is well below.
func TestWarningsOfConditions(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2026, Month: 4, Day: 20}
	says := func(in AdviceInputs, key string) bool {
		in.WaterC, in.Day = coldseam.C(43), day
		return slices.ContainsFunc(Advise(in).Notes, func(r coldseam.Reason) bool {
			return r.Text == DefaultAdvice().mods[key].Note
		})
	}
	normal := coldseam.PlaceMemory{Told: "current_seam", Since: day.Add(-1), Wanted: "current_seam", Flow: "normal"}
	rising, flood := normal, normal
	rising.Trend, flood.Flow = "rising", "flood"

	require.True(t, says(AdviceInputs{FlowPct: .76, Held: normal}, "keep_off"))
	require.False(t, says(AdviceInputs{FlowPct: .74, Held: normal}, "keep_off"))
	require.True(t, says(AdviceInputs{FlowPct: .88, Held: flood}, "flow_flood"))
	require.True(t, says(AdviceInputs{FlowPct: .5, RisePct: 11, Held: normal}, "rising"))
	require.True(t, says(AdviceInputs{FlowPct: .5, RisePct: 6, Held: rising}, "rising"))
	require.False(t, says(AdviceInputs{FlowPct: .5, RisePct: 4, Held: rising}, "rising"))
}
