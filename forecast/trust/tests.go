package trust

import (
	"math"
	"slices"
	"time"

	"example.org/coldseam"
)

// clockSlack is how far ahead of now a reading may be stamped.
const clockSlack = 5 * time.Minute

func newQuantity(in Input, p coldseam.Parameter, obs []coldseam.Observation) *Quantity {
	obs = upTo(after(obs, in.Now.Add(-judged)), in.Now.Add(clockSlack))
	q := &Quantity{rows: Confirm(obs, p, in.Confirmed), scale: func(v float64) float64 { return v }}
	if p == coldseam.Discharge {
		q.scale = func(v float64) float64 { return math.Log(max(v, leastFlowM3S)) }
	}

	q.why, q.sure = make([]string, len(obs)), make([]bool, len(obs))
	for i, o := range q.rows {
		q.sure[i] = slices.ContainsFunc(in.Confirmed, func(c coldseam.Confirmation) bool { return c.Covers(p, o) })
		if o.Flag&doubtful != 0 {
			q.why[i] = Flagged
		}
		if hasValue(o) {
			q.val = append(q.val, i)
		}
	}
	return q
}

// Unflagged reports whether neither the agency nor quality control doubts a value.
func Unflagged(f coldseam.Flag) bool { return f&doubtful == 0 }

// Confirm returns obs with the doubtful flags taken off the readings that the
// admin has confirmed, for this use alone: what is stored keeps them. A row
// without a value stays one, and what no river has stays out.
func Confirm(obs []coldseam.Observation, p coldseam.Parameter, cs []coldseam.Confirmation) []coldseam.Observation {
	out := slices.Clone(obs)
	for i, o := range out {
		for _, c := range cs {
			if c.Covers(p, o) && o.Flag&coldseam.Missing == 0 && p.Plausible(o.Value) {
				out[i].Flag &^= doubtful
			}
		}
	}
	return out
}

// doubt marks row i. A test says more than a flag that it confirms; the first
// test to speak stands. A confirmed reading is not marked.
func (q *Quantity) doubt(i int, code string) {
	if !q.sure[i] && (q.why[i] == "" || q.why[i] == Flagged) {
		q.why[i] = code
	}
}

func (q *Quantity) v(k int) float64    { return q.rows[q.val[k]].Value }
func (q *Quantity) at(k int) time.Time { return q.rows[q.val[k]].At }

// falls doubts readings that fell too steeply, until they are back on a
// credible recession from where they fell, for a day at most. A reading alone
// above its two neighbours is no height to have fallen from, if it is the only
// one: several are the true readings of a gauge that drops out.
func (q *Quantity) falls(limit, perH, spike float64) {
	lone := q.loneSpike(limit, spike)
	open, from, start := false, 0., time.Time{}

	for k := 1; k < len(q.val); k++ {
		x := q.scale(q.v(k))
		if q.sure[q.val[k]] || k-1 == lone {
			open = false
			continue
		}

		if open {
			h := q.at(k).Sub(start)
			open = h <= fallWindow && from-x > limit+perH*h.Hours()
		}

		if !open {
			from, start = q.scale(q.v(k-1)), q.at(k-1)
			open = from-x > limit+perH*max(q.at(k).Sub(start).Hours()-1, 0)
		}
		if open {
			q.doubt(q.val[k], FallTooSteep)
		}
	}
}

