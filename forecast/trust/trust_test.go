package trust

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

var now = time.Date(2026, 3, 20, 10, 0, 0, 0, time.UTC)

const step = 15 * time.Minute

// river is an invented gauge: 30 days of readings every 15 minutes up to now,
// with a flood every ten days and no fault.
func river() Input {
	rng := rand.New(rand.NewPCG(1, 2))
	in := Input{Now: now, Witness: Witness{RainMM: new(float64)}}
	for k := 30 * 96; k >= 0; k-- {
		t := now.Add(-time.Duration(k) * step)
		h := math.Mod(t.Sub(now).Hours()+10*24*3+120, 240) // since the foot of the last flood
		q := 20 + 3*math.Sin(float64(k)/200)
		if h < 8 {
			q += 100 * h / 8
		} else {
			q += 100 * math.Exp(-(h-8)/30)
		}

		stage := math.Round(math.Sqrt(q/20)*100+rng.Float64()) / 100
		put := func(to *[]coldseam.Observation, v float64) {
			*to = append(*to, coldseam.Observation{At: t, KnownAt: t.Add(step), Value: v, Flag: coldseam.Provisional})
		}
		put(&in.Flow, math.Round(q*10)/10)
		put(&in.Stage, stage)
		put(&in.Water, math.Round((6+2*math.Sin(float64(k)/96*2*math.Pi))*10)/10)
	}

	in.History = HistoryOf(in.Flow, in.Stage, in.Water, now)
	return in
}

// last changes the readings of the last n quarters of an hour.
func last(n int, obs []coldseam.Observation, f func(i int, o *coldseam.Observation)) []coldseam.Observation {
	out := slices.Clone(obs)
	for i := range n {
		f(i, &out[len(out)-n+i])
	}
	return out
}

func scale(by float64) func(int, *coldseam.Observation) {
	return func(_ int, o *coldseam.Observation) { o.Value *= by }
}

func TestCleanGaugeIsTrusted(t *testing.T) {
	t.Parallel()
	s := Judge(river())
	for _, q := range []Quantity{s.Flow, s.Stage, s.Water} {
		require.Zero(t, q.Doubt)
		require.True(t, q.Known)
		require.Equal(t, now, q.Trusted.At)
	}
	require.True(t, s.MayLift(), s.Lift)
	require.Zero(t, s.Unchanged)
}

func TestFaultsAreDoubted(t *testing.T) {
	t.Parallel()

	for _, r := range []struct {
		name        string
		harm        func(*Input)
		flow, stage string
	}{
		{"SI under a label of cubic feet", func(in *Input) {
			in.Flow = last(4, in.Flow, scale(1/35.31))
		}, FallTooSteep, ""},
		{"cubic feet under an SI label", func(in *Input) { in.Flow = last(4, in.Flow, scale(35.31)) }, UnitSlip, ""},
		{"stage in feet", func(in *Input) { in.Stage = last(4, in.Stage, scale(3.281)) }, "", UnitSlip},
		{"one low reading", func(in *Input) { in.Flow = last(1, in.Flow, scale(.1)) }, FallTooSteep, ""},
		{"stage reset", func(in *Input) {
			in.Stage = last(6, in.Stage, func(_ int, o *coldseam.Observation) { o.Value = .4 })
		}, "", FallTooSteep},
		{"alternating", func(in *Input) {
			in.Flow = last(8, in.Flow, func(i int, o *coldseam.Observation) { o.Value *= 1 - .2*float64(i%2) })
		}, Alternating, ""},
		{"flow creeps off its stage", func(in *Input) {
			in.Flow = last(12, in.Flow, func(i int, o *coldseam.Observation) {
				o.Value *= math.Exp(-.04 * float64(i+1))
			})
		}, OffRelation, OffRelation},
		{"logger repeats", func(in *Input) {
			for _, obs := range []*[]coldseam.Observation{&in.Flow, &in.Stage, &in.Water} {
				v := (*obs)[len(*obs)-40].Value
				*obs = last(40, *obs, func(_ int, o *coldseam.Observation) { o.Value = v })
			}
		}, Frozen, Frozen},
		{"flow a fifth too low for its stage", func(in *Input) {
			in.Flow = last(4, in.Flow, scale(.8))
		}, OffRelation, OffRelation},
		{"two large reversals", func(in *Input) {
			in.Flow, in.Stage = last(6, in.Flow, func(i int, o *coldseam.Observation) {
				o.Value *= 1 - .25*float64(i%2)
			}), nil
			in.Flow = in.Flow[:len(in.Flow)-2]
		}, Alternating, ""},
		{"equipment", func(in *Input) {
			in.Flow = last(1, in.Flow, func(_ int, o *coldseam.Observation) { o.Flag |= coldseam.Equipment })
		}, Flagged, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			in := river()
			r.harm(&in)
			s := Judge(in)
			require.Equal(t, r.flow, s.Flow.Doubt.Code)
			if r.stage != "" || r.flow != OffRelation {
				require.Contains(t, []string{r.stage, OffRelation}, s.Stage.Doubt.Code,
					"a flow that is wrong may speak against the stage beside it")
			}
			require.False(t, s.MayLift())
		})
	}
}

