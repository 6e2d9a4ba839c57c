package notify

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// Under every word, stage of the run, state of the holes and change of the water
// the sentence says nothing against the word, speaks of fish by a calibrated clock
// alone and of nothing beside a stop.
func TestSentenceNeverContradictsTheWord(t *testing.T) {
	t.Parallel()
	against := map[coldseam.Verdict][]string{
		coldseam.Go:   {"few fish", "run should be over"},
		coldseam.Stay: {"stacking", "staging", "moving up", "spawning", "dropping back"},
	}

	for _, v := range []coldseam.Verdict{coldseam.Go, coldseam.TossUp, coldseam.Stay, coldseam.Stop, coldseam.NoCall} {
		for stage := range stageClauses {
			for _, calibrated := range []bool{true, false} {
				b := goBrief()
				b.Verdict, b.Run.Stage, b.Run.Calibrated = v, stage, calibrated
				b.How.Where, b.Run.Holes.Code = []string{"bend_hole_deep"}, "holes_filling"
				k := blockOf(b, coldseam.Preferences{})
				if !v.ShowsOdds() {
					require.Empty(t, k.Gist)
					continue
				}

				require.NotEmpty(t, k.Gist, "%s %s", v, stage)
				for _, bad := range against[v] {
					require.NotContains(t, k.Gist, bad, v.String())
				}
				if !calibrated {
					require.NotContains(t, k.Gist, "fish")
				}
				require.Equal(t, 1, strings.Count(k.Gist, "."), "one sentence: %s", k.Gist)
			}
		}
	}
}

func TestSentence(t *testing.T) {
	t.Parallel()
	b := goBrief()
	say := func() string { return plain(blockOf(b, coldseam.Preferences{}).Gist) }
	require.Equal(t, "Fish should be moving up; water 2F warmer than yesterday.", say())

	b.Run.Holes.Code, b.How.Where = "holes_filling", []string{"hole_head"}
	require.Equal(t, "Fish should be stacking in the bend hole; water 2F warmer than yesterday.", say())

	b.How.Where = []string{"current_seam"} // the advice sends elsewhere
	b.Flow.RiseDay = 1.21
	require.Equal(t, "Fish should be moving up; the river is up 121% since yesterday.", say())

	b.Run.StageP, b.Flow.RiseDay = .4, 0
	b.Since.Values["water_c"] = b.Temp.Now
	require.Equal(t, "Water as yesterday.", say())
}

// SINCE tells flow and where it heads, word and weight against yesterday's mail, and
// the water where the sentence on top does not; WATER does not tell the trend again.
func TestSinceLine(t *testing.T) {
	t.Parallel()
	b := goBrief()
	all := func() string {
		out := ""
		for _, f := range blockOf(b, coldseam.Preferences{}).Facts {
			if f.Label == "Since" || f.Label == "Water" {
				out += f.Label + " " + plain(joinParts(f.Items[0])) + "\n"
			}
		}
		return out
	}
	require.Equal(t, "Water 2,410 cfs, normal for the date; 39F, 40F in the window\n"+
		"Since flow -350 cfs and easing to noon, still GO, weight unchanged\n", all())

	b.Since.Names["was"], b.Since.Values["tie_oz"], b.Flow.Trend = "STAY", .5, "cresting"
	require.Contains(t, all(), "flow -350 cfs and cresting about noon, STAY then, 1/2 oz then")
	b.Flow.RiseDay = 1.21 // which the sentence on top tells instead of the water
	require.Contains(t, all(), "cresting about noon, water +2F, STAY then")
	b.Flow.RiseDay = 0
	b.Since.Names["spot"] = "another"
	require.NotContains(t, all(), "1/2 oz")
	b.Verdict = coldseam.Stop
	require.Contains(t, all(), "Since flow -350 cfs and cresting about noon, STAY then\n")

	b = goBrief()
	b.Since = coldseam.Reason{}
	require.Equal(t, "Water 2,410 cfs, normal for the date, easing to noon; 39F, 40F in the window\n", all())
}

// The sky has a line of its own when wind, thunder, fog or air matters, and says
// nothing there that a caution has said; else it stands with the window.
func TestSkyLine(t *testing.T) {
	t.Parallel()
	sky := func(b coldseam.Brief) (string, string) {
		k := blockOf(b, coldseam.Preferences{})
		for _, f := range k.Facts {
			if f.Label == "Sky" {
				return plain(joinParts(f.Items[0])), plain(k.Light)
			}
		}
		return "", plain(k.Light)
	}
	own, light := sky(goBrief())
	require.Empty(t, own)
	require.Equal(t, "first light 5:40, sunrise 6:08, "+
		"wind 7 mph from S, against the current, gusts 12 mph, air 31 to 44F", light)

	own, light = sky(tossBrief())
	require.Equal(t, "wind from S, against the current, gusts 27 mph, air 31 to 44F", own)
	require.Equal(t, "first light 5:40, sunrise 6:08", light)

	for from, want := range map[float64]string{190: "against", 10: "with", 280: "across", 0: "with", 360: "with"} {
		require.Equal(t, want+" the current", againstCurrent(from, 190), fmt.Sprint(from))
	}
}

// The last of a week's days are told in words: their odds are no forecast of that day.
func TestFarDaysAreTooFarToTell(t *testing.T) {
	t.Parallel()
	b := goBrief()
	for lead, want := range map[int]string{5: "9 in 10", 6: "too far to tell", 9: "too far to tell"} {
		got := DayChance(b, coldseam.DayOdds{Day: b.Day.Add(lead), Odds: .9, OddsOK: true})
		require.Equal(t, want, plain(got), lead)
	}
	b.Verdict, b.Odds, b.Next = coldseam.Stay, .2, []coldseam.DayOdds{{Day: b.Day.Add(7), Odds: .9, OddsOK: true}}
	require.NotContains(t, blockOf(b, coldseam.Preferences{}).Sub, "Better")
}

// Notices of every kind end whole, name one clock and say nothing of rules that are
// not on file.
func TestNoticesReadWell(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"confirm", "welcome", "pause", "silent", "alarm"} {
		l := cases()[name]
		ct, err := ParseContent(l.Payload)
		require.NoError(t, err)
		v := composer().view(l, ct, nil, fullBlocks)
		text, html, err := renderParts(v)
		require.NoError(t, err)
		require.NotContains(t, v.Subject, "..", name)
		require.NotContains(t, text+html, "UTC", name)
		require.NotContains(t, text+html, "on file", name)
		require.Contains(t, text, "4:45 CDT; ", name)
	}
}
