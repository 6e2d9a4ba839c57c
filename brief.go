package coldseam

import (
	"encoding/json"
	"time"
)

// Input is one thing the decision rests on, with its age at issue.
type Input struct {
	Key    string // discharge, stage, water_temp, weather, alerts, ice, season_rule
	Name   string `json:",omitempty"` // only in briefs stored before: the key has words
	Safety bool
	At     time.Time     // newest valid value; zero = none
	Age    time.Duration // at issue
	Limit  time.Duration
	State  string // good, stale, missing, failed, none, unverified, untrusted
	Note   Notes  `json:",omitempty"` // what was made of it
	// Doubt is why the newest readings are not trusted, and since when; without a
	// code they are.
	Doubt Reason `json:",omitzero"`
}

// Window is one candidate fishing window of the day with everything that
// belongs to it alone.
type Window struct {
	Start, End time.Time
	Odds       float64 // of a good morning; meaningful only when OddsOK
	OddsOK     bool
	WaterC     [3]float64 // p10, p50, p90 in the window
	FlowM3S    [3]float64
	AirC       *float64
	WindMS     *float64
	GustMS     *float64
	Thunder    *float64
	Sky        Sky `json:",omitzero"`
	Stops      []Reason
	Caps       []Reason   // what holds this window at TOSS-UP
	Cautions   []Reason   // of this window, by danger
	Spread     [2]float64 // p10, p90 of the members' odds
	HoldP      *float64   // P(the heaviest carried weight holds); nil = no sounding
	Tie        string     // trade size to tie on at the first spot, "" when withheld
	Why        string     // warmest = the warmest water of the day; "" = nothing to say
	Bands      []float64  // share of the members per band in the window; nil = not computed
	OddsKept   bool       `json:",omitempty"` // Odds are those of the last issue: they have hardly moved

	// Crafts holds what the limits of single crafts add; nil = none has its own.
	Crafts map[Craft]CraftWord `json:",omitempty"`
}

// Sky is what else the forecast says of a window; nil = it does not say.
type Sky struct {
	LaunchC, EndC *float64 // air
	RainMM        *float64 // within the window
	WindFromDeg   *float64 // where the strongest wind comes from
}

// Fact holds a forecast quantity as the brief prints it: now, and the fan at
// the best window.
type Fact struct {
	Now      float64
	NowOK    bool
	NowAt    time.Time
	Window   [3]float64 // p10, p50, p90 at the best window, SI
	WindowOK bool
	// of a flow for the date: much below, below, normal, above, much above; of a temperature the band key
	Class     string
	Years     int       // of record behind Class, 0 = no percentile word
	Pct       float64   // percentile for the date, 0-1; meaningful when Years > 0
	Trend     string    // rising_fast, rising, cresting, steady, easing, dropping; of a temperature warming, steady, cooling
	TrendTo   time.Time `json:",omitzero"` // to when; zero = from day to day
	ExceedMax float64   // P(flow above max_flow within the window + 6 h)
	RisePct6h float64   // last observed 6 h change, fraction
	RiseDay   float64   // observed change over the last day, fraction; 0 = none or not known

	// What the odds of high and rising water spoke of, so that they can be scored.
	RiseP     float64   // P(flow rises by more than RiseLimit within any 6 h from the issue to Until)
	RiseLimit float64   // fraction
	Until     time.Time // end of the window and what the stops look ahead; zero = no forecast
	Source    string
	Regulated bool
}

// Crossing is the distribution of the date on which a band edge is crossed
// for good.
type Crossing struct {
	EdgeC     float64
	Up        bool // spring; false = autumn
	Within3   float64
	Within7   float64
	Within10  float64
	Not       float64   // P(not within the horizon)
	Horizon   int       // days
	Dates     [3]Date   // p10, p50, p90 given that it crosses
	Confirmed bool      // five days are observed
	AtEdge    Date      // at the edge since; zero = not
	LowConf   bool      // frozen river or short record
	PerDay    []float64 // P(crossed and stays by day d), d = 1..Horizon
}

// SizeOdds is P(holds bottom) of one trade size.
type SizeOdds struct {
	Oz    float64
	Holds float64
}

