package verdict

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestAdviceLines(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2026, Month: 3, Day: 20}
	for _, f := range []float64{35, 39, 43, 48, 54} {
		for _, pct := range []float64{.1, .5, .8, .95} {
			for _, stage := range []string{"", "not yet", "staging", "moving", "spawning", "dropping back", "done"} {
				for _, fall := range []float64{0, 1} {
					a := Advise(AdviceInputs{
						WaterC:    coldseam.C(f),
						FlowPct:   pct,
						Stage:     stage,
						WaterFall: fall,
						RisePct:   12 * fall,
						Reach:     tamsen(),
						Day:       day,
					})
					require.NotEmpty(t, a.Row)
					require.Contains(t, Bodies, a.Body)
					require.NotEmpty(t, a.Tail+a.Verb)
					require.NotEmpty(t, a.Where)
					require.Empty(t, a.Bait, "no checked bait rule")
				}
			}
		}
	}
}

func TestAdviceFallingWaterTakesTheColderPace(t *testing.T) {
	t.Parallel()
	in := AdviceInputs{WaterC: coldseam.C(39), FlowPct: .5, Reach: tamsen()}
	warm := Advise(in)
	in.WaterFall = 0.8
	cold := Advise(in)
	require.Equal(t, "flutter tail", warm.Tail)
	require.Equal(t, "flutter tail", cold.Tail, "the pace alone is colder")
	require.InDeltaSlice(t, []float64{.1016, .2032}, warm.LiftM[:], 1e-9)
	require.InDeltaSlice(t, []float64{.0508, .1016}, cold.LiftM[:], 1e-9)
	require.Equal(t, [2]float64{3, 5}, warm.PauseS)
	require.Equal(t, [2]float64{5, 10}, cold.PauseS)
}

func TestAdviceClarityIsNeverGuessedFromFlow(t *testing.T) {
	t.Parallel()
	flood := Advise(AdviceInputs{WaterC: 4, FlowPct: .97})
	require.Equal(t, "unknown", flood.ClaritySource)
	require.Equal(t, "colour_by_clarity", flood.Colour)
	gauge := Advise(AdviceInputs{WaterC: 4, FlowPct: .5, Turbidity: ptr(80.0), Said: "clear"})
	require.Equal(t, "turbidity", gauge.ClaritySource)
	require.Equal(t, "colour_loud", gauge.Colour)
	member := Advise(AdviceInputs{WaterC: 4, FlowPct: .5, Said: "clear"})
	require.Equal(t, "member", member.ClaritySource)
	require.Equal(t, "colour_pale", member.Colour)
}

func TestAdviceBaitNeedsACheckedRule(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2026, Month: 3, Day: 20}

	for _, r := range []struct {
		name string
		rule coldseam.Rule
		want bool
	}{
		{"allowed and checked", coldseam.Rule{Kind: coldseam.RuleBait, Allowed: true, CheckedOn: day.Add(-20)}, true},
		{"not allowed", coldseam.Rule{Kind: coldseam.RuleBait, CheckedOn: day.Add(-20)}, false},
		{"checked too long ago", coldseam.Rule{Kind: coldseam.RuleBait, Allowed: true, CheckedOn: day.Add(-366)},
			false},
		{"never checked", coldseam.Rule{Kind: coldseam.RuleBait, Allowed: true}, false},
		{"checked in the future", coldseam.Rule{Kind: coldseam.RuleBait, Allowed: true, CheckedOn: day.Add(1)}, false},
		{"another rule", coldseam.Rule{Kind: coldseam.RuleSeason, Allowed: true, CheckedOn: day}, false},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			a := Advise(AdviceInputs{
				WaterC:  2,
				FlowPct: .5,
				Reach:   coldseam.Reach{Rules: []coldseam.Rule{r.rule}},
				Day:     day,
			})
			require.Equal(t, r.want, a.Bait != "", a.Bait)
		})
	}
}

