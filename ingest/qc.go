package ingest

import (
	"math"
	"slices"
	"sort"
	"time"

	"example.org/coldseam"
)

// SiteLimits is what quality control knows of a site. The zero value means
// nothing is known and leaves out the tests that need it.
type SiteLimits struct {
	Tidal           bool
	MaxDischargeM3S float64  // greatest on record, 0 = unknown
	StageMinM       *float64 // limits of the gauge
	StageMaxM       *float64
	Step            time.Duration          // usual step of the series, 0 = the median of its steps
	Air             []coldseam.Observation // air temperature near the site, degC, sorted
}

// Thresholds of quality control, in SI units [proposal], after the open QARTOD
// scheme [from memory]. What fails is left out by forecasts, what is suspect
// widens them.
const (
	waterMinC, waterMaxC = -0.1, 32.
	stageBeyondM         = 5.
	dischargeBeyond      = 10. // times the greatest on record

	spikeWaterC, spikeStageM   = 3., 1.
	spikeFlowFail, spikeFlow   = 5., 3. // times the median of 7 values
	rateWaterFailC, rateWaterC = 5., 2.
	rateStageFailM, rateStageM = 2., .5
	rateDischarge              = 3.
	fallFlowFail               = 10. // times within an hour: no channel empties so fast
	leastFlowM3S               = .05 // a smaller flow and zero count as this in ratios

	flatWaterFail, flatWater = 48 * time.Hour, 24 * time.Hour
	flatFlow                 = 7 * 24 * time.Hour
	flatWaterAboveC          = .5 // an identical value below is ice, not a dead sensor
	iceMinC, iceMaxC         = 0., .3

	gapSteps        = 3.
	unitTolerance   = .02
	hardFrostC      = -5.
	warmInFrostC    = 8.
	hardFrostSpan   = 72 * time.Hour
	sentinelClear   = .2 // a neighbour this near, as a share of the value, clears it
	feetPerMetre    = 1 / coldseam.MetrePerFoot
	cubicFeetPerCub = 1 / coldseam.CubicMPerCFS
)

// oddValues are undeclared sentinels as the source prints them.
var oddValues = []float64{-99, -999, 9999, 99999, -99999}

// checker holds a series while it is looked at. use are the rows with a value
// the agency does not call bad.
type checker struct {
	s     coldseam.Series
	l     SiteLimits
	use   []int
	step  time.Duration
	daily bool
}

// Check sets the quality-control flags of a series anew, in the light of its
// own neighbours. It adds, removes, reorders and alters nothing else; missing
// rows get no flags. Rows stamped later than now + MaxFutureStamp fail: the
// Fetcher refuses them, but imported files and old stores may hold some. A zero
// now leaves that test out.
func Check(s coldseam.Series, l SiteLimits, now time.Time) coldseam.Series {
	c := &checker{s: s, l: l}
	c.s.Obs = slices.Clone(s.Obs)
	for i, o := range c.s.Obs {
		c.s.Obs[i].Flag &^= coldseam.QCFlags
		if o.Flag&(coldseam.Missing|coldseam.Bad) == 0 {
			c.use = append(c.use, i)
		}
	}

	c.step = c.usualStep()
	if months, days, _, err := ParsePeriod(s.Period); err == nil {
		c.daily = months > 0 || days > 0
	}
	if !now.IsZero() {
		c.future(now)
	}

	c.sentinel()
	c.ranges()
	c.spike()
	c.gap()
	c.rate()
	c.flat()
	c.unit()
	c.frostBesideWarmWater()
	return c.s
}

func (c *checker) obs(k int) *coldseam.Observation { return &c.s.Obs[c.use[k]] }
func (c *checker) v(k int) float64                 { return c.obs(k).Value }
func (c *checker) at(k int) time.Time              { return c.obs(k).At }
func (c *checker) failed(k int) bool               { return c.obs(k).Flag&coldseam.QCFail != 0 }
func (c *checker) suspect(k int, f coldseam.Flag)  { c.obs(k).Flag |= f }
func (c *checker) fail(k int, f coldseam.Flag)     { c.obs(k).Flag |= f | coldseam.QCFail }