// SpotJig is the weight advice for one spot in one window for one rig.
type SpotJig struct {
	SpotID, Spot string
	Kind         SpotKind
	DepthM       float64 // in the window; 0 = unknown
	SurfaceMS    float64
	ColumnMS     []float64 `json:",omitempty"` // speed at the surface and at each further fifth of the depth
	Presentation string
	Body, Line   string
	MinOz        float64 // physics alone at the median flow; 0 = none up to 1 oz
	TieOz        float64 // 0 = withheld
	PackOz       float64
	NextOz       float64 // "if you lose bottom"
	Holds        []SizeOdds
	// by members' float timings as well; Holds, which a word looks at, is without them
	TimedHolds  []SizeOdds `json:",omitempty"`
	TieHolds    float64
	Withheld    Reason // why no weight is named; no code = one is
	Warnings    []Reason
	AngleDeg    float64
	BowPct      float64
	SlackM      float64
	SinkS       float64
	LineLies    Reason `json:"LineWords,omitzero"` // angle, bow and slack of the line with the size tied on
	Leader      Reason // leader to use
	Costs       Notes  `json:"CostWords,omitempty"` // what thicker line or a bulkier body would cost
	Calibrated  bool
	Logs        int
	CriticalM3S []SizeFlow // flow at which each size stops holding
	Dunes       Reason     `json:",omitzero"` // state of a sand bed
	Why         Reason     `json:",omitzero"` // what the weight follows from: depth, speed, how they are known
	ModelLnSD   float64    // spread of ln weight that does not come from the flow; 0 = not computed

	// MayNeedOz are the lightest and the heaviest size that may be needed where the
	// current is guessed from the kind of spot; zero = timed or logged.
	MayNeedOz [2]float64 `json:",omitzero"`
}

// Headline is the spot whose weight is told first: the first one advised whose
// current is timed or logged, else the first; -1 without spots.
func Headline(spots []SpotJig) int {
	for i, j := range spots {
		if j.TieOz > 0 && j.MayNeedOz == [2]float64{} {
			return i
		}
	}
	return min(len(spots), 1) - 1
}

// UnmarshalJSON also reads spots that were stored with texts in two unit
// systems.
func (j *SpotJig) UnmarshalJSON(b []byte) error {
	type fields SpotJig
	stored := struct {
		*fields
		WithheldText, WithheldTextSI, LineWordsSI, DunesSI, WhySI string
	}{fields: (*fields)(j)}
	if err := json.Unmarshal(b, &stored); err != nil {
		return err
	}

	if code := j.Withheld.Text; code != "" && j.Withheld.Code == "" {
		j.Withheld = Reason{Code: code, Text: stored.WithheldText, TextSI: stored.WithheldTextSI}
	}
	for r, si := range map[*Reason]string{&j.LineLies: stored.LineWordsSI, &j.Dunes: stored.DunesSI,
		&j.Why: stored.WhySI} {
		if si != "" {
			r.TextSI = si
		}
	}

	return nil
}

// SizeFlow is the discharge at which a trade size stops holding.
type SizeFlow struct {
	Oz     float64
	M3S    float64 // 0 = it holds nowhere in the measured range
	Beyond bool    // it still holds at M3S, the end of the measured range
}

// WaveRule is the number of the rule by which a day is called a wave: 2 = more
// than twice the daily fish of the week before. 1 was a fixed share of the run.
// Odds by different rules are never scored together.
const WaveRule = 2

// AdviceWay is one way to fish: the words of an advice row and its numbers.
type AdviceWay struct {
	Action, Hook string
	Cadence      string     // {lift} and {pause} stand for the ranges
	LiftM        [2]float64 // 0, 0 = none, as below
	PauseS       [2]float64
	LeaderLB     [2]float64 // test, the trade's unit everywhere
	LeaderM      [2]float64
}

// Advice is how to fish: one row of the advice table after its modifiers.
type Advice struct {
	Band, FlowClass, Stage string
	AdviceWay
	Tail, Verb    string      // of the HOW line
	Colour        string      // colour_loud, colour_pale, colour_either, colour_by_clarity
	ClaritySource string      // turbidity (of the gauge), member (today), unknown
	Bait          string      // minnow, a natural sweetener; "" where the rule does not allow it or is unchecked
	Body          string      // one of the rig's bodies
	Where         []string    // spot kinds or classes, first = first
	Others        []AdviceWay `json:",omitempty"` // other rows that fit
	Notes         Notes
	Row           string // id of the row that won

	Place PlaceMemory `json:",omitzero"` // why Where begins as it does

	// The words of briefs stored before they were data, in both unit systems.
	Line, LineSI, CadenceSI, Leader, LeaderSI string   `json:",omitempty"`
	Alternatives                              []string `json:",omitempty"`
}

// PlaceMemory is the place, the band and the conditions that the advice keeps to,
// so that they do not change from one day to the next and back.
type PlaceMemory struct {
	Told   string // kind or class of spot that is advised first
	Since  Date   // the first morning it was
	Wanted string // what the rules of the last morning alone named; "" = none

	Band       string `json:",omitempty"` // that is told
	BandWanted string `json:",omitempty"` // that of the last morning's water

	Flow  string `json:",omitempty"` // class that is told; "" = not known
	Trend string `json:",omitempty"` // rising or falling; "" = neither
}

// DayOdds is the outlook of one later day.
type DayOdds struct {
	Day     Date
	Odds    float64
	OddsOK  bool
	PWave   float64
	WaveOK  bool
	WaterC  [3]float64
	FlowM3S [3]float64
	Bands   []float64 // share per band, same order as the club's bands
	Verdict Verdict   // by odds and forecast stops, for the weekend outlook
	Note    string    // over_limit, over_craft_limit: what the flow passes; "" = nothing to say
}

