package trust

import (
	"math"
	"slices"
	"time"

	"example.org/coldseam"
)

// The codes of doubt: why a reading is not trusted, or a stop is kept.
const (
	Flagged       = "flagged"         // a flag of the agency or of quality control
	FallTooSteep  = "fall_too_steep"  // fell faster than this river can
	Alternating   = "alternating"     // jumps up and down
	Stuck         = "stuck"           // one value longer than this station ever showed
	Frozen        = "frozen"          // flow, stage and water stand still together
	StillInRain   = "still_in_rain"   // flow and stage stand still though a witness moves
	OffRelation   = "off_relation"    // flow and stage do not go together
	UnitSlip      = "unit_slip"       // a step by the ratio of two units
	TooFew        = "too_few"         // too few unflagged readings running since the stop
	RelationBlind = "relation_unseen" // the stage lies outside the record of pairs
	Still         = "still"           // nothing has changed for 2 h
	Creep         = "creep"           // the fall since the peak is faster than a recession
)

// doubtful are the flags with which a reading may lift nothing and carry no
// word. Provisional and approved are states; estimated carries a word but
// lifts nothing; ice is the ice latch's matter and lifts nothing either.
const (
	doubtful  = coldseam.Equipment | coldseam.Missing | coldseam.Suspect | coldseam.Bad | coldseam.QCFlags
	liftsNone = doubtful | coldseam.Estimated | coldseam.Ice
)

// Input is one gauge at one moment. Rows are in ascending time and reach back
// seven days where they exist; rows without a value are kept.
type Input struct {
	Now                time.Time
	Flow, Stage, Water []coldseam.Observation
	History            History
	Witness            Witness
	// Confirmed are spans in which the admin has looked at the readings and
	// stands for them: no test speaks against them.
	Confirmed []coldseam.Confirmation
	// Strict is for flashy and regulated reaches: 12 readings over 6 h and a
	// slower fall lift a stop.
	Strict bool
	// Daily gauges send means of days: tests of steps and runs are left out.
	Daily bool
}

// Witness is what else would have moved the river.
type Witness struct {
	RainMM *float64 // of the last 24 h; nil = not known
	Thaw   *bool    // snow or ice is melting; nil = not known
	Near   []Near   // upstream and neighbour gauges
}

// Near are the readings of a gauge upstream or nearby, in ascending time.
type Near struct {
	Param coldseam.Parameter // discharge, or stage where it has none
	Obs   []coldseam.Observation
}

// wet reports whether rain or thaw must have moved the river.
func (w Witness) wet() bool {
	return w.RainMM != nil && *w.RainMM >= WitnessRainMM || w.Thaw != nil && *w.Thaw
}

// moving looks whether another gauge moved between two times. seen is false
// where none covers at least half of the span: nobody knows then.
func (w Witness) moving(from, to time.Time) (moved, seen bool) {
	for _, n := range w.Near {
		scale, least := lnFlow, reversalLn
		if n.Param == coldseam.Stage {
			scale, least = plain, reversalM
		}

		obs := slices.DeleteFunc(valued(after(upTo(n.Obs, to), from.Add(-1))), func(o coldseam.Observation) bool {
			return o.Flag&doubtful != 0
		})
		if len(obs) < 2 {
			continue
		}
		seen = seen || 2*obs[len(obs)-1].At.Sub(obs[0].At) >= to.Sub(from)
		low, high := math.Inf(1), math.Inf(-1)
		for _, o := range obs {
			low, high = min(low, scale(o.Value)), max(high, scale(o.Value))
		}
		moved = moved || high-low > least
	}

	return moved, seen || moved
}

// Standing reports whether the newest flow has stood for three hours: only then
// does Judge ask a witness.
func Standing(flow []coldseam.Observation, now time.Time) bool {
	obs := valued(upTo(flow, now.Add(clockSlack)))
	for k := len(obs) - 1; k >= 0 && obs[k].Value == obs[len(obs)-1].Value; k-- {
		if obs[len(obs)-1].At.Sub(obs[k].At) >= stillLeast {
			return true
		}
	}
	return false
}

// Doubt is why something is not believed, and since when. The zero value is no
// doubt.
type Doubt struct {
	Code  string
	Since time.Time
	Flag  coldseam.Flag // the flags of a Flagged reading
}

