package verdict

import (
	"maps"
	"math"
	"slices"
	"sort"

	"example.org/coldseam"
	"example.org/coldseam/forecast/run"
)

// DefaultTarget is a good morning's rate in fish a line hour until the club
// has logged enough of its own [proposal].
const DefaultTarget = 0.5

// DefaultLineHours is the effort of a morning, one line for four hours
// [proposal].
const DefaultLineHours = 4

// quartiles of the fishable index over a season's days with 5-95 % arrived,
// until the river's own hindcast exists: those of the run alone [reference
// calculation: 63 modelled lake springs times 6 noise paths] and the default
// resident share, so that an index incl. residents falls into its own quarter.
var quartiles = [3]float64{.174 + run.DefaultResident, .341 + run.DefaultResident, .450 + run.DefaultResident}

// quarterOdds is P(a good morning) in the four quarters of the index while
// there is no log [proposal].
var quarterOdds = [4]float64{.20, .35, .50, .60}

// Catch is how the fishable index turns into a good morning.
type Catch struct {
	// Q and W are the catchability in fish a line hour at index 1, as points
	// with weights that sum to 1; both empty = no log yet, and the odds come
	// from the quarters of the index.
	Q, W []float64
	// By holds W for each trajectory, where the log taught index and
	// catchability together; nil = W for all.
	By         [][]float64
	K          float64    // size of the negative binomial; 0 = 1.2
	Target     float64    // fish a line hour of a good morning; 0 = DefaultTarget
	LineHours  float64    // 0 = DefaultLineHours
	Trips      int        // behind Q
	Quartiles  [3]float64 // the river's own; zero = the shipped ones
	Calibrated bool
}

// CatchFrom joins what the log taught with the run of the morning: every
// trajectory keeps its own catchability, as a run with few fish goes with a
// high one. own are the river's own quartiles, used while there is no log. l
// may be nil.
func CatchFrom(l *run.Learnt, r run.Result, own [3]float64, target, lineHours float64) Catch {
	c := Catch{Target: target, LineHours: lineHours, Quartiles: own}
	if l == nil || l.Trips == 0 {
		return c
	}
	c.Q = run.QGrid()
	c.W, c.K = l.Catch()
	c.By, c.Trips = r.QWeights, l.Trips
	c.Calibrated = l.Trips >= CalibratedTrips
	return c
}

// CalibratedTrips is how many logged trips of a season drop the word
// "uncalibrated" from the odds [proposal].
const CalibratedTrips = 10

// Factors scale the index in one window. Zero means 1. All but Hold are table
// rows kept within .3-1.1; they stay 1 until the club sets or fits them
// [proposal].
type Factors struct {
	Flow, Clarity, TempDrop, Window float64
	Hold                            float64 // P(the heaviest weight carried holds); applies on every path
	HoldOK                          bool    // false = not known: 1, and the verdict is capped
}

// Product is the fish factor.
func (f Factors) Product() float64 {
	p := 1.0
	for _, x := range []float64{f.Flow, f.Clarity, f.TempDrop, f.Window} {
		if x != 0 && !math.IsNaN(x) {
			p *= min(max(x, .3), 1.1)
		}
	}
	if f.HoldOK {
		p *= min(max(f.Hold, 0), 1)
	}
	return p
}

// GoodOdds is the odds of a good morning on every trajectory, whose fishable
// index incl. the resident share is index:
//
//	mu     = line hours * q * N * factor
//	p_good = P(NegBin(mu, k) >= ceil(target rate * line hours))
//
// without a log the quarter of N * factor gives it. note is what to print
// beside the odds.
func GoodOdds(index []float64, c Catch, f Factors) (p []float64, note coldseam.Reason) {
	p = make([]float64, len(index))
	scale := f.Product()
	if len(c.Q) == 0 {
		q := c.Quartiles
		if q == ([3]float64{}) {
			q = quartiles
		}
		for i, n := range index {
			p[i] = quarterOdds[sort.Search(3, func(k int) bool { return n*scale < q[k] })]
		}
		return p, restsOn(0, false)
	}

	h, need, k := c.effort()
	for i, n := range index {
		w := c.W
		if i < len(c.By) {
			w = c.By[i]
		}
		for j, q := range c.Q {
			p[i] += w[j] * NegBinAtLeast(need, h*q*n*scale, k)
		}
		p[i] = min(p[i], 1)
	}

	return p, restsOn(c.Trips, c.Calibrated)
}

// restsOn says how many logged trips stand behind odds.
func restsOn(trips int, calibrated bool) coldseam.Reason {
	r := because(KindNote, "odds_trips", "", map[string]float64{"log_trips": float64(trips)})
	switch {
	case calibrated:
	case trips > 0:
		r.Code = "odds_few_trips"
	default:
		r.Code, r.Values = "odds_uncalibrated", nil
	}
	return r
}

func (c Catch) effort() (hours float64, need int, k float64) {
	hours, target, k := c.LineHours, c.Target, c.K
	if hours <= 0 {
		hours = DefaultLineHours
	}
	if target <= 0 {
		target = DefaultTarget
	}
	if k <= 0 {
		k = 1.2
	}
	return hours, int(math.Ceil(target*hours - 1e-9)), k
}

// NegBinAtLeast is P(Y >= m) for a negative binomial of mean mu and size k:
// catches are more spread than a Poisson count.
func NegBinAtLeast(m int, mu, k float64) float64 {
	if m <= 0 {
		return 1
	}
	if !(mu > 0) {
		return 0
	}
	p := math.Exp(-k * math.Log1p(mu/k)) // P(0)
	sum := p
	r := mu / (mu + k)
	for y := 1; y < m; y++ {
		p *= (float64(y) - 1 + k) / float64(y) * r
		sum += p
	}
	return max(0, 1-sum)
}

// TargetRate is the club's own good morning: the 60th percentile of its logged
// daily rates in fish a line hour, ok from ten days on [proposal].
func TargetRate(trips []coldseam.Trip) (rate float64, ok bool) { return TargetOf(DailyRates(trips)) }

// TargetOf is TargetRate of daily rates.
func TargetOf(daily map[coldseam.Date]float64) (rate float64, ok bool) {
	if len(daily) < 10 {
		return 0, false
	}
	return coldseam.Quantile(slices.Collect(maps.Values(daily)), .6), true
}

// DailyRates are the fish a line hour of the days fished.
func DailyRates(trips []coldseam.Trip) map[coldseam.Date]float64 {
	fish, effort := map[coldseam.Date]float64{}, map[coldseam.Date]float64{}
	for _, t := range trips {
		if t.WentNot || t.Hours <= 0 {
			continue
		}
		fish[t.Date] += float64(t.Fish)
		effort[t.Date] += LineHours(t)
	}
	for d, h := range effort {
		fish[d] /= h
	}
	return fish
}

// LineHours is the effort of a trip. A line without hours counts none; an
// unstated number of lines is one an angler, unstated anglers are one.
func LineHours(t coldseam.Trip) float64 {
	lines := t.Lines
	if lines <= 0 {
		lines = max(t.Anglers, 1)
	}
	return t.Hours * float64(lines)
}
