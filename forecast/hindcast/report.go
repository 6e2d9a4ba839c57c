package hindcast

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/score"
)

// Report is the result of one hindcast. Arrays follow Leads.
type Report struct {
	Site     string   `json:"site"`
	Quantity Quantity `json:"quantity"`
	Air      Air      `json:"air"`
	N        int      `json:"n"`
	Step     int      `json:"issue_step_d"` // days between issues
	Leads    []int    `json:"leads"`
	Seed     uint64   `json:"seed"`
	Members  int      `json:"members"`
	Folds    int      `json:"folds"` // of years; 0 = each year by earlier years only
	Tier     string   `json:"tier"`  // of the models

	DroppedAir int `json:"dropped_no_air"` // issues whose air ahead is not on record, mode perfect

	Cold Block `json:"cold"` // issued February-May below 10 degC (flow: February-May)
	All  Block `json:"all"`

	Crossing *CrossingScore `json:"crossing,omitempty"` // spring
	Brier    *BrierScore    `json:"brier,omitempty"`
	Autumn   *AutumnScore   `json:"autumn,omitempty"`

	sums map[string]*tally // season/method
}

// AutumnScore holds the falling edge.
type AutumnScore struct {
	Crossing *CrossingScore `json:"crossing"`
	Brier    *BrierScore    `json:"brier"`
}

// Block are the scores of one season.
type Block struct {
	N          int                `json:"n"`
	CRPS       map[string]Scores  `json:"crps"`
	RMSE       map[string]Scores  `json:"rmse"`
	Coverage80 Scores             `json:"coverage80"`
	CoverageBy map[string]Scores  `json:"coverage80_by"`
	Skill      map[string][]Skill `json:"skill"` // of coldseam against each reference
	PIT        [][]int            `json:"pit"`   // 10 bins a lead
}

// Skill is 1 - CRPS/CRPS of the reference with its 90 % block-bootstrap
// interval by year; it marshals as [skill, lo, hi].
type Skill [3]float64

// MarshalJSON writes a part that is not known as null.
func (s Skill) MarshalJSON() ([]byte, error) { return Scores(s[:]).MarshalJSON() }

// UnmarshalJSON reads what MarshalJSON wrote.
func (s *Skill) UnmarshalJSON(raw []byte) error {
	var x Scores
	err := x.UnmarshalJSON(raw)
	copy(s[:], x)
	return err
}

// Scores are values of which those that nothing was scored for are NaN, in JSON
// null: what is not known is never the best score.
type Scores []float64

// MarshalJSON writes NaN as null.
func (s Scores) MarshalJSON() ([]byte, error) {
	out := make([]*float64, len(s))
	for i := range s {
		if !math.IsNaN(s[i]) {
			out[i] = &s[i]
		}
	}
	return json.Marshal(out)
}

// UnmarshalJSON reads null as NaN.
func (s *Scores) UnmarshalJSON(raw []byte) error {
	var in []*float64
	if err := json.Unmarshal(raw, &in); err != nil {
		return err
	}
	*s = make(Scores, len(in))
	for i, v := range in {
		if (*s)[i] = math.NaN(); v != nil {
			(*s)[i] = *v
		}
	}
	return nil
}

// CrossingScore is conditional on the date: issued ahead_days before it.
type CrossingScore struct {
	ThresholdC float64           `json:"threshold_c"`
	AheadDays  []int             `json:"ahead_days"`
	MAE        Scores            `json:"mae_days"`
	CRPS       Scores            `json:"crps_days"`
	N          []int             `json:"n"`
	NBy        map[string][]int  `json:"n_by"`
	MAEBy      map[string]Scores `json:"mae_days_by"`
	CRPSBy     map[string]Scores `json:"crps_days_by"`
}

// BrierScore is unconditional: every issue day with the river before the edge. The
// climatology has no odds on days without a training day at their date.
type BrierScore struct {
	WithinDays   []int         `json:"within_days"`
	N            int           `json:"n"`
	NClimatology int           `json:"n_climatology"`
	BaseRate     Scores        `json:"base_rate"`
	Coldseam     Scores        `json:"coldseam"`
	Dressed      Scores        `json:"dressed"`
	AnomalyAR    Scores        `json:"anomaly_ar"`
	Climatology  Scores        `json:"climatology"`
	Reliability  [][]score.Bin `json:"reliability"` // of coldseam, per within_days
}