func TestStillGaugeNeedsAWitness(t *testing.T) {
	t.Parallel()
	rain, almost, yes := 12., 9.9, true
	other := func(p coldseam.Parameter, from, to float64) Near {
		n := Near{Param: p}
		for k := 40; k >= 0; k-- {
			o := coldseam.Observation{At: now.Add(-time.Duration(k) * step), Value: from +
				(to-from)*float64(max(30-k, 0))/30}
			n.Obs = append(n.Obs, o)
		}
		return n
	}
	calm, moved := other(coldseam.Stage, 1, 1), other(coldseam.Discharge, 10, 10)
	moved.Obs[5].Value = 14

	for _, r := range []struct {
		name   string
		w      Witness
		code   string
		capped bool
	}{
		{"no witness", Witness{}, "", true},
		{"rain", Witness{RainMM: &rain}, StillInRain, false},
		{"dry", Witness{RainMM: new(float64)}, "", false},
		{"dry by 9.9 mm", Witness{RainMM: &almost}, "", false},
		{"thaw", Witness{RainMM: new(float64), Thaw: &yes}, StillInRain, false},
		{"frost, rain not known", Witness{Thaw: new(bool)}, "", true},
		{"a gauge that moves", Witness{RainMM: new(float64), Near: []Near{other(coldseam.Discharge, 10, 12)}},
			StillInRain, false},
		{"a stage that moves", Witness{Near: []Near{other(coldseam.Stage, 1, 1.05)}}, StillInRain, false},
		{"a gauge as calm", Witness{Near: []Near{other(coldseam.Discharge, 10, 10.3)}}, "", false},
		{"a gauge that moved before", Witness{Near: []Near{moved}}, "", false},
		{"a gauge that went silent", Witness{Near: []Near{{Param: coldseam.Stage, Obs: calm.Obs[:20]}}}, "", true},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			in := river()
			in.Witness = r.w
			hold := func(_ int, o *coldseam.Observation) { o.Value = 1.1 }
			in.Stage = last(30, in.Stage, hold)
			want, _, _ := in.History.relation(1.1)
			in.Flow = last(30, in.Flow, func(_ int, o *coldseam.Observation) { o.Value = want })
			s := Judge(in)
			require.Equal(t, r.code, s.Flow.Doubt.Code)
			require.Equal(t, r.code, s.Stage.Doubt.Code)
			require.Equal(t, r.capped, !s.Unchanged.IsZero())
			require.False(t, s.MayLift(), "nothing that stands still lifts a stop")
		})
	}
}

// A stage that fell silent hours ago does not hide that the flow stands still.
func TestStillFlowBesideASilentStage(t *testing.T) {
	t.Parallel()
	in := river()
	in.Witness = Witness{}
	in.Stage = in.Stage[:len(in.Stage)-24]
	hold := in.Flow[len(in.Flow)-24].Value
	in.Flow = last(24, in.Flow, func(_ int, o *coldseam.Observation) { o.Value = hold })
	require.True(t, Standing(in.Flow, now))
	require.Equal(t, now.Add(-23*step), Judge(in).Unchanged)
}