// Quantity is the judgement of one quantity.
type Quantity struct {
	Newest  coldseam.Observation // newest row with a value, usable or not
	Any     bool                 // Newest is there
	Trusted coldseam.Observation // newest trusted row
	Known   bool                 // Trusted is there
	Doubt   Doubt                // of Newest; zero = it is trusted

	rows  []coldseam.Observation // of the days judged, with and without value
	why   []string               // of each row; "" = trusted
	sure  []bool                 // of each row: confirmed by the admin
	val   []int                  // the rows with a value
	scale func(float64) float64  // ln for flow
}

// State is the judgement of a gauge.
type State struct {
	Flow, Stage, Water Quantity
	// Lift is why a stop that the gauge gave in the last 24 h must be kept; the
	// zero value lets it be lifted, if no reading fires one now.
	Lift Doubt
	// Unchanged is since when flow and stage stand still to the digit for
	// longer than is usual here while neither rain nor another gauge is known:
	// GO is not possible then. Zero = they move, or a witness sees no reason to.
	Unchanged time.Time
}

// Limits of the tests [proposal], see the package's own words.
const (
	judged = 7 * 24 * time.Hour // how far back readings are looked at

	fallLn, fallM    = .5, .25 // within one step
	ownFallMost      = 1.25    // times the station's own greatest
	recessionLnPerH  = .12
	recessionMPerH   = .06
	fallWindow       = 24 * time.Hour
	collapseLn       = .22 // of a rise
	collapseM        = .08
	collapseShare    = .7 // of the rise, gone in one step
	collapseStep     = 2 * time.Hour
	spikeLn, spikeM  = .1, .04 // a reading alone above neighbours this near to each other is a spike
	reversalLn       = .0953   // ln 1.10
	reversalM        = .04
	reversalC        = 1.
	reversals        = 3
	reversalReadings = 8
	stuckOwn         = 1.2 // times the station's own longest run
	frozenReadings   = 4
	frozenWaterC     = .3 // at the freezing point water stands still by nature
	// WitnessRainMM is the rain of a day that must move a river.
	WitnessRainMM  = 10.
	stillLeast     = 3 * time.Hour
	unitTolerance  = .10
	unitWindow     = 24 * time.Hour
	stopWindow     = 24 * time.Hour
	liftStill      = 2 * time.Hour
	liftFallLn     = .1
	liftFallM      = .05
	liftFallMPerLn = .5 // m of stage for one of ln flow, where a gauge has no flow
)

// lifting is what a stop asks of the readings after it.
type lifting struct {
	readings int
	span     time.Duration
	lnPerH   float64
}

var (
	liftPlain  = lifting{readings: 6, span: 3 * time.Hour, lnPerH: .10}
	liftStrict = lifting{readings: 12, span: 6 * time.Hour, lnPerH: .07}
)

// Judge looks at one gauge. It never panics on missing data: without readings
// nothing is trusted and nothing may be lifted.
func Judge(in Input) State {
	flow := newQuantity(in, coldseam.Discharge, in.Flow)
	stage := newQuantity(in, coldseam.Stage, in.Stage)
	water := newQuantity(in, coldseam.WaterTemp, in.Water)

	var s State
	if !in.Daily {
		h := in.History
		flow.falls(max(fallLn, ownFallMost*h.FlowFall), recessionLnPerH, spikeLn)
		stage.falls(max(fallM, ownFallMost*h.StageFallM), recessionMPerH, spikeM)
		flow.collapses(collapseLn, h.FlowFall, recessionLnPerH, spikeLn)
		stage.collapses(collapseM, h.StageFallM, recessionMPerH, spikeM)
		flow.alternates(reversalLn)
		stage.alternates(reversalM)
		water.alternates(reversalC)

		flow.stuck(h, h.FlowRun)
		stage.stuck(h, h.StageRun)
		in.frozen(flow, stage, water)
		s.Unchanged = in.still(flow, stage)
	}
	flow.unitSlip(judged, times(1/coldseam.CubicMPerCFS), times(coldseam.CubicMPerCFS))
	stage.unitSlip(unitWindow, times(1/coldseam.MetrePerFoot), times(coldseam.MetrePerFoot))
	water.unitSlip(unitWindow, coldseam.F, coldseam.C)
	in.relation(flow, stage)

	for _, q := range []*Quantity{flow, stage, water} {
		q.conclude()
	}
	s.Lift = in.lift(flow, stage)
	s.Flow, s.Stage, s.Water = *flow, *stage, *water
	return s
}

func times(f float64) func(float64) float64 { return func(v float64) float64 { return v * f } }

// MayLift reports whether a stop of the last 24 h may be lifted. Of the zero
// State nothing may.
func (s State) MayLift() bool { return s.Lift.Code == "" && (s.Flow.Known || s.Stage.Known) }
