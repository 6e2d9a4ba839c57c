package run

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"example.org/coldseam"
)

// Defaults of the ensemble run.
const (
	DefaultDraws = 500
	// SeasonPeak is the usual season's greatest H + .8B, the measure of a full
	// hole until a river has its own hindcast [reference calculation: 63
	// modelled lake springs, 10-90 % .30-.45].
	SeasonPeak = 0.360
	// LastDay is the day of the season after which no run is computed: spring
	// runs of the shipped species are over in mid-July, in the south in
	// mid-January [proposal].
	LastDay = 196
)

// Input is what one morning's run needs. All daily slices follow Days.First.
type Input struct {
	Species Species
	// observed daily means up to yesterday, back to 1 January at least; more years feed "most like"
	Days    coldseam.Days
	ModelC  []float64     // the project's own water model on the same days; fills gaps; may be nil
	Today   coldseam.Date // lead 0
	WaterC  [][]float64   // [member][lead] daily means, whole paths of the forecast
	FlowM3S [][]float64   // [member][lead] of the same members, or nil
	FlowPct func(day coldseam.Date, m3s float64) float64
	Draws   int // trajectories; 0 = 500
	Seed    uint64
	NoNoise bool
	// Learnt holds what the trip log taught so far, nil = the priors.
	Learnt        *Learnt
	Prior         Prior   // of delta; the zero value is the species' own prior
	ResidentShare float64 // added to the fishable index at all times
	SeasonPeak    float64 // 0 = the shipped SeasonPeak
	Recal         Recalibration
	Counts        coldseam.DailyCounts // of a counter on the river, up to yesterday; zero = none
}

// Result is the run of one morning. Trajectory k belongs to forecast member
// Member[k], so that two rivers run on the same members can be compared
// trajectory by trajectory.
type Result struct {
	State  coldseam.RunState
	Index  [][]float64 // [trajectory][lead] fishable index N incl. resident share
	Spent  [][]float64 // [trajectory][lead] share of the fishable fish that are spent
	Member []int
	// QWeights is each trajectory's own posterior of the catchability on QGrid,
	// K the size of the negative binomial; nil and 0 without a log. The two go
	// together with Index: a trajectory with few fish has a high catchability.
	QWeights [][]float64
	K        float64
}

// Forecast spins the run up on the observed days since 1 January and carries
// it on along every member. Outside the season, or for a species without a run
// clock, or where the water temperature is not known for more than MaxGap days,
// State.Active is false, State.Why says so and Index holds the resident share
// alone. ErrUnavailable: no water temperature; ErrInvalid: members of
// unequal length.
func Forecast(in Input) (Result, error) {
	leads, err := in.check()
	if err != nil {
		return Result{}, err
	}

	if in.Species.NoClock {
		return in.idle(leads, "no_clock"), nil
	}
	if in.Today.Sub(seasonStart(in.Today, in.Days.Lat)) >= LastDay {
		return in.idle(leads, "no_season"), nil
	}
	w, err := spring(in.Days, in.ModelC, in.Today, in.Species.Tb)
	if err != nil {
		return Result{}, err
	}

	if w.short {
		r := in.idle(leads, "water_gap")
		r.State.Note = w.notes
		return r, nil
	}

	e := newEngine(in, w, leads)
	e.spinUp()
	e.attach()
	e.lead()
	return e.result(), nil
}

