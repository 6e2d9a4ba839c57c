package run

import (
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"

	"example.org/coldseam"
)

//go:embed species.csv
var speciesCSV string

// MaxCohorts is the greatest number of cohorts of one species.
const MaxCohorts = 5

// Cohort is a part of the run that ripens together.
type Cohort struct {
	Name   string
	Female bool    // female type: counts into "spawned" and "through"
	W      float64 // share of the run; the cohorts of a species sum to 1
	Theta  float64 // C d at which half of the cohort is ready
	S      float64 // spread of ln theta
}

// Species is one row of the species file. Temperatures in degC, day lengths in
// hours, times in days; SD fields are the prior spread of the draws.
type Species struct {
	Key, Name              string
	Calibrated             bool // false prints "uncalibrated"
	Fit                    coldseam.RunFit
	NoClock                bool   // the clock is known to be wrong: no share and no odds
	Advice                 string // full, none (awareness only)
	Light                  string // night, day, twilight, any
	TMove, TMoveSD, SMove  float64
	Trap                   [4]float64 // spawning trapezoid 0, 1, 1, 0
	BWarm, BWarmSD         float64    // per C of 2-day change
	BWarmTop               float64    // degC above which BWarm falls, to a quarter 4 C on; 0 = never
	BFlow, BFlowSD         float64    // per ln unit of 2-day change
	FlowHi                 float64    // flow percentile 0-1 that acts as a wall; 0 = none
	Tb, Tcap               float64
	L50, KL                float64
	Du, DuSD               float64
	Lurge, LurgeSD, KU     float64
	H0, H0LnSD, HS         float64 // per day
	StayMale, StayFemale   float64
	Drop                   float64
	DeltaSD, Sigma, Rho    float64
	EggCD, EggT0           float64 // incubation: days = EggCD/(T - EggT0); 0 = not known
	Cohorts                []Cohort
	Sources                map[string]Source // by field
	femaleShare            float64
	lnTheta                [MaxCohorts]float64
	lnFirst                float64 // ln of the ripeness below which none of any cohort has moved
	leave, leaveM, leaveF  float64 // daily shares that leave B and S
	invTrapUp, invTrapDown float64
}

// noneMoved standard deviations before the middle of a cohort not one of 10^15 of
// its fish has moved.
const noneMoved = 8

// Source is where a value comes from.
type Source struct {
	Value, Mark, Words string
}

// marks are the marks a value may carry.
var marks = map[string]bool{"seen": true, "from memory": true, "proposal": true, "common practice": true,
	"reference calculation": true}

// field binds a name of the file to a number of the row with its valid range.
type field struct {
	at       func(*Species) *float64
	min, max float64
	optional bool
}

var fields = map[string]field{
	"t_move_c":      {func(s *Species) *float64 { return &s.TMove }, 0, 25, false},
	"t_move_sd_c":   {func(s *Species) *float64 { return &s.TMoveSD }, 0, 3, false},
	"s_move_c":      {func(s *Species) *float64 { return &s.SMove }, 0.05, 5, false},
	"b_warm":        {func(s *Species) *float64 { return &s.BWarm }, -2, 2, false},
	"b_warm_sd":     {func(s *Species) *float64 { return &s.BWarmSD }, 0, 2, false},
	"b_warm_top_c":  {func(s *Species) *float64 { return &s.BWarmTop }, 0, 25, true},
	"b_flow":        {func(s *Species) *float64 { return &s.BFlow }, -3, 3, false},
	"b_flow_sd":     {func(s *Species) *float64 { return &s.BFlowSD }, 0, 2, false},
	"flow_hi_pct":   {func(s *Species) *float64 { return &s.FlowHi }, 0.5, 1, true},
	"tb_c":          {func(s *Species) *float64 { return &s.Tb }, 0, 15, false},
	"tcap_c":        {func(s *Species) *float64 { return &s.Tcap }, 1, 30, false},
	"l50_h":         {func(s *Species) *float64 { return &s.L50 }, 6, 20, false},
	"kl_h":          {func(s *Species) *float64 { return &s.KL }, 0.05, 3, false},
	"du_c":          {func(s *Species) *float64 { return &s.Du }, 0, 6, true},
	"du_sd_c":       {func(s *Species) *float64 { return &s.DuSD }, 0, 3, true},
	"lurge_h":       {func(s *Species) *float64 { return &s.Lurge }, 6, 20, false},
	"lurge_sd_h":    {func(s *Species) *float64 { return &s.LurgeSD }, 0, 2, false},
	"ku_h":          {func(s *Species) *float64 { return &s.KU }, 0.05, 3, false},
	"h0":            {func(s *Species) *float64 { return &s.H0 }, 0.001, 5, false},
	"h0_ln_sd":      {func(s *Species) *float64 { return &s.H0LnSD }, 0, 2, false},
	"h_s":           {func(s *Species) *float64 { return &s.HS }, 0.001, 5, false},
	"stay_male_d":   {func(s *Species) *float64 { return &s.StayMale }, 0.1, 60, false},
	"stay_female_d": {func(s *Species) *float64 { return &s.StayFemale }, 0.1, 60, false},
	"drop_d":        {func(s *Species) *float64 { return &s.Drop }, 0.1, 60, false},
	"egg_cd":        {func(s *Species) *float64 { return &s.EggCD }, 1, 500, true},
	"egg_t0_c":      {func(s *Species) *float64 { return &s.EggT0 }, 0, 5, true},
	"delta_sd":      {func(s *Species) *float64 { return &s.DeltaSD }, 0, 2, false},
	"sigma":         {func(s *Species) *float64 { return &s.Sigma }, 0, 2, false},
	"rho":           {func(s *Species) *float64 { return &s.Rho }, 0, 0.99, false},
}