// farDays is the lead from which more than half of a day's odds is the base rate and
// not that day's own forecast, see the fading in forecast/odds.go [proposal].
const farDays = 6

// TooFar reports whether d lies too far ahead for odds of its own.
func (b Brief) TooFar(d DayOdds) bool { return d.Day.Sub(b.Day) >= farDays }

// Brief is what is told about one reach on one day, by the club's default
// preferences. Mail, page, calendar and SQL all show this one value. See
// forecast/verdict for the personal form.
type Brief struct {
	ID                       int64
	Seal                     string `json:",omitempty"` // of the chain up to this brief, hexadecimal
	Reach                    ReachID
	River                    string
	ReachName                string
	Site                     SiteID
	SiteName                 string
	Zone                     string
	Day                      Date
	Issued                   time.Time
	GoodUntil                time.Time
	DaylightFrom, DaylightTo time.Time
	FirstLight               time.Time `json:",omitzero"`  // civil dawn
	CurrentDeg               *float64  `json:",omitempty"` // where the reach runs to, from north clockwise

	Verdict    Verdict
	Odds       float64 // of a good morning in the best window; meaningful only when OddsOK
	OddsOK     bool
	OddsNote   Reason     `json:",omitzero"` // what the odds rest on
	Spread     [2]float64 // p10, p90 of the members' odds
	Rank       Rank       `json:",omitzero"` // what the odds are held against
	Cost       float64    // of a wasted trip against a good one, of the reader
	Margin     float64    `json:",omitzero"` // between the cost and the odds of GO
	HoldP      float64    // P(the heaviest carried weight holds)
	Stops      []Reason   // safety first, then legal
	Reasons    []Reason   // the rest, ordered: missing, caps, odds, notes
	Cautions   []Reason   // by danger, none dropped
	Hazards    []string
	Surveyed   bool   // hazards surveyed
	Launch     Launch `json:",omitzero"`
	WindowI    int    // index of the best window, -1 = none
	Windows    []Window
	Begun      []Window `json:",omitempty"` // windows under way, judged for stops alone
	Flow       Fact
	Stage      Fact
	Temp       Fact
	Crossings  []Crossing
	Jig        []SpotJig       // advised spot first
	Weighing   json.RawMessage `json:",omitempty"` // what weights rest on apart from the rig: forecast.OwnJig
	Run        RunState
	How        Advice
	Next       []DayOdds
	Sure       string // high, medium, low
	SureBy     Reason `json:",omitzero"`  // what Sure follows from
	SureWhy    string `json:",omitempty"` // its words in briefs stored before it was data
	Inputs     []Input
	Ice        Reason // the state of ice, since when and why
	Rules      []Rule
	Life       Reason `json:",omitzero"`  // the fixed life-jacket line; no code = water above 60 F
	LifeLine   string `json:",omitempty"` // its words in briefs stored before it was data
	LifeLineSI string `json:",omitempty"`
	Sources    []Attribution
	Replay     bool     // made for a past morning from revised data
	ReplayOdds Reason   `json:",omitzero"` // what the odds alone would have said
	Changed    Reason   `json:",omitzero"` // since an earlier brief of the day; no code = none said another word
	Since      Reason   `json:",omitzero"` // what stood in the morning's brief of the day before; no code = there was none
	Bands      []Band   // the club's bands; nil = DefaultBands
	Measure    []Reason // what to measure next, by how much it would narrow tomorrow's weight

	FlowLimits FlowLimits `json:",omitzero"`

	// Place is what the next morning keeps to, PlaceBefore what this one kept to.
	Place       PlaceMemory `json:",omitzero"`
	PlaceBefore PlaceMemory `json:",omitzero"`

	Chart ChartData
}

// BandRows returns the bands that the brief was made with.
func (b Brief) BandRows() []Band {
	if len(b.Bands) == 0 {
		return DefaultBands
	}
	return b.Bands
}

// Best returns the best window.
func (b Brief) Best() (Window, bool) {
	if b.WindowI < 0 || b.WindowI >= len(b.Windows) {
		return Window{}, false
	}
	return b.Windows[b.WindowI], true
}

// Attribution names a data agency and the text its licence asks for.
type Attribution struct {
	Provider, Name, Licence, Text, Link string
}

// ChartData is what the fan charts draw, so that mail and page need no
// database. Times are UTC.
type ChartData struct {
	FlowObs, TempObs []Point
	Valid            []time.Time  // forecast steps
	FlowFan, TempFan [][5]float64 // p10, p25, p50, p75, p90 a step
	Windows          [][2]time.Time
	FlowLimitM3S     float64 // the club's limit, 0 = none
}

// Point is a measured value; Gap = true begins a new stroke.
type Point struct {
	At  time.Time
	V   float64
	Gap bool `json:",omitempty"`
}
