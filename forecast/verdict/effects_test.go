package verdict

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// TestPriorOdds: mornings worked by hand, sum and odds with the shipped
// level [reference calculation].
func TestPriorOdds(t *testing.T) {
	t.Parallel()
	e, c := DefaultEffects(), CentreOf(nil)
	none := math.NaN()

	for _, r := range []struct {
		name string
		c    Conditions
		x, p float64
	}{
		{"pre-run", Conditions{WaterC: coldseam.C(38), Change2C: .5, FlowPct: .5, WaveP: .2}, .650, .516},
		{"run", Conditions{Stage: "moving", WaterC: coldseam.C(43), Change2C: 1, FlowDay: -.10, FlowPct: .6,
			WaveP: .5}, 1.540, .685},
		{"spawn", Conditions{Stage: "spawning", WaterC: coldseam.C(47), WaveP: none, FlowPct: .5}, .300, .446},
		{"post-spawn", Conditions{Stage: "dropping back", WaterC: coldseam.C(49), WaveP: none, FlowPct: .5}, -.400,
			.315},
		{"autumn", Conditions{Autumn: true, WaterC: coldseam.C(42), Change2C: -1, FlowPct: .5}, .600, .506},
		{"cold snap on high water", Conditions{Stage: "moving", WaterC: coldseam.C(43), Change2C: -1, FlowDay: .2,
			FlowPct: .8, WaveP: .2}, -.600, .282},
	} {
		x := e.Sum(r.c)
		require.InDelta(t, r.x, x, 1e-9, r.name)
		require.InDelta(t, r.p, c.Odds(x), 6e-4, r.name)
	}
}

// What moves nothing when it is not known, and the terms that daily records lack.
func TestTermsOfAMorning(t *testing.T) {
	t.Parallel()
	e := DefaultEffects()
	nan := math.NaN()
	base := Conditions{WaterC: coldseam.C(40), Change2C: nan, FlowPct: nan, FlowDay: nan, WaveP: nan}
	sum := func(change func(*Conditions)) float64 {
		c := base
		change(&c)
		return e.Sum(c)
	}
	require.InDelta(t, e["pre_run"], e.Sum(base), 1e-12, "what is not known moves nothing")
	require.InDelta(t, 0, sum(func(c *Conditions) { c.NoDeep = true }), 1e-12, "no hole takes what the season gives")
	require.InDelta(t, .3+.2, sum(func(c *Conditions) { c.Tailwater = true }), 1e-12)
	require.InDelta(t, .3-.8, sum(func(c *Conditions) { c.Clarity = "muddy" }), 1e-12)
	require.InDelta(t, .3+.3+.1, sum(func(c *Conditions) { c.Clarity, c.FlowDay = "stained", -.08 }), 1e-12)
	require.InDelta(t, -.6, sum(func(c *Conditions) { c.WaterC = 1 }), 1e-12, "winter")
	require.InDelta(t, .3, sum(func(c *Conditions) { c.Stage, c.WaterC = "staging", 8 }), 1e-12)
	require.InDelta(t, -.5, sum(func(c *Conditions) { c.Stage, c.WaterC = "spawning", 16 }), 1e-12, "over 60 F")
	require.InDelta(t, -.3-.1, sum(func(c *Conditions) { c.Autumn, c.WaterC, c.Change2C = true, 2, -2 }), 1e-12)
	require.InDelta(t, .25, e.Light(6, true, false), 1e-12)
	require.InDelta(t, .2, e.Light(4, true, true), 1e-12)
	require.Zero(t, e.Light(4, true, false), "no light below 42 F")
}

// TestCentring: the mean of the odds over a river's mornings is the base rate,
// whatever the effects are, and a third of them lie in each third.
func TestCentring(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(coldseam.PastMornings, 300).Draw(t, "mornings")
		s := make([]float64, n)
		for i := range s {
			s[i] = rapid.Float64Range(-3, 3).Draw(t, "s")
		}
		c := CentreOf(s)
		mean, counts := 0., map[int]int{}
		for _, x := range s {
			mean += c.Odds(x) / float64(n)
			counts[c.Rank().Third(c.Odds(x))]++
		}
		require.InDelta(t, baseRate, mean, 1e-3)
		for k := range counts {
			require.Contains(t, []int{1, 2, 3}, k)
		}
	})
	few := CentreOf(make([]float64, coldseam.PastMornings-1))
	require.InDelta(t, ShippedA, few.A, 0)
	require.Equal(t, ShippedThirds, few.Thirds)
}

// A file of a club's own names each fault with file, line, what was found and what
// is wanted.
func TestEffectsFileIsChecked(t *testing.T) {
	t.Parallel()
	for _, r := range []struct{ name, old, new, want string }{
		{"unknown", "spawn,0.20", "spwan,0.20", `own.csv line 9: effect "spwan", want one of winter, pre_run`},
		{"size", "run,0.60", "run,6", `own.csv line 8: size "6", want a number of log-odds from -3 to 3`},
		{"no number", "run,0.60", "run,much", `own.csv line 8: size "much"`},
		{"twice", "spawn,0.20", "run,0.20", "own.csv line 9: effect run given twice, want it once"},
		{"mark", "run,0.60,common practice,proposal", "run,0.60,common practice,guess", `marks "common practice" and "guess"`},
		{"source", ",the run is moving", ",", "own.csv line 8: no source for run"},
		{"hole", "muddy,-0.80,common practice,proposal,the jig is not seen\n", "", "no row for muddy"},
		{"header", "effect,size", "effect,value", "own.csv line 1: header"},
	} {
		require.Contains(t, effectsCSV, r.old, r.name)
		_, err := ParseEffects(strings.NewReader(strings.Replace(effectsCSV, r.old, r.new, 1)), "own.csv")
		require.ErrorContains(t, err, r.want, r.name)
		require.ErrorIs(t, err, coldseam.ErrInvalid, r.name)
	}
}

