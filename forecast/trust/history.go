package trust

import (
	"cmp"
	"math"
	"slices"
	"sort"
	"time"

	"example.org/coldseam"
)

// Pair is a stage and the flow read at the same time.
type Pair struct{ StageM, FlowM3S float64 }

// History is what a station's own record says of itself: how fast it falls,
// how long it stands still, and which flow goes with which stage. The zero
// value knows nothing.
type History struct {
	Span time.Duration // of the record
	Step time.Duration // usual spacing of the flow readings, else of the stages

	// The greatest fall from one reading to the next on the third worst day: a
	// fault of a day or two does not count as the river's own. 0 = not known.
	FlowFall   float64 // in ln of flow
	StageFallM float64

	// The longest run of one value.
	FlowRun, StageRun, WaterRun time.Duration
	// StillUsual is the length of those runs without any change of flow and
	// stage that 95 of 100 readings do not exceed.
	StillUsual time.Duration
	// FrozenRun is the longest run without any change of flow, stage and water.
	FrozenRun time.Duration

	Pairs []Pair // by stage; unflagged readings only
	// OffLn is how far ln flow may be off the relation of the pairs.
	OffLn float64
}

const (
	// pairsAfter is the age from which a pair counts as history, so that a
	// fault of today cannot become its own witness [proposal].
	pairsAfter = 24 * time.Hour
	// worstDay: the third worst day stands for the river's own greatest fall.
	worstDay = 3
	// enoughHistory is the record without which a longest run says little.
	enoughHistory = 7 * 24 * time.Hour
	stillQuantile = .95
	leastFlowM3S  = .05 // smaller flows and zero count as this in logarithms
)

// HistoryOf reads the history from what the station sent up to 24 h before
// now. Rows are in ascending time.
func HistoryOf(flow, stage, water []coldseam.Observation, now time.Time) History {
	old := now.Add(-pairsAfter)
	flow, stage, water = valued(upTo(flow, old)), valued(upTo(stage, old)), valued(upTo(water, old))

	var h History
	lead := flow
	if len(lead) == 0 {
		lead = stage
	}
	if n := len(lead); n > 1 {
		h.Span = lead[n-1].At.Sub(lead[0].At)
		h.Step = usualStep(lead)
	}
	h.FlowFall = ownFall(flow, lnFlow)
	h.StageFallM = ownFall(stage, plain)

	h.FlowRun, _ = runs(flow)
	h.StageRun, _ = runs(stage)
	h.WaterRun, _ = runs(water)
	both := flow
	if len(stage) > 0 {
		both = joined(flow, stage, h.Step)
	}
	_, h.StillUsual = runs(both)
	h.FrozenRun, _ = runs(joined(both, unfrozen(water), h.Step))

	for i, o := range flow {
		if s, ok := nearest(stage, o.At, h.Step/2); ok && (o.Flag|s.Flag)&doubtful == 0 && flow[i].Value > 0 {
			h.Pairs = append(h.Pairs, Pair{StageM: s.Value, FlowM3S: o.Value})
		}
	}
	slices.SortFunc(h.Pairs, func(a, b Pair) int { return cmp.Compare(a.StageM, b.StageM) })
	h.OffLn = h.scatter()
	return h
}

func lnFlow(v float64) float64 { return math.Log(max(v, leastFlowM3S)) }
func plain(v float64) float64  { return v }

// unfrozen leaves out water at the freezing point, which stands still by nature.
func unfrozen(water []coldseam.Observation) []coldseam.Observation {
	return slices.DeleteFunc(slices.Clone(water), func(o coldseam.Observation) bool { return o.Value <= frozenWaterC })
}

func upTo(obs []coldseam.Observation, t time.Time) []coldseam.Observation {
	n := sort.Search(len(obs), func(i int) bool { return obs[i].At.After(t) })
	return obs[:n]
}

func after(obs []coldseam.Observation, t time.Time) []coldseam.Observation {
	n := sort.Search(len(obs), func(i int) bool { return obs[i].At.After(t) })
	return obs[n:]
}

// valued leaves out the rows that carry no number.
func valued(obs []coldseam.Observation) []coldseam.Observation {
	out := make([]coldseam.Observation, 0, len(obs))
	for _, o := range obs {
		if hasValue(o) {
			out = append(out, o)
		}
	}
	return out
}

func hasValue(o coldseam.Observation) bool {
	return !(o.Flag&coldseam.Missing != 0 && o.Value == 0) && !math.IsNaN(o.Value) && !math.IsInf(o.Value, 0)
}

