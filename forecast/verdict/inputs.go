package verdict

import (
	"math"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/trust"
)

// Inputs is everything one decision rests on, as plain values known at Now.
type Inputs struct {
	Now     time.Time
	Day     coldseam.Date  // the local civil day of the morning
	Loc     *time.Location // of the reach; nil = UTC
	Reach   coldseam.Reach
	Species string // decided on; "" = the reach's first
	Table   Table  // start from DefaultTable

	Gauge    Gauge
	Alerts   Alerts
	Weather  Weather
	Official Official
	Climate  Climate // of the flow around Day
	Season   SeasonFlow
	Ice      ice.Status
	Bank     []coldseam.BankWord // what members saw today, newest first

	// WaterModel says that a fitted water temperature model stands behind the
	// forecast, so that a silent thermometer caps instead of ending the odds.
	WaterModel bool
	// Failed is why the forecast run failed, "" = it did not.
	Failed     string
	Candidates []Candidate
	Begun      []Candidate     // windows under way: judged for stops alone
	OddsNote   coldseam.Reason // what the odds rest on
	// ReleasePlan says that a release schedule or agency forecast is fed; a
	// regulated reach without one is capped.
	ReleasePlan bool
	// DamOffCycle: the flow leaves the stated daily cycle of a hydropower
	// reach. With Reach.DamCycle set, stop 5 judges this instead of the rise.
	DamOffCycle bool
	Sun         Sun
	Clarity     string // today's word: clear, stained, muddy; "" unknown
	Cost        float64
	Prev        *Previous
	Rank        coldseam.Rank // zero = odds against the club's line alone

	risen   risen                                 // set by Decide
	trust   trust.State                           // of the gauge, judged once
	kept    struct{ stop, bad []coldseam.Reason } // a stop of the last day that nothing lifts yet
	invalid []coldseam.Reason                     // limits of the reach that are no number
}

// Previous is the last issue for the same reach.
type Previous struct {
	Day     coldseam.Date
	Windows []coldseam.Window
}

// Gauge holds the newest observations, ascending in time, at least the last
// 48 h where they exist. Rows with the Missing flag must be kept: an ice
// qualifier often comes that way.
type Gauge struct {
	Discharge, Stage, Water, Turbidity []coldseam.Observation
	DailyOnly                          bool
	// the daily means are those of an archive: replays alone, see forecast.Inputs
	Archived bool

	History   trust.History // of the station; zero = what the readings above hold
	Witness   trust.Witness
	Confirmed []coldseam.Confirmation // by the admin
}

// Alerts is the state of the warning feed: At is its last good fetch, List the
// alerts matched to the reach by gauge code, zone or shape.
type Alerts struct {
	At   time.Time // zero = never
	List []coldseam.Alert
	// Gaps is what the last reading of the feed lacked.
	Gaps []coldseam.FeedGap
	// Rules say which events of a provider mean what; they stand before the
	// shipped ones.
	Rules []AlertRule
}

// Candidate is one fishing window of the day, 3-4 h long. The member slices
// share one order.
type Candidate struct {
	Start, End time.Time
	WaterC     []float64 // members, mean in the window
	FlowM3S    []float64 // members, highest in the window
	// AfterM3S is the members' highest flow from Start to End + Table.AfterH.
	AfterM3S []float64
	// RiseShare and RiseM are the members' greatest 6 h rise of flow (fraction)
	// and stage (m) from now to End + AfterH. RiseShare is a safety input; RiseM
	// may be nil.
	RiseShare, RiseM []float64
	// PFlood is P(stage >= minor flood) from now to End + AfterH; nil = no stage
	// forecast.
	PFlood *float64
	// PGood holds the odds of a good morning of every member, see Learnt.Odds.
	PGood []float64
	// SpotProved: the log has lines of what held at the first spot.
	SpotProved bool
	// HoldP is P(the heaviest weight carried holds); nil = no sounding.
	HoldP     *float64
	NoneHolds bool // no size in the club's range holds at the median flow
	Tie       string
	Why       string // "warmest water of the day"

	stageInvalid bool // the stage forecast was no number; set by Decide
}

func (in *Inputs) loc() *time.Location {
	if in.Loc == nil {
		return time.UTC
	}
	return in.Loc
}

func (in *Inputs) species() string {
	if in.Species != "" || len(in.Reach.Species) == 0 {
		return in.Species
	}
	return in.Reach.Species[0]
}

func (in *Inputs) cost() float64 {
	if in.Cost > 0 {
		return min(max(in.Cost, 0.2), 0.7)
	}
	return in.Table.Cost
}

func (in *Inputs) line() coldseam.Line { return in.Rank.Line(in.cost(), in.Table.Margin) }

// sane drops what lies in the future of Now: a clock fault of a feed must not
// make old data look fresh. Five minutes are allowed.
func (in *Inputs) sane() {
	g := &in.Gauge
	for _, s := range []*[]coldseam.Observation{&g.Discharge, &g.Stage, &g.Water, &g.Turbidity} {
		n := len(*s)
		for n > 0 && (*s)[n-1].At.After(in.Now.Add(5*time.Minute)) {
			n--
		}
		*s = (*s)[:n]
	}
	in.Weather.sorted()
	if in.Table.GaugeAgeH == 0 {
		in.Table = DefaultTable()
	}
	in.guard()
	in.judgeGauge()
	in.keepStop()
}

// newest is the newest usable row.
func newest(obs []coldseam.Observation) (coldseam.Observation, bool) {
	for i := len(obs) - 1; i >= 0; i-- {
		if obs[i].Flag.Usable() && !math.IsNaN(obs[i].Value) {
			return obs[i], true
		}
	}
	return coldseam.Observation{}, false
}

// WaterTodayH is the greatest age in hours of a reading that is told as today's
// water [proposal]: a gauge that reports once a day stays within it. Older or
// missing water counts as cold.
const WaterTodayH = 30

// waterNow is the newest usable water temperature; ok is false when it is too old
// to be told as today's.
func (in *Inputs) waterNow() (o coldseam.Observation, ok bool) {
	o, ok = newest(in.Gauge.Water)
	return o, ok && in.Now.Sub(o.At) <= hours(WaterTodayH)
}

// rise is the greatest rise above the lowest usable value of the last h hours
// before the newest: a pulse that came and went within the span still counts
// from its foot to now.
func rise(obs []coldseam.Observation, h float64) (from, to float64, ok bool) {
	now, ok := newest(obs)
	if !ok {
		return 0, 0, false
	}
	low, n := now.Value, 0
	for _, o := range obs {
		if o.Flag.Usable() && !o.At.Before(now.At.Add(-hours(h))) && o.At.Before(now.At) {
			low, n = min(low, o.Value), n+1
		}
	}
	return low, now.Value, n > 0
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }
