package coldseam

// Craft is what an angler stands or floats in. Each has its own flow limit.
type Craft string

// The crafts. What a boat cannot do, none of the others can.
const (
	CraftWade      Craft = "wade"
	CraftTube      Craft = "tube" // float tube or kayak
	CraftSmallBoat Craft = "small_boat"
	CraftBoat      Craft = "boat"
)

// Crafts lists them, the one that high water stops first first.
var Crafts = []Craft{CraftWade, CraftTube, CraftSmallBoat, CraftBoat}

// CraftLimit is the flow above which one craft stays away, said by a person.
type CraftLimit struct {
	Craft      Craft
	MaxFlowM3S float64
	Why        string
	Who        string // a role, never an address
}

// CraftWord is what the limit of one craft adds to a window.
type CraftWord struct {
	LimitM3S float64
	Stops    []Reason `json:",omitempty"`
	Caps     []Reason `json:",omitempty"`
}

// CraftLimit is the confirmed limit of a craft on the reach. That of a boat is
// the reach's own limit once a person has said or confirmed it.
func (r Reach) CraftLimit(c Craft) (m3s float64, confirmed bool) {
	if c == CraftBoat {
		if r.MaxFlowM3S == nil || r.MaxFlowProposed {
			return 0, false
		}
		return *r.MaxFlowM3S, true
	}
	for _, l := range r.CraftLimits {
		if l.Craft == c {
			return l.MaxFlowM3S, true
		}
	}
	return 0, false
}

// The sources of a proposed flow limit.
const (
	LimitActionStage = "action_stage" // agency action stage through the rating
	LimitFloodStage  = "flood_stage"  // minor flood stage less a foot
	LimitAnnualFlood = "annual_flood" // the greatest day that two years in three reach
	LimitSpringP95   = "spring_p95"   // of a record too short for it
	LimitMeanSpeed   = "mean_speed"   // mean speed of 1.2 m/s by the gaugings
	LimitMultiple    = "multiple"     // the same by a multiple of the median
)

// FlowCandidate is one proposal for the flow limit of a reach with what it
// means.
type FlowCandidate struct {
	Source     string
	FlowM3S    float64
	Outside    bool     `json:",omitempty"` // the agency's stage lies beyond the rating: extrapolated
	StageM     *float64 `json:",omitempty"` // nil = no rating, or beyond it
	DepthM     float64  `json:",omitempty"` // mean depth of the gauged section; 0 = not known
	VelocityMS float64  `json:",omitempty"` // mean speed there; 0 = not known

	Springs []SpringStops `json:",omitempty"` // the last five that were measured, oldest first
	Years   int           `json:",omitempty"` // full years behind an annual flood
	Rows    int           `json:",omitempty"` // gaugings behind a speed
	LnSD    float64       `json:",omitempty"` // their scatter of ln speed
}

// SpringStops counts the days of one spring, March to 15 June, south of the
// equator half a year later, that a limit would have stopped.
type SpringStops struct {
	Year     int
	Stopped  int
	Measured int
}

// FlowLimits are the limits in force on a reach beside what its record proposes.
type FlowLimits struct {
	MaxFlowM3S float64         `json:",omitempty"` // a boat's ceiling; 0 = none
	Why        string          `json:",omitempty"`
	Proposed   bool            `json:",omitempty"` // nobody has confirmed it
	Crafts     []CraftLimit    `json:",omitempty"`
	Candidates []FlowCandidate `json:",omitempty"` // smallest first
}