func usualStep(obs []coldseam.Observation) time.Duration {
	steps := make([]time.Duration, 0, len(obs))
	for i := 1; i < len(obs); i++ {
		steps = append(steps, obs[i].At.Sub(obs[i-1].At))
	}
	if len(steps) == 0 {
		return 0
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

// ownFall is the greatest fall within a step on the third worst day.
func ownFall(obs []coldseam.Observation, scale func(float64) float64) float64 {
	step := usualStep(obs)
	worst := map[int64]float64{}
	for i := 1; i < len(obs); i++ {
		if obs[i].At.Sub(obs[i-1].At) > 2*step {
			continue
		}
		day := obs[i].At.Unix() / 86400
		worst[day] = max(worst[day], scale(obs[i-1].Value)-scale(obs[i].Value))
	}

	falls := make([]float64, 0, len(worst))
	for _, f := range worst {
		falls = append(falls, f)
	}
	if len(falls) < worstDay {
		return 0
	}
	slices.Sort(falls)
	return falls[len(falls)-worstDay]
}

// runs measures how long one value stands: the longest run, and the length
// that 95 of 100 readings do not exceed. A hole of over three steps ends a run.
func runs(obs []coldseam.Observation) (longest, usual time.Duration) {
	step := usualStep(obs)
	var each []time.Duration
	start := 0
	for i := 1; i <= len(obs); i++ {
		if i < len(obs) && obs[i].Value == obs[i-1].Value && obs[i].At.Sub(obs[i-1].At) <= 3*step {
			continue
		}
		d := obs[i-1].At.Sub(obs[start].At)
		for ; start < i; start++ {
			each = append(each, d)
		}
	}
	if len(each) == 0 {
		return 0, 0
	}
	slices.Sort(each)
	return each[len(each)-1], each[int(stillQuantile*float64(len(each)-1))]
}

// joined has one row for each row of a with one of b beside it; its value
// changes whenever one of the two does, and means nothing else.
func joined(a, b []coldseam.Observation, step time.Duration) []coldseam.Observation {
	var out []coldseam.Observation
	var last [2]float64
	n := 0.
	for _, o := range a {
		p, ok := nearest(b, o.At, step/2)
		if !ok {
			continue
		}
		if now := [2]float64{o.Value, p.Value}; len(out) == 0 || now != last {
			n, last = n+1, now
		}
		out = append(out, coldseam.Observation{At: o.At, Value: n, Flag: o.Flag | p.Flag})
	}
	return out
}

// nearest is the row nearest to t, at most tol away.
func nearest(obs []coldseam.Observation, t time.Time, tol time.Duration) (coldseam.Observation, bool) {
	i := sort.Search(len(obs), func(i int) bool { return !obs[i].At.Before(t) })
	if i > 0 && (i == len(obs) || t.Sub(obs[i-1].At) < obs[i].At.Sub(t)) {
		i--
	}
	if i == len(obs) || obs[i].At.Sub(t).Abs() > tol {
		return coldseam.Observation{}, false
	}
	return obs[i], true
}

const (
	relationPairs = 15
	// The readings are off the relation by more than relationOwn times what this
	// station shows nine times in ten, within these bounds in ln of flow.
	relationOwn               = 3.
	relationLeast, relationLn = .2, .25
	scatterQuantile           = .9
	scatterPairs              = 200 // of the record, evenly taken
	// Beyond the stages on record by more than this the relation is not known.
	relationReachM = .03
	// A stage higher than all on record by this has a flow above theirs.
	surelyBeyondM = .05
)

// relation is the flow that goes with a stage: the median of the 15 nearest
// stages on record, each moved along their slope. ok is false where the record
// does not reach; above it the flow of its highest stages is told, and beyond is
// by how many metres.
func (h History) relation(stageM float64) (flow float64, ok bool, beyond float64) {
	n := len(h.Pairs)
	if n < relationPairs || stageM < h.Pairs[0].StageM-relationReachM {
		return 0, false, 0
	}
	above := stageM - h.Pairs[n-1].StageM

	lo := sort.Search(n, func(i int) bool { return h.Pairs[i].StageM >= stageM })
	hi := lo
	for hi-lo < relationPairs {
		if lo > 0 && (hi == n || stageM-h.Pairs[lo-1].StageM <= h.Pairs[hi].StageM-stageM) {
			lo--
		} else {
			hi++
		}
	}

	if above > relationReachM {
		return math.Exp(middle(h.Pairs[lo:hi], stageM, 0)), false, above
	}
	return math.Exp(middle(h.Pairs[lo:hi], stageM, slope(h.Pairs[lo:hi]))), true, 0
}

// beyondLn is what a flow must at least have, in ln over that of the highest
// stages on record, at a stage higher by some metres.
func (h History) beyondLn(aboveM float64) float64 {
	if aboveM > surelyBeyondM {
		return 0
	}
	return -h.OffLn
}

// middle is the median of ln flow of the pairs, moved to a stage.
func middle(pairs []Pair, stageM, slope float64) float64 {
	ln := make([]float64, len(pairs))
	for i, p := range pairs {
		ln[i] = lnFlow(p.FlowM3S) + slope*(stageM-p.StageM)
	}
	return coldseam.Quantile(ln, .5)
}

// slope is how ln flow goes up with stage between the lower and the upper third
// of the pairs, which are in order of stage.
func slope(pairs []Pair) float64 {
	third := len(pairs) / 3
	low, high := pairs[:third], pairs[len(pairs)-third:]
	rise := high[third/2].StageM - low[third/2].StageM
	if rise <= 0 {
		return 0
	}
	return max((middle(high, 0, 0)-middle(low, 0, 0))/rise, 0)
}

// scatter is what ln flow may be off the relation at this station.
func (h History) scatter() float64 {
	var off []float64
	for i := 0; i < len(h.Pairs); i += max(len(h.Pairs)/scatterPairs, 1) {
		if q, ok, _ := h.relation(h.Pairs[i].StageM); ok {
			off = append(off, math.Abs(lnFlow(h.Pairs[i].FlowM3S)-math.Log(q)))
		}
	}
	if len(off) == 0 {
		return relationLn
	}
	return min(max(relationOwn*coldseam.Quantile(off, scatterQuantile), relationLeast), relationLn)
}
