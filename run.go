package coldseam

import (
	"math"
	"time"
)

// RunState is the state of the spawning run on the day of the brief.
type RunState struct {
	Species    string
	Active     bool // false: no run clock in this season; Why says so
	Why        string
	Calibrated bool
	Fit        RunFit `json:",omitzero"`
	PWave      float64
	PWave3d    float64
	PWaveRaw   float64     // before what the log taught about wave odds
	WaveRule   int         // by which the three speak of a wave
	Counted    FishCounted `json:",omitzero"` // leads PWave of today; no day = no counter, or not fresh
	Arrived    [3]float64  // p10, p50, p90, 0-1
	Spawned    [3]float64
	Stage      string // not yet, staging, moving, spawning, dropping back, done
	StageP     float64
	StageProbs map[string]float64
	HoleLoad   float64
	Holes      Reason `json:"HoleWords,omitzero"` // how full the holes are, and whether they fill
	PSpent     float64
	PRefill    float64
	Index      float64 // median fishable index N incl. resident share
	MostLike   []int   // past springs
	HatchFrom  Date    // incubation, whole weeks
	HatchTo    Date
	Days       []RunDay // leads 0..10
	Note       Notes    `json:",omitempty"` // what the water of the season was filled with
}

// RunFit says which counted seasons of its own river a species row was fitted to;
// no seasons = the row as it was shipped.
type RunFit struct {
	Seasons int
	On      Date
}

// FishCounted is what a counter saw last, on the odds of a wave today.
type FishCounted struct {
	Day      Date
	Fish     float64
	WeekMean float64 // fish a day, of the seven days to Day
	Seasons  int     // of the same counter that taught how far to trust it
}

// DailyCounts are the fish that passed a counter from First on, a value a day;
// NaN = not counted.
type DailyCounts struct {
	First Date
	Fish  []float64
}

// CountsOf lays daily sums of a counter out by the day they stand for; a sum is
// stamped with its end.
func CountsOf(s Series, loc *time.Location) DailyCounts {
	var c DailyCounts
	for _, o := range s.Obs {
		if !o.Flag.Usable() {
			continue
		}
		day := DateOf(o.At.Add(-12 * time.Hour).In(loc))
		if c.Fish == nil {
			c.First = day
		}

		i := day.Sub(c.First)
		for len(c.Fish) <= i {
			c.Fish = append(c.Fish, math.NaN())
		}
		if i >= 0 {
			c.Fish[i] = o.Value
		}
	}

	return c
}

// RunDay is one lead of the run forecast.
type RunDay struct {
	Day     Date
	PWave   float64
	Arrived [3]float64
	Spawned [3]float64
	Stage   string
	StageP  float64
}