// The seasons of a report.
const (
	seasonCold = "cold"
	seasonAll  = "all"
)

// tally gathers one method in one season: per lead the values by year, and the
// counts of coverage and PIT.
type tally struct {
	years map[int]*yearSum
	pit   [][]int
}

type yearSum struct {
	n                 float64
	crps, sq, covered []float64
}

func (r *Report) add(season, method string, year int, lead int, nLeads int, crps, sq float64, covered bool,
	pit float64) {
	key := season + "/" + method
	t := r.sums[key]
	if t == nil {
		t = &tally{years: map[int]*yearSum{}, pit: make([][]int, nLeads)}
		for i := range t.pit {
			t.pit[i] = make([]int, 10)
		}
		r.sums[key] = t
	}

	y := t.years[year]
	if y == nil {
		y = &yearSum{crps: make([]float64, nLeads), sq: make([]float64, nLeads), covered: make([]float64, nLeads)}
		t.years[year] = y
	}

	if lead == 0 {
		y.n++
	}
	y.crps[lead] += crps
	y.sq[lead] += sq
	if covered {
		y.covered[lead]++
	}
	t.pit[lead][min(int(pit*10), 9)]++
}

// block turns the sums of a season into scores.
func (r *Report) block(season string, replicates int) Block {
	b := Block{
		CRPS:       map[string]Scores{},
		RMSE:       map[string]Scores{},
		CoverageBy: map[string]Scores{},
		Skill:      map[string][]Skill{},
	}

	for _, m := range Methods {
		t := r.sums[season+"/"+m]
		if t == nil {
			continue
		}
		var n float64
		c, q, v := make([]float64, len(r.Leads)), make([]float64, len(r.Leads)), make([]float64, len(r.Leads))
		for _, y := range t.sorted() {
			s := t.years[y]
			n += s.n
			for l := range r.Leads {
				c[l], q[l], v[l] = c[l]+s.crps[l], q[l]+s.sq[l], v[l]+s.covered[l]
			}
		}

		for l := range r.Leads {
			c[l], q[l], v[l] = round(c[l]/n), round(math.Sqrt(q[l]/n)), round(v[l]/n)
		}
		b.CRPS[m], b.RMSE[m], b.CoverageBy[m] = c, q, v
		if m == Coldseam {
			b.N, b.Coverage80, b.PIT = int(n), v, t.pit
		}
	}

	if replicates > 0 && b.N > 0 {
		for _, m := range Methods[1:] {
			for l := range r.Leads {
				iv := Pooled([]Report{*r}, season, m, l, replicates)
				b.Skill[m] = append(b.Skill[m], Skill{round(iv.Skill), round(iv.Lo), round(iv.Hi)})
			}
		}
	}

	return b
}

func (t *tally) sorted() []int {
	ys := make([]int, 0, len(t.years))
	for y := range t.years {
		ys = append(ys, y)
	}
	slices.Sort(ys)
	return ys
}

// Pooled is the skill of coldseam against a reference at lead index l over
// several rivers, equal weight each, with its 90 % block-bootstrap interval by
// year. season is "cold" or "all".
func Pooled(reports []Report, season, ref string, l, replicates int) score.Interval {
	var blocks []score.Block
	for i := range reports {
		a, b := reports[i].sums[season+"/"+Coldseam], reports[i].sums[season+"/"+ref]
		if a == nil || b == nil {
			continue
		}
		for _, y := range a.sorted() {
			if b.years[y] != nil {
				blocks = append(blocks, score.Block{Site: fmt.Sprint(i), Year: y, N: a.years[y].n,
					S: a.years[y].crps[l], Ref: b.years[y].crps[l]})
			}
		}
	}

	if len(blocks) == 0 {
		return score.Interval{Skill: math.NaN(), Lo: math.NaN(), Hi: math.NaN()}
	}
	rng := ensemble.Stream(DefaultSeed, zeroDay, uint64(l))
	return score.BlockBootstrap(rng, blocks, replicates, .9)
}

// round keeps five decimals, so that reports stay readable and equal; what is
// infinite is no score.
func round(v float64) float64 {
	if math.IsInf(v, 0) {
		return math.NaN()
	}
	return math.Round(v*1e5) / 1e5
}