func (c *checker) usualStep() time.Duration {
	if c.l.Step > 0 {
		return c.l.Step
	}
	steps := make([]time.Duration, 0, len(c.use))
	for k := 1; k < len(c.use); k++ {
		steps = append(steps, c.at(k).Sub(c.at(k-1)))
	}
	if len(steps) == 0 {
		return 0
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

func (c *checker) future(now time.Time) {
	for k := range c.use {
		if c.at(k).After(now.Add(MaxFutureStamp)) {
			c.fail(k, coldseam.QCRange)
		}
	}
}

// sentinel finds numbers that stand for "no value" without the document saying
// so. The unit of the source is not known here, so every unit of the parameter
// is tried. A near neighbour clears the value: 9,999 ft3/s and a tidal -99 do
// occur.
func (c *checker) sentinel() {
	odd := map[float64]bool{}
	for _, x := range oddValues {
		for _, conv := range sourceUnits(c.s.Param) {
			odd[round9(conv.Apply(x))] = true
		}
	}
	is := make([]bool, len(c.use))
	for k := range c.use {
		is[k] = odd[round9(c.v(k))]
	}
	for k := range c.use {
		if is[k] && !c.cleared(k, is) {
			c.fail(k, coldseam.QCSentinel)
		}
	}
	c.repeated()
}

func (c *checker) cleared(k int, is []bool) bool {
	for _, dir := range []int{-1, 1} {
		j := k + dir
		for j >= 0 && j < len(c.use) && is[j] {
			j += dir
		}
		if j < 0 || j >= len(c.use) || c.at(j).Sub(c.at(k)).Abs() > 6*time.Hour {
			continue
		}
		if math.Abs(c.v(j)-c.v(k)) <= sentinelClear*math.Abs(c.v(k)) {
			return true
		}
	}
	return false
}

// repeated marks the same odd value three times in a day, each time far from
// both neighbours: a default the logger writes.
func (c *checker) repeated() {
	lim, ok := c.spikeLimit()
	if !ok {
		return
	}
	seen := map[float64][]int{}
	for k := 1; k+1 < len(c.use); k++ {
		if !c.apart(k-1, k) && !c.apart(k, k+1) && math.Abs(c.v(k)-c.v(k-1)) > lim/2 &&
			math.Abs(c.v(k)-c.v(k+1)) > lim/2 {
			seen[c.v(k)] = append(seen[c.v(k)], k)
		}
	}

	for _, ks := range seen {
		for i := 2; i < len(ks); i++ {
			if c.at(ks[i]).Sub(c.at(ks[i-2])) <= 24*time.Hour {
				for _, k := range ks[i-2 : i+1] {
					c.suspect(k, coldseam.QCSentinel)
				}
			}
		}
	}
}

func round9(x float64) float64 {
	if x == 0 {
		return 0
	}
	scale := math.Pow(10, 8-math.Floor(math.Log10(math.Abs(x))))
	return math.Round(x*scale) / scale
}

// ranges: what no river and no air has fails (see Parameter.Bounds), as does
// what the site cannot have; what is rare is suspect. A
// negative discharge is genuine in a tidal reach and is kept either way, but
// it is marked so that nobody reads it as a low flow.
func (c *checker) ranges() {
	for k := range c.use {
		v := c.v(k)
		c.band(k, !c.s.Param.Plausible(v), false)
		switch c.s.Param {
		case coldseam.WaterTemp:
			c.band(k, false, v < waterMinC || v > waterMaxC)
		case coldseam.Discharge:
			c.band(k, c.l.MaxDischargeM3S > 0 && v > dischargeBeyond*c.l.MaxDischargeM3S, v < 0)
		case coldseam.Stage:
			c.band(k, c.l.StageMinM != nil && v < *c.l.StageMinM-stageBeyondM || c.l.StageMaxM != nil &&
				v > *c.l.StageMaxM+stageBeyondM, false)
		}
	}
}

func (c *checker) band(k int, fail, suspect bool) {
	switch {
	case fail:
		c.fail(k, coldseam.QCRange)
	case suspect:
		c.suspect(k, coldseam.QCRange)
	}
}

func (c *checker) spikeLimit() (float64, bool) {
	switch c.s.Param {
	case coldseam.WaterTemp, coldseam.AirTemp:
		return spikeWaterC, true
	case coldseam.Stage:
		return spikeStageM, true
	}
	return 0, false
}

// spike finds a value that leaves its neighbours and comes back: its distance
// from their middle beyond half their own distance [source: Argo quality
// control manual, spike test; from memory]. A step of the river is no spike,
// on neither side of it. The newest value has no following one yet and waits.
// Daily values of stage and discharge are only ever suspect: a flood of one
// day looks like a spike. Air is not tested, fronts pass within an hour.
func (c *checker) spike() {
	if c.s.Param == coldseam.AirTemp {
		return
	}
	soft := c.daily && c.s.Param != coldseam.WaterTemp
	for k := 1; k+1 < len(c.use); k++ {
		if c.failed(k) || c.apart(k-1, k) || c.apart(k, k+1) || c.failed(k-1) || c.failed(k+1) {
			continue
		}
		fail, suspect := c.spiky(k)
		switch {
		case fail && !soft:
			c.fail(k, coldseam.QCSpike)
		case fail || suspect:
			c.suspect(k, coldseam.QCSpike)
		}
	}
}

// spiky judges one value. Discharge is judged by ratios, upward and downward,
// against the median of seven and against both neighbours, so that the front of
// a surge whose rest has not arrived yet is no spike. A tide turns through zero.
func (c *checker) spiky(k int) (fail, suspect bool) {
	v, a, b := c.v(k), c.v(k-1), c.v(k+1)
	if lim, ok := c.spikeLimit(); ok {
		d := math.Abs(v-(a+b)/2) - math.Abs(b-a)/2
		return d > lim, d > lim/2
	}
	if c.s.Param != coldseam.Discharge {
		return false, false
	}
	m, low := c.median7(k), max(v, leastFlowM3S)
	apart := func(f float64) bool {
		up := m > 0 && v > f*m && v > f/2*a && v > f/2*b
		return up || !c.l.Tidal && m > f*low && min(a, b) > f/2*low
	}
	return apart(spikeFlowFail), apart(spikeFlow)
}

// apart reports whether two neighbours are too far in time to speak for each
// other.
func (c *checker) apart(a, b int) bool {
	return c.step > 0 && float64(c.at(b).Sub(c.at(a))) > gapSteps*float64(c.step)
}

func (c *checker) median7(k int) float64 {
	lo, hi := max(k-3, 0), min(k+4, len(c.use))
	x := make([]float64, 0, 7)
	for j := lo; j < hi; j++ {
		if c.at(j).Sub(c.at(k)).Abs() <= 24*time.Hour {
			x = append(x, c.v(j))
		}
	}
	return coldseam.Quantile(x, .5)
}

func (c *checker) gap() {
	for k := 1; k < len(c.use); k++ {
		if c.apart(k-1, k) {
			c.suspect(k, coldseam.QCGap)
		}
	}
}

// rate compares with the last hour, or with the value before when that is
// older. Values that failed are no reference. A fast rise of the stage is
// suspect and never fails: a dam release is real, and leaving it out would
// hide the danger. A fall that no river makes fails, in flow as in stage. After
// a gap nothing is said.
func (c *checker) rate() {
	first := 0
	for k := 1; k < len(c.use); k++ {
		for first < k && c.at(k).Sub(c.at(first)) > time.Hour {
			first++
		}
		if c.failed(k) || c.apart(k-1, k) {
			continue
		}

		for j := min(first, k-1); j < k; j++ {
			if !c.failed(j) {
				c.rateOf(j, k)
				break
			}
		}
		if prev := k - 1; !c.failed(prev) {
			c.rateOf(prev, k)
		}
	}
}

func (c *checker) rateOf(j, k int) {
	h := math.Max(c.at(k).Sub(c.at(j)).Hours(), 1)
	d := (c.v(k) - c.v(j)) / h

	switch c.s.Param {
	case coldseam.WaterTemp:
		if math.Abs(d) > rateWaterFailC {
			c.fail(k, coldseam.QCRate)
		} else if math.Abs(d) > rateWaterC {
			c.suspect(k, coldseam.QCRate)
		}
	case coldseam.Stage:
		if d < -rateStageFailM && !c.daily {
			c.fail(k, coldseam.QCRate)
		} else if math.Abs(d) > rateStageM {
			c.suspect(k, coldseam.QCRate)
		}
	case coldseam.Discharge:
		a, b := c.v(j), c.v(k)
		fall := math.Pow(max(a, 0)/max(b, leastFlowM3S), 1/h)
		switch {
		case c.l.Tidal && a*b <= 0:
		case fall > fallFlowFail && !c.l.Tidal:
			c.fail(k, coldseam.QCRate)
		case fall > rateDischarge, a > 0 && b > 0 && math.Pow(math.Max(a/b, b/a), 1/h) > rateDischarge:
			c.suspect(k, coldseam.QCRate)
		}
	}
}

// flat marks values from the moment the same one has stood too long. Water at
// the freezing point stands still by nature, and estimated values are filled.
// Daily means are rounded and few, so the water test leaves them alone.
func (c *checker) flat() {
	var fail, suspect time.Duration
	switch c.s.Param {
	case coldseam.WaterTemp:
		if c.daily {
			return
		}
		fail, suspect = flatWaterFail, flatWater
	case coldseam.Discharge, coldseam.Stage:
		suspect = flatFlow
	default:
		return
	}

	start := 0
	for k := range c.use {
		if k > 0 && (c.v(k) != c.v(k-1) || c.apart(k-1, k)) {
			start = k
		}
		d := c.at(k).Sub(c.at(start))
		exempt := c.obs(k).Flag&coldseam.Estimated != 0 || c.s.Param == coldseam.WaterTemp && c.v(k) >= iceMinC &&
			c.v(k) <= iceMaxC
		switch {
		case exempt:
		case fail > 0 && d >= fail && c.v(k) > flatWaterAboveC:
			c.fail(k, coldseam.QCFlat)
		case d >= suspect:
			c.suspect(k, coldseam.QCFlat)
		}
	}
}

// window lists the usable rows of the 24 h before (dir -1) or from k on.
func (c *checker) window(k, dir int) []int {
	var out []int
	j := k
	if dir < 0 {
		j = k - 1
	}
	for ; j >= 0 && j < len(c.use) && c.at(j).Sub(c.at(k)).Abs() < 24*time.Hour; j += dir {
		out = append(out, j)
	}
	return out
}

func (c *checker) medianOf(ks []int) float64 {
	x := make([]float64, len(ks))
	for i, k := range ks {
		x[i] = c.v(k)
	}
	return coldseam.Quantile(x, .5)
}

// frostBesideWarmWater: three days of hard frost and warm water do not go together.
func (c *checker) frostBesideWarmWater() {
	if c.s.Param != coldseam.WaterTemp || len(c.l.Air) == 0 {
		return
	}

	for k := range c.use {
		if c.v(k) <= warmInFrostC {
			continue
		}
		t := c.at(k)
		lo := sort.Search(len(c.l.Air), func(i int) bool { return !c.l.Air[i].At.Before(t.Add(-hardFrostSpan)) })
		hi := sort.Search(len(c.l.Air), func(i int) bool { return c.l.Air[i].At.After(t) })
		if hi-lo < 3 {
			continue
		}

		// Each value speaks for a step: three daily means cover three days.
		if span := c.l.Air[hi-1].At.Sub(c.l.Air[lo].At); span+span/time.Duration(hi-lo-1) < hardFrostSpan*3/4 {
			continue
		}

		cold := true
		for _, o := range c.l.Air[lo:hi] {
			cold = cold && o.Flag.Usable() && o.Value < hardFrostC
		}
		if cold {
			c.suspect(k, coldseam.QCRange)
		}
	}
}