// check fills the defaults and returns the number of leads.
func (in *Input) check() (int, error) {
	if len(in.WaterC) == 0 {
		return 0, fmt.Errorf("run %s: no temperature forecast: %w", in.Species.Key, coldseam.ErrUnavailable)
	}
	if len(in.Species.Cohorts) == 0 {
		return 0, fmt.Errorf("run: species row without cohorts: %w", coldseam.ErrInvalid)
	}
	if in.FlowM3S != nil && len(in.FlowM3S) != len(in.WaterC) {
		return 0, fmt.Errorf("run %s: %d temperature members, %d flow members: %w", in.Species.Key, len(in.WaterC),
			len(in.FlowM3S), coldseam.ErrInvalid)
	}

	leads := len(in.WaterC[0])
	for i, m := range in.WaterC {
		if len(m) != leads || in.FlowM3S != nil && len(in.FlowM3S[i]) != leads || leads == 0 {
			return 0, fmt.Errorf("run %s: member %d has %d days, want %d: %w", in.Species.Key, i, len(m), leads,
				coldseam.ErrInvalid)
		}
		if slices.ContainsFunc(m, math.IsNaN) {
			return 0, fmt.Errorf("run %s: member %d has a day without water temperature: %w", in.Species.Key, i,
				coldseam.ErrInvalid)
		}
	}

	if in.Draws == 0 {
		in.Draws = DefaultDraws
	}
	if in.Prior == (Prior{}) {
		in.Prior = Prior{SD: in.Species.DeltaSD}
	}
	if in.SeasonPeak <= 0 {
		in.SeasonPeak = SeasonPeak
	}
	if l := in.Learnt; l != nil && (l.year != seasonStart(in.Today, in.Days.Lat).Year || len(l.par) == 0 ||
		in.NoNoise) {
		in.Learnt = nil // another season's particles say nothing of this one
	}
	return leads, nil
}

// idle is the result where there is no run: the resident fish alone.
func (in *Input) idle(leads int, why string) Result {
	r := Result{State: coldseam.RunState{
		Species:    in.Species.Key,
		Why:        why,
		Calibrated: in.Species.Calibrated,
		Fit:        in.Species.Fit,
		Index:      in.ResidentShare,
	}}
	for m := range in.WaterC {
		n := make([]float64, leads)
		for l := range n {
			n[l] = in.ResidentShare
		}
		r.Index = append(r.Index, n)
		r.Spent = append(r.Spent, make([]float64, leads))
		r.Member = append(r.Member, m)
	}
	return r
}

// engine carries the 500 trajectories of one morning.
type engine struct {
	in     Input
	sp     *Species
	w      season
	leads  int
	sig    float64
	par    []draw
	st     []state
	rng    []*rand.Rand
	weight []float64 // of the draws, sums to 1
	load0  float64   // median hole load yesterday
	past   []float64 // mean share spawned by day since 1 January
	member []int
	days   []leadDay
	index  [][]float64
	spent  [][]float64
	refill []bool
	waved  [][]bool // [lead][trajectory]
	qw     [][]float64
	count  *counter // nil = no counter, or none that is fresh
	inRun  int      // trajectories for which today is a day of the run
}

// leadDay collects one lead over the trajectories.
type leadDay struct {
	arrived, spawned, load, spent, index []float64
	stages                               [len(Stages)]float64
	waves                                int
}

func newEngine(in Input, w season, leads int) *engine {
	e := &engine{in: in, sp: &in.Species, w: w, leads: leads, sig: in.Species.Sigma}
	n := in.Draws
	if in.NoNoise {
		e.sig, n = 0, 1
	}
	e.par, e.st, e.rng = make([]draw, n), make([]state, n), make([]*rand.Rand, n)
	e.weight = make([]float64, n)

	for j := range n {
		e.rng[j] = stream(in.Seed, j)
		e.weight[j] = 1 / float64(n)
		if in.NoNoise {
			e.par[j] = e.sp.defaults()
			e.par[j].delta = in.Prior.Mean
		} else {
			e.par[j] = e.sp.sample(e.rng[j], in.Prior)
		}
	}

	return e
}