// collapses doubts readings after a rise that went in one step, back to near
// where it came from, or over a gap in which no river falls so far: a gauge that
// was reset, for a river takes hours. They are
// doubted for a day, or until half of the rise is there again. Falls that this
// river is known for, own, are its dam's.
func (q *Quantity) collapses(least, own, perH, spike float64) {
	lone := q.loneSpike(least, spike)
	open, half, start := false, 0., time.Time{}

	for k := 1; k < len(q.val); k++ {
		x, high := q.scale(q.v(k)), q.scale(q.v(k-1))
		if q.sure[q.val[k]] || k-1 == lone {
			open = false
			continue
		}

		if open {
			open = x < half && q.at(k).Sub(start) <= fallWindow
		} else if high-x > max(collapseShare*least, ownFallMost*own) {
			foot := high
			for j := k - 1; j >= 0 && q.at(k).Sub(q.at(j)) <= fallWindow; j-- {
				foot = min(foot, q.scale(q.v(j)))
			}
			half, start = (foot+high)/2, q.at(k)
			gap := max(start.Sub(q.at(k-1))-collapseStep, 0)
			open = high-foot > least && high-x > max(collapseShare*(high-foot), least+perH*gap.Hours())
		}

		if open {
			q.doubt(q.val[k], FallTooSteep)
		}
	}
}

// loneSpike is the one valued reading of the last day that stands by more than
// limit above two neighbours that agree, -1 where there is none or several.
func (q *Quantity) loneSpike(limit, agree float64) int {
	lone := -1
	for k := len(q.val) - 2; k > 0 && q.at(len(q.val)-1).Sub(q.at(k)) <= stopWindow; k-- {
		a, x, b := q.scale(q.v(k-1)), q.scale(q.v(k)), q.scale(q.v(k+1))
		if math.Abs(a-b) > agree || x-max(a, b) <= limit {
			continue
		}
		if lone >= 0 {
			return -1
		}
		lone = k
	}
	return lone
}

// alternates doubts eight readings with three reversals among them, or two that
// are twice as large.
func (q *Quantity) alternates(least float64) {
	step := func(k int) float64 { return q.scale(q.v(k)) - q.scale(q.v(k-1)) }
	turns := func(k int) float64 {
		if a, b := step(k-1), step(k); a*b < 0 {
			return min(math.Abs(a), math.Abs(b))
		}
		return 0
	}

	for first := 0; first+reversalReadings <= len(q.val); first++ {
		n, large := 0, 0
		for k := first + 2; k < first+reversalReadings; k++ {
			if by := turns(k); by > 2*least {
				n, large = n+1, large+1
			} else if by > least {
				n++
			}
		}

		if n < reversals && large < reversals-1 {
			continue
		}
		for k := first; k < first+reversalReadings; k++ {
			q.doubt(q.val[k], Alternating)
		}
	}
}

// stuck doubts a value that stands longer than this station ever held one,
// from there on.
func (q *Quantity) stuck(h History, own time.Duration) {
	if h.Span < enoughHistory || own <= 0 {
		return
	}
	start := 0
	for k := range q.val {
		if k > 0 && (q.v(k) != q.v(k-1) || q.at(k).Sub(q.at(k-1)) > 3*h.Step) {
			start = k
		}
		if float64(q.at(k).Sub(q.at(start))) > stuckOwn*float64(own) {
			q.doubt(q.val[k], Stuck)
		}
	}
}

// values are the rows with a value.
func (q *Quantity) values() []coldseam.Observation {
	out := make([]coldseam.Observation, len(q.val))
	for k, i := range q.val {
		out[k] = q.rows[i]
	}
	return out
}

func (in *Input) step() time.Duration {
	if in.History.Step > 0 {
		return in.History.Step
	}
	return time.Hour
}

// frozen doubts flow, stage and water that all stand still, as a logger does
// that repeats its last record.
func (in *Input) frozen(flow, stage, water *Quantity) {
	all := joined(joined(flow.values(), stage.values(), in.step()), unfrozen(water.values()), in.step())
	own := time.Duration(0)
	if in.History.Span >= enoughHistory {
		own = in.History.FrozenRun
	}

	start := 0
	for k := range all {
		if all[k].Value != all[start].Value || k > 0 && all[k].At.Sub(all[k-1].At) > 3*in.step() {
			start = k
		}
		if k-start+1 < frozenReadings || float64(all[k].At.Sub(all[start].At)) <= stuckOwn*float64(own) {
			continue
		}
		for _, q := range []*Quantity{flow, stage, water} {
			q.doubtNear(all[k].At, in.step()/2, Frozen)
		}
	}
}

