package coldseam

import "time"

// SiteID names a gauge as "provider:code", both as the agency spells them.
type SiteID string

// Site is a gauge.
type Site struct {
	ID          SiteID
	Provider    string // the profile that serves it
	Code        string // the agency's station code
	Name        string
	Zone        string // IANA zone, for display, civil days and zone-less stamps
	Lat, Lon    float64
	DatumM      *float64
	DrainageKM2 *float64
	Tidal       bool // negative discharge is genuine
	DailyOnly   bool // reports once a day: can never be GO
}

// ReachID names a stretch of river that the club fishes.
type ReachID string

// Reach is a stretch of river with its gauge, its spots and what the admin
// knows about it. Everything a decision needs beyond feeds is here.
type Reach struct {
	ID     ReachID
	River  string // "Tamsen"
	Name   string // "Bend reach"
	Site   SiteID // the gauge that stands for it
	Zone   string // IANA
	Lat    float64
	Lon    float64
	Season string // words for the club's usual season, may be empty

	UpstreamSites []SiteID // for routing, nearest first
	GaugeKM       float64  // river distance from gauge to reach, downstream positive
	TempSite      SiteID   // where the gauge has no thermometer: the neighbour that has one
	CountSite     SiteID   `json:",omitempty"` // a fish counter on the river: leads the odds of a wave, gauges nothing
	AirSite       SiteID   // daily air temperature on record; "" = the gauge itself
	WeatherSite   SiteID   // the point whose weather forecast counts
	AgencySite    SiteID   // the point whose discharge forecast or release schedule counts; "" = the gauge itself
	// the point whose official stage forecast and flood stages count; "" = none is fed
	StageSite SiteID  `json:",omitempty"`
	AlertFeed string  // profile of the official warnings
	DriveKM   float64 // of a usual trip there and back; 0 = not known
	Regulated bool    // flow set by dam releases
	DamCycle  string  // the usual daily cycle, with reason and date; empty = none stated

	GaugeCode  string   // code used in H-VTEC and CAP event codes
	AlertZones []string // geocodes (UGC, SAME, EMMA_ID ...)
	// ceiling, that of a boat; required for any verdict but NO CALL when the record is under 10 years
	MaxFlowM3S *float64
	MaxFlowWhy string
	// MaxFlowProposed: the limit is the program's proposal and no person has
	// confirmed it. It stops all the same, and GO is capped.
	MaxFlowProposed bool         `json:",omitempty"`
	CraftLimits     []CraftLimit `json:",omitempty"` // confirmed, of crafts other than the boat
	FloodStageM     *float64     // minor flood stage
	ActionStage     *float64     // m

	CurrentDeg *float64 `json:",omitempty"` // where the current runs to, from north clockwise; nil = not given
	Launch     Launch   `json:",omitzero"`

	HazardsSurveyed bool
	Hazards         []string // low-head dam, strainers, shelf ice ...
	// LeaveMark is the admin's own landmark at which to leave a rising river; it is
	// never computed, and a regulated reach has none.
	LeaveMark     string           `json:",omitempty"`
	Siren         string           `json:",omitempty"` // what the siren of the dam means here
	Emergency     []EmergencyPoint `json:",omitempty"`
	Species       []string         // keys of species rows; first = the run that is shown
	ResidentShare float64          // fish that are there at all times, 0-1 of the run
	TargetRate    float64          // fish per line hour of a good morning; 0 = club default
	Spots         []Spot
	Rules         []Rule
}

// EmergencyPoint is a place where help can reach the river.
type EmergencyPoint struct {
	What     string
	Lat, Lon float64 // 0, 0 = not given
}

// Launch is how to get to the water of a reach, as the admin marked it.
type Launch struct {
	Text     string   // name and kind of ramp
	Access   string   `json:",omitempty"` // the way there, gate hours
	Parking  string   `json:",omitempty"`
	Lat, Lon float64  `json:",omitzero"`  // 0, 0 = no point given
	DrownsM  *float64 `json:",omitempty"` // stage at the gauge at which the ramp is under water; nil = not marked
}

// SpotKind is the kind of place, which sets the default velocity ratio.
type SpotKind string

// The kinds of spot.
const (
	SpotHole    SpotKind = "hole"
	SpotSeam    SpotKind = "seam"
	SpotSlack   SpotKind = "slack"
	SpotDunes   SpotKind = "dunes"
	SpotShallow SpotKind = "shallow"
	SpotMain    SpotKind = "main"
)

// KindOfClass is the kind of spot that gives the weight at each location class of
// the advice rows.
var KindOfClass = map[string]SpotKind{
	"bend_hole_deep":  SpotHole,
	"hole_head":       SpotHole,
	"hole_tail":       SpotHole,
	"current_seam":    SpotSeam,
	"slack_pocket":    SpotSlack,
	"bank_eddy":       SpotSlack,
	"sand_dune_field": SpotDunes,
	"rock_shallow":    SpotShallow,
	"wood_shallow":    SpotShallow,
	"tailwater_apron": SpotMain,
	"tributary_mouth": SpotMain,
}

// Spot is a place within a reach. Its depth is never guessed: DepthRefM nil
// withholds the weight.
type Spot struct {
	ID        string
	Name      string // "main seam"
	Kind      SpotKind
	Class     string   // location class of the advice rows, such as bend_hole_deep
	DepthRefM *float64 // sounding
	Sounded   Date
	StageRefM *float64 // stage on the day of the sounding, from the stored series when nil
	FlowRef   *float64 // m3/s on the day of the sounding
	StageGain float64  // depth change per stage change; 0 = 1
	Bed       string   // sand, gravel, rock, "" unknown
	D50M      float64  // grain size, 0 = default 0.4 mm
	Profile   float64  // exponent of the vertical profile; 0 = 1/6
	Snags     bool
	FloatMS   *float64 // surface speed by float timing, mean of the floats
	FloatOn   Date
	FloatFlow *float64 // m3/s at the timing, from the stored series when nil
	FloatN    int
	FloatWind string
}

// RuleKind is the matter of a jurisdiction rule.
type RuleKind string

// The kinds of rule.
const (
	RuleSeason     RuleKind = "season"      // open or closed dates of a species or the reach
	RuleBait       RuleKind = "bait"        // natural bait allowed or not
	RuleLifeJacket RuleKind = "life_jacket" // local life-jacket law
)

// Rule is a row of local law, entered and re-checked by a person. It is never
// code: without a rule checked within a year the season is not verified.
type Rule struct {
	Kind      RuleKind
	Species   string // "" = the whole reach
	Closed    []DayRange
	Allowed   bool // for bait rules
	Text      string
	Link      string
	CheckedOn Date
	CheckedBy string // a role, never an address
}

// DayRange is a span of days of the year, both ends included; it may wrap
// over the new year.
type DayRange struct {
	FromMonth time.Month
	FromDay   int
	ToMonth   time.Month
	ToDay     int
}

// Contains reports whether d falls into r.
func (r DayRange) Contains(d Date) bool {
	k := int(d.Month)*100 + d.Day
	a, b := int(r.FromMonth)*100+r.FromDay, int(r.ToMonth)*100+r.ToDay
	if a <= b {
		return a <= k && k <= b
	}
	return k >= a || k <= b
}
