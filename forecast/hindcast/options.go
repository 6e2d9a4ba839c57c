package hindcast

import (
	"fmt"
	"slices"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/thermal"
)

// Quantity is what is forecast.
type Quantity string

// The quantities.
const (
	Temperature Quantity = "temperature"
	Flow        Quantity = "flow"
)

// Air is what the model knows of the weather after the issue.
type Air string

// The air modes. Perfect adds the observed air of the next ten days and is an
// upper bound, Climatology adds nothing, Archived adds the forecasts that were
// really issued.
const (
	Perfect     Air = "perfect"
	Climatology Air = "climatology"
	Archived    Air = "archived"
)

// DefaultSeed is the seed behind the figures of docs/verification.md.
const DefaultSeed = 20240501

// Options of a hindcast. Zero values stand for the defaults.
type Options struct {
	Site     string
	Quantity Quantity
	Air      Air
	// Archive are the air forecasts of mode Archived by the issue day (the last
	// complete day): [member][lead-1], degC.
	Archive map[coldseam.Date][][]float64

	Folds     int  // leave-years-out folds, 0 = 5, or the number of years under 5
	Expanding bool // earlier years only, in place of folds
	Seed      uint64
	Leads     []int // 0 = 1, 3, 5, 7, 10
	Members   int   // 0 = 100, as in service
	Step      int   // days between issues, 0 = 2, or 3 on files over 5,500 days and for flow
	LastYears int   // of the record, 0 = 25 for flow, all for temperature

	EdgeC     float64 // of crossings, 0 = 4.4 degC
	NoDates   bool    // leave crossing dates and their Brier scores out
	Intervals int     // bootstrap replicates, 0 = 1000, negative = none

	Pool     []coldseam.Days // similar gauges
	Upstream []coldseam.Days // upstream gauges, nearest first; flow only
	Fits     *thermal.Cache  // shared by the runs on one record, in either air mode; may be nil

	// Progress is called after each fold with the share done; may be nil.
	Progress func(done, total int)
	// Member receives every scored issue and lead of coldseam; may be nil.
	Member func(MemberRow) error
}

// MemberRow is one line of the members file.
type MemberRow struct {
	Issued   coldseam.Date
	Lead     int
	Observed float64
	Members  []float64 // degC or m3/s
}

// flowYears bounds the record used for flow: older years are often from before a
// dam or another land use, and each costs time [proposal].
const flowYears = 25

func (o Options) filled(d coldseam.Days) (Options, error) {
	if o.Quantity == "" {
		o.Quantity = Temperature
	}
	if o.Air == "" {
		o.Air = Climatology
	}

	switch {
	case o.Quantity != Temperature && o.Quantity != Flow:
		return o, fmt.Errorf("hindcast quantity %q: want temperature or flow: %w", o.Quantity, coldseam.ErrInvalid)
	case !slices.Contains([]Air{Perfect, Climatology, Archived}, o.Air):
		return o, fmt.Errorf("hindcast air %q: want perfect, climatology or archived: %w", o.Air, coldseam.ErrInvalid)
	case o.Air == Archived && len(o.Archive) == 0:
		return o, fmt.Errorf("hindcast air archived: no archived air forecast: %w", coldseam.ErrInvalid)
	case o.Air == Perfect && ensemble.Span(d.AirC) == 0:
		return o, fmt.Errorf("hindcast air perfect: the record has no air temperature: %w", coldseam.ErrInvalid)
	}

	if o.Folds == 0 {
		o.Folds = 5
	}
	if o.Seed == 0 {
		o.Seed = DefaultSeed
	}
	if len(o.Leads) == 0 {
		o.Leads = []int{1, 3, 5, 7, 10}
	}

	for _, h := range o.Leads {
		if h < 1 || h > ensemble.DefaultHorizon {
			return o, fmt.Errorf("hindcast lead %d: want 1 to %d: %w", h, ensemble.DefaultHorizon, coldseam.ErrInvalid)
		}
	}

	if o.Members == 0 {
		o.Members = ensemble.DefaultMembers
	}
	if o.LastYears == 0 && o.Quantity == Flow {
		o.LastYears = flowYears
	}

	if o.Step == 0 {
		o.Step = 2
		if d.Len() > 5500 || o.Quantity == Flow {
			o.Step = 3
		}
	}

	if o.EdgeC == 0 {
		o.EdgeC = 4.4
	}
	if o.Intervals == 0 {
		o.Intervals = 1000
	}
	return o, nil
}