// doubtNear marks the rows that stand for t.
func (q *Quantity) doubtNear(t time.Time, tol time.Duration, code string) {
	for k := len(q.val) - 1; k >= 0 && q.at(k).After(t.Add(-tol-1)); k-- {
		if q.at(k).Sub(t).Abs() <= tol {
			q.doubt(q.val[k], code)
		}
	}
}

// still looks whether flow and stage stand still to the digit for longer than
// is usual here. With a witness that the river must have moved they are not
// trusted; where neither rain nor another gauge is known the time is returned:
// that nothing thaws says nothing of rain.
func (in *Input) still(flow, stage *Quantity) (since time.Time) {
	both := flow.values()
	if n, m := len(flow.val), len(stage.val); n > 0 && m > 0 && flow.at(n-1).Sub(stage.at(m-1)) <= 3*in.step() {
		both = joined(both, stage.values(), in.step())
	}
	if len(both) == 0 {
		return time.Time{}
	}

	start := len(both) - 1
	for start > 0 && both[start-1].Value == both[start].Value && both[start].At.Sub(both[start-1].At) <= 3*in.step() {
		start--
	}
	since = both[start].At
	d := both[len(both)-1].At.Sub(since)

	moved, seen := in.Witness.moving(since, in.Now)
	switch {
	case d < stillLeast || d <= in.History.StillUsual || len(flow.val) > 0 && flow.sure[flow.val[len(flow.val)-1]]:
		return time.Time{}
	case !moved && !in.Witness.wet() && (seen || in.Witness.RainMM != nil):
		return time.Time{}
	case !moved && !in.Witness.wet():
		return since
	}

	for _, o := range both[start+1:] {
		flow.doubtNear(o.At, 0, StillInRain)
		stage.doubtNear(o.At, in.step()/2, StillInRain)
	}

	return time.Time{}
}

// unitSlip doubts readings after a step by the ratio of two units, until they
// are nearer to where they came from than to where they went.
func (q *Quantity) unitSlip(most time.Duration, related ...func(float64) float64) {
	var was, is float64
	var start time.Time
	open := false

	for k := 1; k < len(q.val); k++ {
		if q.sure[q.val[k]] {
			open = false
			continue
		}

		x := q.v(k)
		if open {
			back := math.Abs(q.scale(x)-q.scale(was)) < math.Abs(q.scale(x)-q.scale(is))
			open = !back && q.at(k).Sub(start) <= most
		} else if a := q.v(k - 1); a > 0 {
			for _, f := range related {
				if want := f(a); math.Abs(want-x) <= unitTolerance*math.Abs(want) && math.Abs(x-a) > unitTolerance*a {
					open, was, is, start = true, a, want, q.at(k)
				}
			}
		}

		if open {
			q.doubt(q.val[k], UnitSlip)
		}
	}
}

// relation doubts flow and stage that do not go together, and a flow that stays
// low under a stage higher than any on record.
func (in *Input) relation(flow, stage *Quantity) {
	stages := stage.values()
	for _, i := range flow.val {
		o := flow.rows[i]
		s, ok := nearest(stages, o.At, in.step()/2)
		if !ok {
			continue
		}
		want, known, beyond := in.History.relation(s.Value)
		off := flow.scale(o.Value) - flow.scale(want)
		if known && math.Abs(off) > in.History.OffLn || beyond > 0 && off < in.History.beyondLn(beyond) &&
			!stage.doubts(s.At) {
			flow.doubt(i, OffRelation)
			stage.doubtNear(s.At, 0, OffRelation)
		}
	}
}

