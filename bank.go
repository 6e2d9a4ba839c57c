package coldseam

import "time"

// BankWord is what a member saw from the bank: a danger, the colour of the water
// or the state of the fish. A danger closes; nothing a member says opens.
type BankWord struct {
	Reach      ReachID
	Subscriber int64 `json:"-"` // 0 = a person who was forgotten
	At         time.Time
	Say        string // one of BankDangers, BankColours or BankFish
	Entry      string `json:"-"` // key of the entry on the member's phone; "" = none
}

// What can be said from the bank. Ice enters the latch; wood and a closed launch
// stop the reach for that day.
var (
	BankDangers = []string{"ice", "wood", "launch"}
	BankColours = []string{"clear", "stained", "muddy"}
	BankFish    = []string{"green", "ripe", "spent"}
)

// FloatTiming is the surface current at a spot by three floats over one length.
type FloatTiming struct {
	Reach      ReachID
	Spot       string
	Subscriber int64 `json:"-"`
	At         time.Time
	LengthM    float64
	Seconds    [3]float64
	Wind       string   // calm, light, strong
	FlowM3S    *float64 // at the gauge; nil = looked up when stored, or not known
	Entry      string   `json:"-"`
}

// SurfaceMS is the current, m/s.
func (t FloatTiming) SurfaceMS() float64 {
	return 3 * t.LengthM / (t.Seconds[0] + t.Seconds[1] + t.Seconds[2])
}
