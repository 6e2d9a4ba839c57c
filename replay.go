package coldseam

// Replay is a span of past mornings, each decided again on what was known then.
// Its JSON form is what `coldseam season --json` writes.
type Replay struct {
	Reach         ReachID        `json:"reach"`
	From          Date           `json:"from"`
	To            Date           `json:"to"`
	Assumed       []string       `json:"assumed"` // codes of what stands for inputs that nobody kept
	Cells         []ReplayCell   `json:"cells"`
	Counts        map[string]int `json:"counts"` // mornings by word
	Fishable      Fishable       `json:"fishable"`
	Flips         int            `json:"flips"` // GO and STAY on consecutive days
	PlaceChanges  int            `json:"place_changes"`
	WeightChanges int            `json:"weight_changes"`
	LimitM3S      *float64       `json:"limit_m3s"` // flow limit of the last morning
	Value         *SeasonValue   `json:"value,omitempty"`

	Forecasts []ForecastScore `json:"forecasts,omitempty"`
	Events    []EventScore    `json:"events,omitempty"`
}

// ForecastScore is how far the daily means of the mornings' members were from
// what came. Errors of flow are in ln.
type ForecastScore struct {
	Quantity    string  `json:"quantity"` // water or flow
	Lead        int     `json:"lead"`     // days; 1 = the day of the morning
	N           int     `json:"n"`
	Off         float64 `json:"off"`         // mean absolute error of the median, degC or ln
	Persistence float64 `json:"persistence"` // the same of the last full day's mean
	Held        float64 `json:"held"`        // share of means within p10 to p90
}

// EventScore holds the odds of an event against how often it came.
type EventScore struct {
	What  string  `json:"what"` // rise: 30 % up; band_shift: another band
	Days  int     `json:"days"` // within, or after
	N     int     `json:"n"`
	Said  float64 `json:"said"` // sum of the odds
	Came  float64 `json:"came"`
	Brier float64 `json:"brier"`
	Usual float64 `json:"usual"` // Brier score of always saying the share that came
}

// ReplayCell is one morning. Numbers that were not there are nil.
type ReplayCell struct {
	Day      Date     `json:"day"`
	Word     Verdict  `json:"word"`      // what the stops that were replayed allow
	OddsWord Verdict  `json:"odds_word"` // what the odds alone would have said
	Odds     *float64 `json:"odds"`      // of the best window, whatever stops it
	PWave    *float64 `json:"p_wave"`
	WaterC   *float64 `json:"water_c"`  // newest usable reading
	FlowM3S  *float64 `json:"flow_m3s"` // newest usable reading
	TieOz    *float64 `json:"tie_oz"`   // weight of the first spot; nil where none may be told
	PackOz   *float64 `json:"pack_oz"`
	Place    string   `json:"place"` // the kind of spot that is advised first
	Stage    string   `json:"stage"` // of the run

	// Codes of reasons, in the order of the brief.
	Stops       []string `json:"stops"`
	Caps        []string `json:"caps"`
	Missing     []string `json:"missing"`
	NotReplayed []string `json:"stops_not_replayed"` // inputs of stops that could not fire
}

// Fishable counts the mornings that had odds on water up to FishableC.
type Fishable struct {
	Go     int `json:"go"`
	TossUp int `json:"toss_up"`
	Stay   int `json:"stay"`
	N      int `json:"n"`
}

// FishableC is the water up to which a morning counts as one of this fishing, 55 F.
const FishableC = (55. - 32) / 1.8

// Sum counts over the cells.
func (r *Replay) Sum() {
	r.Counts, r.Fishable = map[string]int{}, Fishable{}
	r.Flips, r.PlaceChanges, r.WeightChanges = 0, 0, 0

	for i, c := range r.Cells {
		r.Counts[c.Word.String()]++
		r.Fishable.add(c)
		if i == 0 {
			continue
		}
		p := r.Cells[i-1]
		if p.Word == Go && c.Word == Stay || p.Word == Stay && c.Word == Go {
			r.Flips++
		}

		if p.Place != "" && c.Place != "" && p.Place != c.Place {
			r.PlaceChanges++
		}
		if p.TieOz != nil && c.TieOz != nil && *p.TieOz != *c.TieOz {
			r.WeightChanges++
		}
	}
}

func (f *Fishable) add(c ReplayCell) {
	if !c.Word.ShowsOdds() || c.WaterC == nil || *c.WaterC > FishableC {
		return
	}
	f.N++
	switch c.Word {
	case Go:
		f.Go++
	case TossUp:
		f.TossUp++
	default:
		f.Stay++
	}
}
