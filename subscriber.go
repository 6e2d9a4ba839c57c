package coldseam

import "time"

// Subscriber is a person who asked for the mail. The address lives in the
// database and in the envelope only: never in logs, metrics or the season
// schema.
type Subscriber struct {
	ID          int64
	Email       string
	Name        string // greeting only, may be empty
	State       string // pending, confirmed, paused, suppressed, unsubscribed
	CreatedAt   time.Time
	ConfirmedAt time.Time
	Prefs       Preferences
	Suppressed  string // why, with the server's words
}

// Preferences of one subscriber. The zero value of a field means the club
// default.
type Preferences struct {
	Reaches      []ReachID `json:"reaches"`
	Zone         string    `json:"zone"`        // IANA
	SendAt       string    `json:"send_at"`     // local "04:45"
	WindowFrom   string    `json:"window_from"` // local "06:00"; "" = the brief's best
	WindowTo     string    `json:"window_to"`
	Species      string    `json:"species"`
	Units        string    `json:"units"` // us, metric
	Craft        Craft     `json:"craft"` // "" = not said: the strictest confirmed limit
	Presentation string    `json:"presentation"`
	Body         string    `json:"body"`  // "" = the advice row's body
	Line         string    `json:"line"`  // braid-0.14
	Metal        string    `json:"metal"` // lead, tungsten
	BoxOz        []float64 `json:"box_oz"`
	Cost         float64   `json:"cost"`     // .2-.7; 0 = club default .40
	Weekdays     []int     `json:"weekdays"` // time.Weekday; empty = all
	FlipNotice   bool      `json:"flip_notice"`
	Outlook      bool      `json:"outlook"` // Thursday weekend outlook
	InBook       bool      `json:"in_book"` // the club's book counts the trips
}

// Trip is one line of the trip log. Zero trips count.
type Trip struct {
	ID           int64
	Reach        ReachID
	Subscriber   int64  // 0 = paper log
	Angler       string // pseudonym key for counting different anglers, never a name
	Date         Date
	Entry        string `json:"-"` // key of the entry on the angler's phone; "" = none
	Start        time.Time
	Hours        float64
	Anglers      int
	Lines        int
	Species      string
	Fish         int
	LookedAt     int
	Ripe, Spent  int
	Released     int
	SpotID       string
	Presentation string
	Body         string
	Line         string
	WeightOz     float64
	Held         *bool
	HeldAt       time.Time
	AngleDeg     *float64
	BecauseMail  *bool
	WentNot      bool // "did not go"
	Ice          bool // a report of ice on the reach, which closes it; kept apart from the trip
	WaterC       *float64
	WaterAt      time.Time
	Clarity      string // clear, stained, muddy, ""
	FirstFish    time.Time
	Night        bool
	Note         string
	EnteredAt    time.Time
	Source       string // form, cli, csv
}