func TestWhenAFallIsCredibleAgain(t *testing.T) {
	t.Parallel()
	in := river()
	in.Stage, in.Water = nil, nil
	in.Flow = last(96, in.Flow, scale(.4)) // ln .92 below: credible after (.92 - .5)/.12 = 3.5 h
	s := Judge(in)
	require.Zero(t, s.Flow.Doubt)
	in.Flow = last(12, in.Flow, scale(1))
	in.Now = now.Add(-21 * time.Hour)
	s = Judge(in)
	require.Equal(t, FallTooSteep, s.Flow.Doubt.Code)
	require.Equal(t, now.Add(-95*step), s.Flow.Doubt.Since)
}

func TestOneSpikeIsNoHeightToFallFrom(t *testing.T) {
	t.Parallel()
	in := river()
	in.Stage = nil
	in.Flow[len(in.Flow)-20].Value *= 4
	require.Zero(t, Judge(in).Flow.Doubt)
	in.Flow[len(in.Flow)-10].Value *= 4
	require.Equal(t, FallTooSteep, Judge(in).Flow.Doubt.Code,
		"two spikes are the true readings of a gauge that drops out")
}

func TestConfirmedReadingsCountAsUnflagged(t *testing.T) {
	t.Parallel()
	in := river()
	in.Flow = last(30, in.Flow, func(_ int, o *coldseam.Observation) { o.Value *= .4; o.Flag |= coldseam.QCRate })
	in.Stage = nil
	in.History = HistoryOf(in.Flow, nil, in.Water, now)
	require.Equal(t, FallTooSteep, Judge(in).Flow.Doubt.Code)
	in.Confirmed = []coldseam.Confirmation{{
		Param: coldseam.Discharge,
		From:  now.Add(-30 * step),
		To:    now,
		At:    now.Add(step),
	}}
	s := Judge(in)
	require.Zero(t, s.Flow.Doubt)
	require.Equal(t, coldseam.Provisional|coldseam.QCRate, in.Flow[len(in.Flow)-1].Flag, "the stored flag stays")

	in.Confirmed[0].At = now.Add(-step)
	require.Equal(t, Flagged, Judge(in).Flow.Doubt.Code, "what came after the word is not covered")
}

func TestLift(t *testing.T) {
	t.Parallel()

	for _, r := range []struct {
		name string
		do   func(*Input)
		want string
	}{
		{"clean", func(*Input) {}, ""},
		{"a flag two hours ago", func(in *Input) { in.Flow[len(in.Flow)-9].Flag |= coldseam.QCGap }, TooFew},
		{"a flag four hours ago", func(in *Input) { in.Flow[len(in.Flow)-17].Flag |= coldseam.QCGap }, ""},
		{"estimated", func(in *Input) { in.Stage[len(in.Stage)-1].Flag |= coldseam.Estimated }, TooFew},
		{"a row without a value", func(in *Input) {
			in.Stage[len(in.Stage)-3] = coldseam.Observation{At: in.Stage[len(in.Stage)-3].At, Flag: coldseam.Missing}
		}, TooFew},
		{"stage never seen", func(in *Input) { in.History.Pairs = in.History.Pairs[:20] }, RelationBlind},
		{"falls too fast since the peak", func(in *Input) {
			in.Stage = nil
			in.Flow = last(24, in.Flow, func(i int, o *coldseam.Observation) {
				o.Value *= math.Exp(-.05 * float64(i+1))
			})
		}, Creep},
		{"flashy", func(in *Input) { in.Strict = true; in.Flow[len(in.Flow)-20].Flag |= coldseam.Suspect }, TooFew},
		{"nothing", func(in *Input) { in.Flow, in.Stage = nil, nil }, TooFew},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			in := river()
			r.do(&in)
			require.Equal(t, r.want, Judge(in).Lift.Code)
		})
	}
}