func TestAdviceRefusesBadRows(t *testing.T) {
	t.Parallel()
	rows, mods := adviceCSV, modifierCSV
	lines := strings.Split(strings.TrimSpace(rows), "\n")
	edit := func(old, new string) string { return strings.Replace(rows, old, new, 1) }

	for _, r := range []struct{ name, rows, mods, want string }{
		{"body", edit("slow,main,slow,*,*,slim", "slow,main,slow,*,*,worm"), mods,
			`advice line 2: body "worm", want one of slim, flutter, paddle, bulky, bucktail`},
		{"band", edit("ease,main,ease", "ease,main,warm"), mods, `advice line 5: band "warm", want one of slow, ease`},
		{"range", edit(",4-8,3-5,", ",8-4,3-5,"), mods,
			`advice line 5: lift_in "8-4", want a number or a range a-b within 0-60`},
		{"place", edit("hole_head/current_seam", "hole_heads/current_seam"), mods,
			`where "hole_heads", want classes of`},
		{"long line", edit("flutter tail,lift,", "a flutter tail of quite extraordinary length and motion,lift,"), mods,
			"want 60 at most"},
		{"twice", rows + lines[1] + "\n", mods, `id "slow" given twice`},
		{"no main row", strings.Replace(rows, lines[6]+"\n", "", 1), mods, "band lift has no main row"},
		{"columns", "id,kind\n", mods, "advice line 1: header"},
		{"modifier", rows, strings.Replace(mods, "muddy,no", "murky,no", 1), `modifiers line 13: when "murky"`},
		{"placeholder", edit("hold {pause}; takes", "hold {wait}; takes"), mods, "only {lift} and {pause}"},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			_, err := ParseAdvice(strings.NewReader(r.rows), strings.NewReader(r.mods), coldseam.DefaultBands)
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			require.ErrorContains(t, err, r.want)
		})
	}
}

func TestAdviceNamesPlacesOfTheReach(t *testing.T) {
	t.Parallel()
	r := tamsen()
	in := AdviceInputs{WaterC: coldseam.C(39), FlowPct: .5, Reach: r}
	require.Equal(t, []string{"hole_head", "current_seam", "sand_dune_field"}, Advise(in).Where)
	in.Reach.Spots = []coldseam.Spot{{Class: "sand_dune_field"}, {Class: "bank_eddy"}}
	require.Equal(t, []string{"sand_dune_field"}, Advise(in).Where)
	in.Reach.Spots = []coldseam.Spot{{Class: "bank_eddy"}}
	require.Len(t, Advise(in).Where, 3, "none of the row's places: the row stands")
}

// A reach that sounded its bend hole alone is sent there where the row says the
// head of a hole, and not past it to the seam.
func TestAHoleStandsForItsHead(t *testing.T) {
	t.Parallel()
	in := AdviceInputs{WaterC: coldseam.C(37.5), FlowPct: .5, Stage: "staging", WaveP: .6}
	in.Reach.Spots = []coldseam.Spot{{Class: "current_seam"}, {Class: "bend_hole_deep"}}
	require.Equal(t, []string{"bend_hole_deep", "current_seam"}, Advise(in).Where)
	in.Reach.Spots = append(in.Reach.Spots, coldseam.Spot{Class: "hole_head"})
	require.Equal(t, []string{"hole_head", "current_seam"}, Advise(in).Where)
}

// High water and spent fish want slack water: a deep hole is none, whatever its tail
// may be.
func TestAHoleIsNoSlackWater(t *testing.T) {
	t.Parallel()
	hole := coldseam.Reach{Spots: []coldseam.Spot{{Class: "bend_hole_deep"}}}
	for name, in := range map[string]AdviceInputs{
		"high water":    {WaterC: coldseam.C(43), FlowPct: .85},
		"dropping back": {WaterC: coldseam.C(52), FlowPct: .5, Stage: "dropping back"},
	} {
		in.Reach = hole
		require.Equal(t, "slack_pocket", Advise(in).Where[0], name)
		in.Reach.Spots = append(in.Reach.Spots, coldseam.Spot{Class: "hole_tail"})
		require.Equal(t, "hole_tail", Advise(in).Where[0], name)
	}
}

// A condition sends to a place that the reach has, or leaves the row's: falling water
// moves nobody from the one hole to a seam that nobody knows. Danger does, and fish
// on their beds do.
func TestAConditionSendsToPlacesOfTheReach(t *testing.T) {
	t.Parallel()
	in := AdviceInputs{WaterC: coldseam.C(37.5), FlowPct: .5, RisePct: -8}
	in.Reach.Spots = []coldseam.Spot{{Class: "bend_hole_deep"}}
	a := Advise(in)
	require.Equal(t, "bend_hole_deep", a.Where[0])
	require.NotContains(t, a.Notes, coldseam.Reason{Text: DefaultAdvice().mods["falling_clearing"].Note})

	in.RisePct = 12
	require.Equal(t, "slack_pocket", Advise(in).Where[0])
	in.RisePct, in.Reach.Spots = -8, append(in.Reach.Spots, coldseam.Spot{Class: "current_seam"})
	require.Equal(t, "current_seam", Advise(in).Where[0])
	in.Reach.Spots = nil
	require.Equal(t, "current_seam", Advise(in).Where[0], "it may have one")

	gravel := AdviceInputs{WaterC: coldseam.C(44), FlowPct: .5, Stage: "spawning"}
	gravel.Reach.Spots = []coldseam.Spot{{Class: "rock_shallow"}}
	require.Equal(t, "bend_hole_deep", Advise(gravel).Where[0])
}