// spinUp runs every draw from 1 January to yesterday on observed days.
func (e *engine) spinUp() {
	dr := e.sp.drives(e.in.Days.Lat, e.w.first, e.w.t, e.w.q, e.in.FlowPct, 0)
	if l := e.in.Learnt; l != nil {
		e.par, e.st, e.weight = l.par, slices.Clone(l.st), l.weight
		e.rng = e.rng[:0]
		for j := range e.par {
			e.rng = append(e.rng, stream(e.in.Seed, j))
		}
		dr = dr[min(l.days, len(dr)):]
	}

	loads := make([]float64, len(e.par))
	seen := len(e.w.t) - len(dr)
	e.past = make([]float64, len(e.w.t))
	if e.in.Learnt != nil {
		copy(e.past, e.in.Learnt.past)
	}

	for j := range e.par {
		for i := range dr {
			e.sp.step(&e.par[j], &e.st[j], &dr[i], e.sig, e.z(j))
			e.past[seen+i] += e.weight[j] * e.st[j].totals(e.sp).spawned
		}
		t := e.st[j].totals(e.sp)
		loads[j] = (t.h + 0.8*t.b) / e.in.SeasonPeak
	}

	if e.count = e.in.counted(); e.count != nil && e.count.ahead == 1 && e.sig > 0 {
		e.weight = slices.Clone(e.weight)
		e.count.weigh(e.st, e.weight)
	}
	e.load0 = weightedMedian(loads, e.weight)
}

func (e *engine) z(j int) float64 {
	if e.sig == 0 {
		return 0
	}
	return e.rng[j].NormFloat64()
}

// attach gives every forecast member its share of the trajectories: draws are
// taken by weight (systematic resampling) and dealt round so that each member
// gets a spread of draws.
func (e *engine) attach() {
	m := len(e.in.WaterC)
	per := max(1, (e.in.Draws+m-1)/m)
	n := per * m
	pick := systematic(e.weight, n)

	// A fixed stride coprime to n deals neighbouring draws to far members.
	stride := coprime(n)
	par, st, rng := make([]draw, n), make([]state, n), make([]*rand.Rand, n)
	e.member = make([]int, n)
	learnt := e.in.Learnt
	if learnt != nil && learnt.Trips > 0 {
		e.qw = make([][]float64, n)
	}

	for k := range n {
		j := pick[(k*stride)%n]
		if e.qw != nil {
			e.qw[k] = learnt.qWeights(j)
		}
		par[k], st[k] = e.par[j], e.st[j]
		rng[k] = stream(e.in.Seed^0xc01d5ea3, k)
		e.member[k] = k / per
	}

	e.par, e.st, e.rng = par, st, rng
}

// lead carries the trajectories along their members.
func (e *engine) lead() {
	n := len(e.par)
	e.days = make([]leadDay, e.leads)
	e.waved = make([][]bool, e.leads)
	for l := range e.days {
		d := &e.days[l]
		for _, x := range []*[]float64{&d.arrived, &d.spawned, &d.load, &d.spent, &d.index} {
			*x = make([]float64, n)
		}
		e.waved[l] = make([]bool, n)
	}

	e.refill = make([]bool, n)
	e.index, e.spent = make([][]float64, n), make([][]float64, n)
	var dr []drive
	for k := range n {
		if k == 0 || e.member[k] != e.member[k-1] {
			dr = e.memberDrives(e.member[k])
		}
		e.follow(k, dr)
	}
}

// memberDrives is the forcing of one member, joined to the last two observed
// days so that the changes of the first leads are real ones.
func (e *engine) memberDrives(m int) []drive {
	back := min(2, len(e.w.t))
	n := len(e.w.t)
	t := append(slices.Clone(e.w.t[n-back:]), e.in.WaterC[m]...)
	q := slices.Clone(e.w.q[n-back:])
	if e.in.FlowM3S != nil {
		q = append(q, e.in.FlowM3S[m]...)
	}
	return e.sp.drives(e.in.Days.Lat, e.in.Today.Add(-back), t, q, e.in.FlowPct, back)
}

