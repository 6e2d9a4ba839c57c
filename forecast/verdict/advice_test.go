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
					a := Advise(AdviceInputs{WaterC: coldseam.C(f), FlowPct: pct, Stage: stage, WaterFall: fall, RisePct: 12 * fall, Reach: tamsen(), Day: day})
					require.NotEmpty(t, a.Row)
					require.Contains(t, Bodies, a.Body)
					require.LessOrEqual(t, len([]rune(a.Line)), 60, a.Line)
					require.LessOrEqual(t, len([]rune(a.LineSI)), 60, a.LineSI)
					require.NotContains(t, a.LineSI, " in,", a.LineSI)
					require.NotEmpty(t, a.Where)
					require.NotContains(t, a.Cadence+a.CadenceSI, "{")
					require.Empty(t, a.Bait, "no checked bait rule")
				}
			}
		}
	}
	a := Advise(AdviceInputs{WaterC: coldseam.C(39), FlowPct: .5, Stage: "moving", Reach: tamsen(), Day: day})
	t.Log(a.Line, "|", a.LineSI, "|", a.Leader, "|", a.LeaderSI, "|", a.Notes, "|", a.Alternatives)
}

func TestAdviceFallingWaterTakesTheColderPace(t *testing.T) {
	t.Parallel()
	in := AdviceInputs{WaterC: coldseam.C(39), FlowPct: .5, Reach: tamsen()}
	warm := Advise(in)
	in.WaterFall = 0.8
	cold := Advise(in)
	require.Equal(t, "ease: flutter tail, lift 4-8 in, hold 4 s, hole heads", warm.Line)
	require.Equal(t, "ease: flutter tail, lift 2-4 in, hold 7 s, hole heads", cold.Line)
	require.Equal(t, "ease: flutter tail, lift 5-10 cm, hold 7 s, hole heads", cold.LineSI)
}

func TestAdviceClarityIsNeverGuessedFromFlow(t *testing.T) {
	t.Parallel()
	flood := Advise(AdviceInputs{WaterC: 4, FlowPct: .97})
	require.Equal(t, "unknown", flood.ClaritySource)
	require.Contains(t, flood.Colour, "if stained, loud")
	require.Contains(t, flood.Colour, "if clear, pale")
	gauge := Advise(AdviceInputs{WaterC: 4, FlowPct: .5, Turbidity: ptr(80.0), Said: "clear"})
	require.Equal(t, "turbidity", gauge.ClaritySource)
	require.Contains(t, gauge.Colour, "loud")
	member := Advise(AdviceInputs{WaterC: 4, FlowPct: .5, Said: "clear"})
	require.Equal(t, "member", member.ClaritySource)
	require.Contains(t, member.Colour, "pale")
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
		{"checked too long ago", coldseam.Rule{Kind: coldseam.RuleBait, Allowed: true, CheckedOn: day.Add(-366)}, false},
		{"never checked", coldseam.Rule{Kind: coldseam.RuleBait, Allowed: true}, false},
		{"checked in the future", coldseam.Rule{Kind: coldseam.RuleBait, Allowed: true, CheckedOn: day.Add(1)}, false},
		{"another rule", coldseam.Rule{Kind: coldseam.RuleSeason, Allowed: true, CheckedOn: day}, false},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			a := Advise(AdviceInputs{WaterC: 2, FlowPct: .5, Reach: coldseam.Reach{Rules: []coldseam.Rule{r.rule}}, Day: day})
			require.Equal(t, r.want, a.Bait != "", a.Bait)
		})
	}
}

func TestAdviceRefusesBadRows(t *testing.T) {
	t.Parallel()
	rows, mods := AdviceFiles()
	lines := strings.Split(strings.TrimSpace(rows), "\n")
	edit := func(old, new string) string { return strings.Replace(rows, old, new, 1) }
	for _, r := range []struct{ name, rows, mods, want string }{
		{"body", edit("slow,main,slow,*,*,slim", "slow,main,slow,*,*,worm"), mods, `advice line 2: body "worm", want one of slim, flutter, paddle, bulky, bucktail`},
		{"band", edit("ease,main,ease", "ease,main,warm"), mods, `advice line 5: band "warm", want one of slow, ease`},
		{"range", edit(",4-8,3-5,", ",8-4,3-5,"), mods, `advice line 5: lift_in "8-4", want a number or a range a-b within 0-60`},
		{"place", edit("hole_head/current_seam", "hole_heads/current_seam"), mods, `where "hole_heads", want classes of`},
		{"long line", edit("flutter tail,lift,", "a flutter tail of quite extraordinary length and motion,lift,"), mods, "want 60 at most"},
		{"twice", rows + lines[1] + "\n", mods, `id "slow" given twice`},
		{"no main row", strings.Replace(rows, lines[6]+"\n", "", 1), mods, "band lift has no main row"},
		{"columns", "id,kind\n", mods, "advice line 1: header"},
		{"modifier", rows, strings.Replace(mods, "muddy,no", "murky,no", 1), `modifiers line 12: when "murky"`},
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
	require.Contains(t, Advise(in).Line, "lee of the dunes")
	in.Reach.Spots = []coldseam.Spot{{Class: "bank_eddy"}}
	require.Len(t, Advise(in).Where, 3, "none of the row's places: the row stands")
}

// Fish hold or move: one mail does not say both.
func TestAdviceAWaveEndsTheWaitInTheHoles(t *testing.T) {
	t.Parallel()
	in := AdviceInputs{WaterC: coldseam.C(41), FlowPct: .5, Stage: "staging", WaveP: .3}
	require.Contains(t, strings.Join(Advise(in).Notes, "|"), "hold in the holes")
	in.WaveP = .7
	notes := strings.Join(Advise(in).Notes, "|")
	require.NotContains(t, notes, "hold in the holes")
	require.Contains(t, notes, "fish are moving")
}

func TestAdviceGravelNote(t *testing.T) {
	t.Parallel()
	day := coldseam.Date{Year: 2026, Month: 4, Day: 20}
	in := AdviceInputs{WaterC: 8, FlowPct: .5, Stage: "dropping back", Day: day, HatchTo: day.Add(6)}
	require.Contains(t, Advise(in).Notes, "eggs lie in the gravel to about 26 April: keep off it")
	in.HatchTo = day.Add(-1)
	require.NotContains(t, strings.Join(Advise(in).Notes, "|"), "eggs")
}

func TestAdviceClubRowWins(t *testing.T) {
	t.Parallel()
	rows, mods := AdviceFiles()
	own := rows + "club-ease,main,ease,high,*,bulky,bulky tail,tow slowly,0,0,our own,tow slowly,thick wire,12,2-3,bank_eddy,,common practice\n"
	tab, err := ParseAdvice(strings.NewReader(own), strings.NewReader(mods), coldseam.DefaultBands)
	require.NoError(t, err)
	require.Equal(t, "club-ease", Advise(AdviceInputs{Table: tab, WaterC: 4, FlowPct: .8}).Row)
	require.Equal(t, "ease", Advise(AdviceInputs{Table: tab, WaterC: 4, FlowPct: .5}).Row)
}

func FuzzParseAdvice(f *testing.F) {
	rows, mods := AdviceFiles()
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
			require.LessOrEqual(t, len([]rune(a.Line)), 60)
		}
	})
}
