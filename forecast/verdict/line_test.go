package verdict

import (
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

var inTen = regexp.MustCompile(`(under |over )?(\d+) in 10`)

// printedTenths reads the two numbers of "6 in 10 for a good morning; go from 5
// in 10".
func printedTenths(t require.TestingT, text string) (odds, from int) {
	var out []int
	for _, m := range inTen.FindAllStringSubmatch(strings.ReplaceAll(text, "\u00a0", " "), -1) {
		n, err := strconv.Atoi(m[2])
		require.NoError(t, err)
		switch m[1] {
		case "under ":
			n--
		case "over ":
			n++
		}
		out = append(out, n)
	}
	require.Len(t, out, 2, text)
	return out[0], out[1]
}

// TestPrintedLineNeverContradictsTheWord: for any odds, cost, margin and last
// issue, whoever reads the two numbers knows the word, on the board and in the
// mail; a member with the club's own cost gets the board's word.
func TestPrintedLineNeverContradictsTheWord(t *testing.T) {
	t.Parallel()
	near := func(t *rapid.T, name string) float64 { // every edge of rounding is tried
		edge := float64(rapid.IntRange(0, 20).Draw(t, name)) / 20
		return min(max(edge+rapid.SampledFrom([]float64{0, 1e-12, -1e-12, 1e-7, -1e-7, .01, -.01, .03, -.03}).Draw(t,
			name+" off"), 0), 1)
	}
	seen := map[coldseam.Verdict]int{}

	rapid.Check(t, func(t *rapid.T) {
		in := good(near(t, "odds"))
		in.Cost = rapid.OneOf(rapid.SampledFrom([]float64{.2, .3, .4, .5, .6, .7}), rapid.Float64Range(.2, .7)).Draw(t,
			"cost")
		in.Table.Margin = rapid.OneOf(rapid.SampledFrom([]float64{.02, .05, .1, .15, .3}),
			rapid.Float64Range(.02, .3)).Draw(t, "margin")
		in.Reach.HazardsSurveyed = rapid.Bool().Draw(t, "surveyed")
		c := in.Candidates[0]
		in.Prev = &Previous{Day: in.Day,
			Windows: []coldseam.Window{{Start: c.Start, End: c.End, Odds: near(t, "last odds"), OddsOK: true}}}
		d := Decide(in)
		club := coldseam.Brief{
			Day:      in.Day,
			Verdict:  d.Verdict,
			Odds:     d.Odds,
			OddsOK:   d.OddsOK,
			Cost:     d.Cost,
			Margin:   in.Table.Margin,
			Windows:  d.Windows,
			WindowI:  d.WindowI,
			Reasons:  d.Reasons,
			Surveyed: d.Surveyed,
		}

		member := func(cost float64) coldseam.Brief {
			return Personal(club, coldseam.Preferences{Cost: cost}, PersonalOptions{Table: in.Table, Loc: zone})
		}
		own := member(in.Cost)
		require.Equal(t, club.Verdict, own.Verdict, "mail and board of one line")
		require.Equal(t, club.Reasons, own.Reasons)

		for _, b := range []coldseam.Brief{club, own, member(0),
			member(rapid.SampledFrom([]float64{.2, .35, .5, .7}).Draw(t, "own cost"))} {
			seen[b.Verdict]++
			odds, from := printedTenths(t, notify.ReasonText(b.Reasons[len(b.Reasons)-1], "", ""))
			require.Equal(t, b.Line().GoTenths(), from, "the settings' line")
			named := len(codes(b.Reasons, KindCap)) > 0
			require.Equal(t, !in.Reach.HazardsSurveyed, named)
			require.Equal(t, odds >= from && !named, b.Verdict == coldseam.Go, "%d in 10, go from %d", odds, from)
			require.Equal(t, odds < b.Line().TossUpTenths(), b.Verdict == coldseam.Stay)
			staff := notify.StaffOf(b, b.Odds)
			require.Equal(t, odds, staff.Filled)
			require.Equal(t, odds >= from, staff.Filled > staff.Hi)
		}
	})

	require.Len(t, seen, 3, seen)
}

// TestWobblingOddsKeepEveryWord: odds that move less than the hysteresis from
// issue to issue flip the word of no reader.
func TestWobblingOddsKeepEveryWord(t *testing.T) {
	t.Parallel()

	rapid.Check(t, func(t *rapid.T) {
		middle := rapid.Float64Range(.1, .9).Draw(t, "middle")
		words := map[float64]map[coldseam.Verdict]bool{}
		var prev *Previous
		for range 8 {
			in := good(middle + rapid.Float64Range(-.0149, .0149).Draw(t, "move"))
			in.Prev = prev
			b := briefOf(in)
			prev = &Previous{Day: b.Day, Windows: b.Windows}
			for _, cost := range []float64{0, .2, .3, .4, .5, .6, .7} {
				if words[cost] == nil {
					words[cost] = map[coldseam.Verdict]bool{}
				}
				words[cost][Personal(b, coldseam.Preferences{Cost: cost}, PersonalOptions{Loc: zone}).Verdict] = true
				require.Len(t, words[cost], 1, "cost %g", cost)
			}
		}
	})
}

// TestOutlookHasTheReadersLine: the next days read by the member's own line and
// craft, not by the club's.
func TestOutlookHasTheReadersLine(t *testing.T) {
	t.Parallel()
	in := good(.8)
	in.Reach.CraftLimits = []coldseam.CraftLimit{{Craft: coldseam.CraftWade, MaxFlowM3S: 75}}
	b := briefOf(in)
	b.Next = nil
	for i, flow := range []float64{60, 90} {
		b.Next = append(b.Next, coldseam.DayOdds{
			Day:     in.Day.Add(i + 1),
			Verdict: coldseam.Go,
			Odds:    .56,
			OddsOK:  true,
			FlowM3S: [3]float64{flow, flow, flow},
		})
	}
	b.Next = append(b.Next, coldseam.DayOdds{Day: in.Day.Add(3), Verdict: coldseam.Stop,
		Note: "flow over the club limit"})

	next := func(p coldseam.Preferences) (out []coldseam.Verdict) {
		for _, d := range Personal(b, p, PersonalOptions{Loc: zone}).Next {
			out = append(out, d.Verdict)
			require.Equal(t, d.Verdict != coldseam.Stop, d.OddsOK)
		}
		return out
	}
	require.Equal(t, []coldseam.Verdict{coldseam.Go, coldseam.Go, coldseam.Stop},
		next(coldseam.Preferences{Craft: coldseam.CraftBoat}))
	require.Equal(t, []coldseam.Verdict{coldseam.TossUp, coldseam.TossUp, coldseam.Stop},
		next(coldseam.Preferences{Craft: coldseam.CraftBoat, Cost: .6}))
	require.Equal(t, []coldseam.Verdict{coldseam.Go, coldseam.Stop, coldseam.Stop},
		next(coldseam.Preferences{Craft: coldseam.CraftWade}))
	require.Equal(t, coldseam.Go, b.Next[1].Verdict, "the stored brief is not touched")
}