// DefaultSpecies is the embedded file: walleye first. It panics only if the
// file shipped with the program is broken, which its test rules out.
func DefaultSpecies() []Species {
	sp, err := ParseSpecies(strings.NewReader(speciesCSV))
	if err != nil {
		panic(err)
	}
	return sp
}

// FindSpecies returns the row of a key; ErrNotFound names the keys there are.
func FindSpecies(rows []Species, key string) (Species, error) {
	var have []string
	for _, s := range rows {
		if s.Key == key {
			return s, nil
		}
		have = append(have, s.Key)
	}
	return Species{}, fmt.Errorf("species %q: have %s: %w", key, strings.Join(have, ", "), coldseam.ErrNotFound)
}

// ParseSpecies reads a species file: CSV with the header
// species,field,value,mark,source. Every value carries a mark (seen, from
// memory, proposal, common practice, reference calculation). All faults are
// reported, each with its line; a file with a fault gives no rows.
func ParseSpecies(r io.Reader) ([]Species, error) {
	cr := csv.NewReader(r)
	cr.FieldsPerRecord = -1 // the header is compared as a whole first
	cr.Comment = '#'
	head, err := cr.Read()
	cr.FieldsPerRecord = 5
	if err != nil {
		return nil, fmt.Errorf("species file: %w: %w", err, coldseam.ErrInvalid)
	}

	if got := strings.Join(head, ","); got != "species,field,value,mark,source" {
		return nil, fmt.Errorf("species file line 1: header %q, want species,field,value,mark,source: %w", got,
			coldseam.ErrInvalid)
	}
	var out []Species
	var errs []error
	at := map[string]int{}

	for {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			break
		}

		if err != nil {
			errs = append(errs, fmt.Errorf("species file: %w: %w", err, coldseam.ErrInvalid))
			break
		}

		line, _ := cr.FieldPos(0)
		key := rec[0]
		i, ok := at[key]
		if !ok {
			i = len(out)
			at[key] = i
			out = append(out, Species{Key: key, Sources: map[string]Source{}})
		}

		if err := out[i].set(rec); err != nil {
			errs = append(errs, fmt.Errorf("species file line %d: %s %s: %w: %w", line, key, rec[1], err,
				coldseam.ErrInvalid))
		}
	}

	for i := range out {
		if err := out[i].finish(); err != nil {
			errs = append(errs, fmt.Errorf("species file: %s: %w: %w", out[i].Key, err, coldseam.ErrInvalid))
		}
	}

	if len(out) == 0 {
		errs = append(errs, fmt.Errorf("species file: no rows: %w", coldseam.ErrInvalid))
	}
	if len(errs) > 0 {
		return nil, errors.Join(errs...)
	}
	return out, nil
}

// set takes one record; the returned error says what was found and wanted.
func (s *Species) set(rec []string) error {
	name, value, mark := rec[1], rec[2], rec[3]
	if rec[0] == "" || strings.TrimSpace(rec[0]) != rec[0] {
		return fmt.Errorf("species key %q, want a plain word", rec[0])
	}
	if !marks[mark] {
		return fmt.Errorf("mark %q, want seen, from memory, proposal, common practice or reference calculation", mark)
	}
	if _, twice := s.Sources[name]; twice && name != "cohort" {
		return errors.New("given twice")
	}
	s.Sources[name] = Source{Value: value, Mark: mark, Words: rec[4]}

	switch name {
	case "name":
		s.Name = value
	case "calibrated":
		if value != "yes" && value != "no" {
			return fmt.Errorf("%q, want yes or no", value)
		}
		s.Calibrated = value == "yes"
	case "clock":
		if value != "yes" && value != "no" {
			return fmt.Errorf("%q, want yes or no", value)
		}
		s.NoClock = value == "no"
	case "advice":
		if value != "full" && value != "none" {
			return fmt.Errorf("%q, want full or none", value)
		}
		s.Advice = value
	case "light":
		if value != "night" && value != "day" && value != "twilight" && value != "any" {
			return fmt.Errorf("%q, want night, day, twilight or any", value)
		}
		s.Light = value
	case "trap_c":
		return s.setTrap(value)
	case "cohort":
		return s.addCohort(value)
	default:
		return s.setNumber(name, value)
	}

	return nil
}