// ranked is a morning of a river without a log, by its own thirds.
func ranked(p float64) Inputs {
	in := good(p)
	in.Rank = coldseam.Rank{Thirds: [2]float64{.35, .44}, Past: 200, Base: .40}
	return in
}

// Before a log the word is a rank: thirds, whatever a wasted trip costs the reader.
func TestRankBeforeALog(t *testing.T) {
	t.Parallel()
	for p, want := range map[float64]coldseam.Verdict{.34: coldseam.Stay, .36: coldseam.TossUp, .43: coldseam.TossUp,
		.45: coldseam.Go} {
		in := ranked(p)
		b := briefOf(in)
		b.Rank = in.Rank
		require.Equal(t, want, b.Verdict, "%g", p)
		r := b.Reasons[len(b.Reasons)-1]
		require.Equal(t, "rank", r.Code)
		require.NotContains(t, r.Values, "good_odds")
		require.Equal(t, want, Personal(b, coldseam.Preferences{Cost: .7}, PersonalOptions{Loc: zone}).Verdict,
			"the member's line does not count yet")
		require.Equal(t, "low", Decide(in).Sure)
	}

	poor := ranked(.38)
	poor.Rank.Thirds = [2]float64{.30, .36}
	require.Equal(t, coldseam.TossUp, Decide(poor).Verdict, "the better third of a poor river is no GO")
	few := ranked(.6)
	few.Rank.Past = coldseam.PastMornings - 1
	d := Decide(few)
	require.Equal(t, coldseam.TossUp, d.Verdict)
	require.Contains(t, codes(d.Reasons, KindCap), "few_past")
}

// A chance is told from ten mornings by three anglers on, and the reader's own line
// weighs with every further one.
func TestChanceAfterTenMornings(t *testing.T) {
	t.Parallel()
	r := coldseam.Rank{Thirds: [2]float64{.35, .44}, Past: 200, Base: .40, Logged: 10, Anglers: 2}
	require.True(t, r.Only(), "two anglers are no club")
	r.Anglers, r.Logged = 3, 9
	require.True(t, r.Only())
	r.Logged = 10
	require.False(t, r.Only())
	near := func(want, got coldseam.Line) {
		require.InDelta(t, want.Go, got.Go, 1e-9)
		require.InDelta(t, want.TossUp, got.TossUp, 1e-9)
	}
	near(coldseam.Line{Go: .45, TossUp: .25}, r.Line(.4, .1)) // .46 and .33, on tenths as printed
	r.Logged = 400
	near(coldseam.LineOf(.6, .1), r.Line(.6, .1))
}

// Between days a word holds within the hysteresis, and GO becomes STAY only when
// the odds fall clearly.
func TestWordsHoldOvernight(t *testing.T) {
	t.Parallel()
	for _, r := range []struct {
		before, p float64
		want      coldseam.Verdict
	}{
		{.45, .425, coldseam.Go}, {.45, .415, coldseam.TossUp}, {.43, .455, coldseam.TossUp}, {.43, .465, coldseam.Go},
		{.45, .34, coldseam.TossUp}, {.47, .34, coldseam.Stay}, {.33, .449, coldseam.TossUp}, {.33, .46, coldseam.TossUp},
		{0, .425, coldseam.TossUp},
	} {
		in := ranked(r.p)
		in.Rank.Before = r.before
		require.Equal(t, r.want, Decide(in).Verdict, "%g after %g", r.p, r.before)
	}
}

// SURE means what it says, and names what decides it.
func TestSureNamesItsReason(t *testing.T) {
	t.Parallel()
	for _, r := range []struct {
		name, sure, code string
		change           func(*Inputs)
	}{
		{"no log", "low", "sure_rule_of_thumb", func(in *Inputs) { in.Rank.Logged = 9 }},
		{"a young log", "medium", "sure_log", func(in *Inputs) { in.Rank.Logged = 39 }},
		{"no line held at the spot", "medium", "sure_spot", func(in *Inputs) {
			eachCandidate(in, func(c *Candidate) { c.SpotProved = false })
		}},
		{"a cap", "low", "sure_capped", func(in *Inputs) { in.Reach.HazardsSurveyed = false }},
		{"all of it", "high", "sure_log", func(*Inputs) {}},
	} {
		in := ranked(.6)
		in.Rank.Logged, in.Rank.Anglers = 60, 5
		eachCandidate(&in, func(c *Candidate) { c.SpotProved = true })
		r.change(&in)
		d := Decide(in)
		require.Equal(t, r.sure, d.Sure, r.name)
		require.Equal(t, r.code, d.SureBy.Code, r.name)
	}
}