func (e *engine) follow(k int, dr []drive) {
	e.index[k], e.spent[k] = make([]float64, e.leads), make([]float64, e.leads)
	st := &e.st[k]

	for l := range dr {
		gap := st.sinceGap
		if l == 0 && inRun(st.totals(e.sp).arrived) {
			e.inRun++
		}
		e.sp.step(&e.par[k], st, &dr[l], e.sig, e.z(k))
		t := st.totals(e.sp)
		d := &e.days[l]
		d.arrived[k], d.spawned[k], d.spent[k] = t.arrived, t.spawned, t.spent()

		d.load[k] = (t.h + 0.8*t.b) / e.in.SeasonPeak
		d.index[k] = t.index() + e.in.ResidentShare
		d.stages[t.stage()]++
		e.index[k][l], e.spent[k][l] = d.index[k], d.spent[k]
		if st.wave {
			d.waves++
			e.waved[l][k] = true
			e.refill[k] = e.refill[k] || gap < refillDays
		}
	}
}

func (e *engine) result() Result {
	n := float64(len(e.par))
	s := coldseam.RunState{
		Species:    e.sp.Key,
		Active:     true,
		Calibrated: e.sp.Calibrated,
		Fit:        e.sp.Fit,
		WaveRule:   coldseam.WaveRule,
		StageProbs: map[string]float64{},
	}
	for l := range e.days {
		d := &e.days[l]
		k, p := top(d.stages[:])
		s.Days = append(s.Days, coldseam.RunDay{Day: e.in.Today.Add(l), PWave: e.in.Recal.Apply(float64(d.waves) / n),
			Arrived: fan(d.arrived), Spawned: fan(d.spawned), Stage: Stages[k], StageP: p / n})
	}

	today := s.Days[0].PWave
	if e.count != nil {
		today = e.count.odds * float64(e.inRun) / n
		s.Days[0].PWave, s.Counted = today, e.count.FishCounted
	}

	d, first := &e.days[0], s.Days[0]
	s.PWave, s.Arrived, s.Spawned, s.Stage, s.StageP = first.PWave, first.Arrived, first.Spawned, first.Stage,
		first.StageP
	for k, p := range d.stages {
		s.StageProbs[Stages[k]] = p / n
	}

	s.PWaveRaw = float64(d.waves) / n
	s.PWave3d = e.in.Recal.Apply(e.anyWave(0, min(3, e.leads)))
	if e.count != nil {
		s.PWave3d = 1 - (1-today)*(1-e.in.Recal.Apply(e.anyWave(min(1, e.leads), min(3, e.leads))))
	}
	s.PRefill = e.in.Recal.Apply(share(e.refill))
	s.HoleLoad = coldseam.Quantile(d.load, .5)
	s.Holes = holes(s.HoleLoad, e.load0)
	s.PSpent = mean(d.spent)

	s.Index = coldseam.Quantile(d.index, .5)
	s.HatchFrom, s.HatchTo = e.hatch()
	s.MostLike = e.in.mostLike(e.w)
	s.Note = e.w.notes
	r := Result{State: s, Index: e.index, Spent: e.spent, Member: e.member, QWeights: e.qw}
	if e.qw != nil {
		_, r.K = e.in.Learnt.Catch()
	}
	return r
}

// anyWave is the share of trajectories with a wave on any of the leads from a to
// before b.
func (e *engine) anyWave(a, b int) float64 {
	hit := make([]bool, len(e.par))
	for l := a; l < b; l++ {
		for k, w := range e.waved[l] {
			hit[k] = hit[k] || w
		}
	}
	return share(hit)
}

// holes says how full the holes are and where they are going: load and
// yesterday's load are shares of a usual season's peak.
func holes(load, yesterday float64) coldseam.Reason {
	code := "holes_steady"
	switch {
	case load < 0.08:
		code = "holes_empty"
	case load > yesterday*1.1+0.02:
		code = "holes_filling"
	case load < yesterday*0.9-0.02:
		code = "holes_emptying"
	}
	return coldseam.Reason{Code: code, Values: map[string]float64{"load_peak": load}}
}