func (s *Species) setNumber(name, value string) error {
	f, ok := fields[name]
	if !ok {
		names := make([]string, 0, len(fields))
		for n := range fields {
			names = append(names, n)
		}
		sort.Strings(names)
		return fmt.Errorf("unknown field, want one of name, calibrated, clock, advice, light, trap_c, cohort, %s",
			strings.Join(names, ", "))
	}

	if value == "none" && f.optional {
		*f.at(s) = 0
		return nil
	}

	v, err := strconv.ParseFloat(value, 64)
	if err != nil || math.IsNaN(v) || v < f.min || v > f.max {
		return fmt.Errorf("%q, want a number from %g to %g", value, f.min, f.max)
	}
	*f.at(s) = v
	return nil
}

func (s *Species) setTrap(value string) error {
	p := strings.Split(value, "/")
	if len(p) != 4 {
		return fmt.Errorf("%q, want four temperatures a/b/c/d", value)
	}
	for i, x := range p {
		v, err := strconv.ParseFloat(x, 64)
		if err != nil || v < 0 || v > 30 || i > 0 && v < s.Trap[i-1] || (i == 1 || i == 3) && v == s.Trap[i-1] {
			return fmt.Errorf("%q, want four rising temperatures of 0-30 C", value)
		}
		s.Trap[i] = v
	}
	return nil
}

func (s *Species) addCohort(value string) error {
	p := strings.Split(value, "/")
	if len(p) != 5 || p[1] != "male" && p[1] != "female" {
		return fmt.Errorf("%q, want name/male or female/share/theta/spread", value)
	}
	if len(s.Cohorts) == MaxCohorts {
		return fmt.Errorf("more than %d cohorts", MaxCohorts)
	}
	c := Cohort{Name: p[0], Female: p[1] == "female"}
	for i, at := range []*float64{&c.W, &c.Theta, &c.S} {
		v, err := strconv.ParseFloat(p[2+i], 64)
		if err != nil || !(v > 0) || v > 1000 {
			return fmt.Errorf("%q: %q, want a positive number", value, p[2+i])
		}
		*at = v
	}
	s.Cohorts = append(s.Cohorts, c)
	return nil
}

// finish checks the row as a whole and derives what the daily step needs.
func (s *Species) finish() error {
	for _, name := range []string{"name", "advice", "light", "trap_c"} {
		if _, ok := s.Sources[name]; !ok {
			return fmt.Errorf("%s is missing", name)
		}
	}

	for name := range fields {
		if _, ok := s.Sources[name]; !ok && name != "b_warm_top_c" {
			return fmt.Errorf("%s is missing", name)
		}
	}

	sum := 0.0
	s.femaleShare = 0
	for i, c := range s.Cohorts {
		sum += c.W
		if c.Female {
			s.femaleShare += c.W
		}
		s.lnTheta[i] = math.Log(c.Theta)
	}

	if math.Abs(sum-1) > 1e-9 {
		return fmt.Errorf("cohort shares sum to %g, want 1", sum)
	}
	if s.femaleShare == 0 || s.femaleShare == sum {
		return errors.New("want at least one male and one female cohort")
	}

	if s.Tcap <= s.Tb {
		return fmt.Errorf("tcap_c %g is not above tb_c %g", s.Tcap, s.Tb)
	}
	s.leave = -math.Expm1(-1 / s.Drop)
	s.leaveM = -math.Expm1(-1 / s.StayMale)
	s.leaveF = -math.Expm1(-1 / s.StayFemale)
	s.invTrapUp = 1 / (s.Trap[1] - s.Trap[0])
	s.invTrapDown = 1 / (s.Trap[3] - s.Trap[2])
	s.setFirst()
	return nil
}

// setFirst sets lnFirst by the cohorts.
func (s *Species) setFirst() {
	s.lnFirst = math.Inf(1)
	for i, c := range s.Cohorts {
		s.lnFirst = min(s.lnFirst, s.lnTheta[i]-noneMoved*c.S)
	}
}