// A flag only ever adds doubt.
func TestFlagsOnlyAddDoubt(t *testing.T) {
	t.Parallel()
	clean := river()

	rapid.Check(t, func(t *rapid.T) {
		in := clean
		in.Flow, in.Stage, in.Water = slices.Clone(in.Flow), slices.Clone(in.Stage), slices.Clone(in.Water)
		for range rapid.IntRange(0, 8).Draw(t, "faults") {
			obs := rapid.SampledFrom([][]coldseam.Observation{in.Flow, in.Stage, in.Water}).Draw(t, "of")
			i := len(obs) - 1 - rapid.IntRange(0, 120).Draw(t, "at")
			n := min(rapid.IntRange(1, 60).Draw(t, "long"), len(obs)-i)
			f := rapid.SampledFrom([]float64{.03, .4, .8, 1.2, 3.28, 35.3}).Draw(t, "by")
			for k := range n {
				obs[i+k].Value *= f
			}
		}
		before := Judge(in)

		obs := rapid.SampledFrom([][]coldseam.Observation{in.Flow, in.Stage, in.Water}).Draw(t, "flag of")
		i := len(obs) - 1 - rapid.IntRange(0, 200).Draw(t, "flag at")
		obs[i].Flag |= coldseam.Flag(1) << rapid.IntRange(0, 15).Draw(t, "bit")
		s := Judge(in)
		worse := func(a, b Quantity) bool { return a.Doubt.Code == "" || b.Doubt.Code != "" }
		if !worse(before.Flow, s.Flow) || !worse(before.Stage, s.Stage) || !worse(before.Water, s.Water) ||
			!before.MayLift() && s.MayLift() {
			t.Fatalf("flag %v made it better: %+v -> %+v", obs[i].Flag.Names(), before.Lift, s.Lift)
		}
	})
}

func TestJudgeOfNothing(t *testing.T) {
	t.Parallel()
	s := Judge(Input{})
	require.False(t, s.MayLift())
	require.False(t, s.Flow.Known || s.Stage.Known || s.Water.Known)
	require.Zero(t, HistoryOf(nil, nil, nil, now).Span)
}

// A stage higher than all on record beside a flow that has not moved.
func TestFlowThatStaysLowUnderAHighStage(t *testing.T) {
	t.Parallel()
	in := river()
	top := in.History.Pairs[len(in.History.Pairs)-1]
	in.Stage = last(8, in.Stage, func(i int, o *coldseam.Observation) { o.Value = top.StageM + .02*float64(i) })
	require.Equal(t, OffRelation, Judge(in).Flow.Doubt.Code)
	in.Flow = last(8, in.Flow, func(i int, o *coldseam.Observation) { o.Value = top.FlowM3S * (1 + .04*float64(i)) })
	require.Zero(t, Judge(in).Flow.Doubt)
}

// Half of a rise gone in a gap is a reset, if no recession is so fast.
func TestResetInAGap(t *testing.T) {
	t.Parallel()
	in := river()
	in.Stage = nil
	n := len(in.Flow)
	flood := func(_ int, o *coldseam.Observation) { o.Value *= 6 }
	in.Flow = last(60, in.Flow, flood)
	low := in.Flow[n-61].Value
	in.Flow = last(30, in.Flow, func(i int, o *coldseam.Observation) { o.Value = low * (1 + .003*float64(i%3)) })
	in.Flow = slices.Delete(in.Flow, n-54, n-30)
	require.Equal(t, FallTooSteep, Judge(in).Flow.Doubt.Code, "7 h later, and longer than the fall is credible")
}

// A dam that opens and shuts every day is no gauge that was reset.
func TestDailyReleasesAreNoReset(t *testing.T) {
	t.Parallel()
	in := river()
	peak := func(obs []coldseam.Observation, up func(float64) float64, days int) []coldseam.Observation {
		out := slices.Clone(obs)
		for i, o := range out {
			if h := o.At.Hour(); now.Sub(o.At) < time.Duration(days)*24*time.Hour && h >= 2 && h < 8 {
				out[i].Value = up(o.Value)
			}
		}
		return out
	}

	more := func(q float64) float64 { return q * 1.4 }
	higher := func(s float64) float64 { return s * math.Sqrt(1.4) }
	daily := in
	daily.Flow, daily.Stage = peak(in.Flow, more, 30), peak(in.Stage, higher, 30)
	daily.History = HistoryOf(daily.Flow, daily.Stage, daily.Water, now)
	require.Zero(t, Judge(daily).Flow.Doubt)

	once := in
	once.Flow, once.Stage = peak(in.Flow, more, 1), peak(in.Stage, higher, 1)
	once.History = HistoryOf(once.Flow, once.Stage, once.Water, now)
	require.Equal(t, FallTooSteep, Judge(once).Flow.Doubt.Code)
}