// Fish hold or move: one mail does not say both.
func TestAdviceAWaveEndsTheWaitInTheHoles(t *testing.T) {
	t.Parallel()
	in := AdviceInputs{WaterC: coldseam.C(41), FlowPct: .5, Stage: "staging", WaveP: .3}
	require.Contains(t, texts(Advise(in).Notes), "hold in the holes")
	in.WaveP = .7
	notes := texts(Advise(in).Notes)
	require.NotContains(t, notes, "hold in the holes")
	require.NotContains(t, notes, "fish are moving", "the run line says staging")
	require.Contains(t, notes, "a wave is likely")
}

// A remark that sends elsewhere than the place told is not made; a warning is.
func TestRemarksAgreeWithThePlace(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2026, Month: 4, Day: 12}
	in := AdviceInputs{WaterC: coldseam.C(41), FlowPct: .5, Stage: "moving", Day: day,
		Held: coldseam.PlaceMemory{Told: "bend_hole_deep", Since: day.Add(-1), Wanted: "bend_hole_deep"}}
	a := Advise(in)
	require.Equal(t, "bend_hole_deep", a.Where[0])
	require.NotContains(t, texts(a.Notes), "seams")
	in.RisePct = 11
	require.Contains(t, texts(Advise(in).Notes), "slack nearer the bank")
}

// The band changes on the second morning in the new one, or at once where the
// water passed over one.
func TestBandIsHeldForAMorning(t *testing.T) {
	t.Parallel()
	in := AdviceInputs{FlowPct: .5}
	told := ""
	for _, f := range []float64{39, 41, 39, 41, 42, 55} {
		in.WaterC = coldseam.C(f)
		a := Advise(in)
		in.Held = a.Place
		told += a.Band + " "
	}
	require.Equal(t, "ease ease ease ease lift drop-back ", told)
}

// texts are the remarks of the rows, in their own words.
func texts(notes coldseam.Notes) string {
	var s []string
	for _, n := range notes {
		s = append(s, n.Text)
	}
	return strings.Join(s, "|")
}

func TestAdviceGravelNote(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2026, Month: 4, Day: 20}
	in := AdviceInputs{WaterC: 8, FlowPct: .5, Stage: "dropping back", Day: day, HatchTo: day.Add(6)}
	require.Contains(t, Advise(in).Notes, coldseam.Reason{Code: "eggs", Names: map[string]string{"day": "2026-04-26"}})
	in.HatchTo = day.Add(-1)
	for _, n := range Advise(in).Notes {
		require.NotEqual(t, "eggs", n.Code)
	}
}

func TestAdviceClubRowWins(t *testing.T) {
	t.Parallel()
	rows, mods := adviceCSV, modifierCSV
	own := rows + "club-ease,main,ease,high,*,bulky,bulky tail,tow slowly,0,0,our own,tow slowly,thick wire,12,2-3,bank_eddy,,common practice\n"
	tab, err := ParseAdvice(strings.NewReader(own), strings.NewReader(mods), coldseam.DefaultBands)
	require.NoError(t, err)
	require.Equal(t, "club-ease", Advise(AdviceInputs{Table: tab, WaterC: 4, FlowPct: .8}).Row)
	require.Equal(t, "ease", Advise(AdviceInputs{Table: tab, WaterC: 4, FlowPct: .5}).Row)
}

func FuzzParseAdvice(f *testing.F) {
	rows, mods := adviceCSV, modifierCSV
	f.Add(rows, mods)
	f.Add("id,kind\n", "when\n")
	f.Fuzz(func(t *testing.T, rows, mods string) {
		tab, err := ParseAdvice(strings.NewReader(rows), strings.NewReader(mods), coldseam.DefaultBands)
		if err != nil {
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			return
		}
		for _, c := range []float64{1, 4, 6, 9, 12} {
			a := Advise(AdviceInputs{Table: tab, WaterC: c, FlowPct: .5, Stage: "moving"})
			require.NotEmpty(t, a.Row)
			require.NotEmpty(t, a.Tail)
		}
	})
}