// doubts reports whether the row of a time is marked.
func (q *Quantity) doubts(t time.Time) bool {
	i, ok := slices.BinarySearchFunc(q.rows, t,
		func(o coldseam.Observation, t time.Time) int { return o.At.Compare(t) })
	return ok && q.why[i] != ""
}

// conclude finds the newest reading, the newest trusted one and since when the
// newest ones are not.
func (q *Quantity) conclude() {
	n := len(q.val)
	if n == 0 {
		return
	}
	q.Newest, q.Any = q.rows[q.val[n-1]], true
	for k := n - 1; k >= 0; k-- {
		i := q.val[k]
		if q.why[i] == "" {
			q.Trusted, q.Known = q.rows[i], true
			return
		}
		q.Doubt = Doubt{Code: q.why[i], Since: q.rows[i].At, Flag: q.rows[i].Flag & doubtful}
	}
}

// lift says why a stop of the last 24 h must be kept, the zero value if it need
// not be.
func (in *Input) lift(flow, stage *Quantity) Doubt {
	rule := liftPlain
	if in.Strict {
		rule = liftStrict
	}
	var seen []*Quantity
	for _, q := range []*Quantity{flow, stage} {
		if q.Any && in.Now.Sub(q.Newest.At) <= stopWindow {
			seen = append(seen, q)
		}
	}

	if len(seen) == 0 {
		return Doubt{Code: TooFew, Since: in.Now}
	}

	for _, q := range seen {
		if d := q.running(rule); d.Code != "" {
			return d
		}
	}

	if len(seen) == 2 && !in.Daily {
		if _, known, _ := in.History.relation(stage.Newest.Value); !known {
			return Doubt{Code: RelationBlind, Since: stage.Newest.At}
		}
	}

	if since := stillSince(seen); !since.IsZero() {
		return Doubt{Code: Still, Since: since}
	}
	q, perH, first, spike := flow, rule.lnPerH, liftFallLn, spikeLn
	if seen[0] != flow {
		q, perH, first, spike = stage, rule.lnPerH*liftFallMPerLn, liftFallM, spikeM
	}
	return q.fallen(first, perH, spike)
}

// running asks for enough unflagged readings one after the other, up to the
// newest row.
func (q *Quantity) running(rule lifting) Doubt {
	n, last := 0, len(q.rows)-1
	for i := last; i >= 0; i-- {
		o := q.rows[i]
		if q.why[i] != "" || o.Flag&liftsNone != 0 || !hasValue(o) {
			if q.Doubt.Code != "" {
				return q.Doubt
			}
			return Doubt{Code: TooFew, Since: o.At, Flag: o.Flag & liftsNone}
		}
		if n++; n >= rule.readings && q.rows[last].At.Sub(o.At) >= rule.span {
			return Doubt{}
		}
	}
	return Doubt{Code: TooFew, Since: q.rows[0].At}
}

// stillSince is since when nothing has changed, zero if something has within
// the last two hours of readings.
func stillSince(seen []*Quantity) time.Time {
	var since time.Time
	for _, q := range seen {
		k := len(q.val) - 1
		for k > 0 && q.v(k-1) == q.v(k) {
			k--
		}
		if q.Newest.At.Sub(q.at(k)) < liftStill {
			return time.Time{}
		}
		if q.at(k).After(since) {
			since = q.at(k)
		}
	}
	return since
}

// fallen compares the fall since every reading of the last day with the fastest
// recession: the highest alone would hide a creep behind hours of a level river.
func (q *Quantity) fallen(first, perH, spike float64) Doubt {
	lone, now := q.loneSpike(first, spike), q.scale(q.Newest.Value)
	var d Doubt
	for k := len(q.val) - 1; k >= 0; k-- {
		age := q.Newest.At.Sub(q.at(k))
		if age > stopWindow {
			break
		}
		if k != lone && q.scale(q.v(k))-now > first+perH*age.Hours() {
			d = Doubt{Code: Creep, Since: q.at(k)}
		}
	}
	return d
}
