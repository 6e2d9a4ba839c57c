package run

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"example.org/coldseam"
)

// Constants of the filter [proposal].
const (
	DefaultParticles = 1000
	temper           = 0.8  // one trip's log weight: trips of a day are not independent
	shrink           = 0.98 // Liu-West
	partySlope       = -0.2 // rate per angler falls with party size (Oneida Lake study, abstract)
	anglerSD         = 0.5  // ln catchability between anglers
	spentPhi         = 8.0  // of the beta-binomial
	warmSlopeTrips   = 60   // trips before the warming slope is learnt
)

// LearnInput is one season's log with the water it was fished in.
type LearnInput struct {
	Species   Species
	Days      coldseam.Days
	ModelC    []float64
	FlowPct   func(coldseam.Date, float64) float64
	Today     coldseam.Date // trips of today and later wait: the day is not over
	Trips     []coldseam.Trip
	Resident  func(coldseam.ReachID) float64 // share of a reach; nil = .15
	Prior     Prior                          // from Carry; zero = the species' own
	Q         []float64                      // prior on QGrid from Carry; nil = flat
	Particles int
	Seed      uint64
}

// DefaultResident is the share of fish that are there at all times; tailwaters
// below dams hold more [proposal].
const (
	DefaultResident   = 0.15
	TailwaterResident = 0.35
)

// Learn runs the particle filter over the season's trips up to yesterday:
//
//	y ~ NegBin(mu, k);  ln mu = ln(line hours) + ln q + u_angler - .2 ln(party) + ln N
//
// each particle integrates q and k on a grid and u over N(0, .5). A day without
// trips changes no weight. With no trips the result is the prior. The same
// input gives the same result.
func Learn(in LearnInput) (*Learnt, error) {
	if in.Q != nil && len(in.Q) != qPoints {
		return nil, fmt.Errorf("learn %s: prior of %d catchabilities, want %d: %w", in.Species.Key, len(in.Q), qPoints,
			coldseam.ErrInvalid)
	}
	w, err := spring(in.Days, in.ModelC, in.Today, in.Species.Tb)
	if err != nil {
		return nil, err
	}

	if w.short {
		return nil, fmt.Errorf("learn %s: no water temperature from %s: %w", in.Species.Key, w.first.Add(len(w.t)),
			coldseam.ErrUnavailable)
	}
	f := newFilter(in, w)
	trips := in.season(w)
	for i := 0; i < len(trips); {
		j := i
		for j < len(trips) && trips[j].Date == trips[i].Date {
			j++
		}
		f.advance(trips[i].Date.Sub(w.first) + 1)
		for _, t := range trips[i:j] {
			f.weigh(t)
		}
		f.normalise()
		i = j
	}

	f.past = make([]float64, f.days)
	for j, w := range f.weight {
		for i := range f.past {
			f.past[i] += w * f.laid[j][i]
		}
	}

	return &f.Learnt, nil
}

// season picks the trips that count, in order of date and entry.
func (in *LearnInput) season(w season) []coldseam.Trip {
	var out []coldseam.Trip
	for _, t := range in.Trips {
		if k := t.Date.Sub(w.first); counts(t, in.Species.Key) && k >= 0 && k < len(w.t) {
			out = append(out, t)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Date.Before(out[j].Date) })
	return out
}

// filter is the run of one season's particles.
type filter struct {
	Learnt
	in    LearnInput
	sp    *Species
	dr    []drive
	z     [][]float64      // noise of every particle and day
	laid  [][]float64      // share spawned of every particle and day
	logw  [][cells]float64 // log weights of particle and cell
	qLog  [qPoints]float64 // ln q
	table [len(kGrid)][]float64
}

func newFilter(in LearnInput, w season) *filter {
	if in.Particles == 0 {
		in.Particles = DefaultParticles
	}
	if in.Prior == (Prior{}) {
		in.Prior = Prior{SD: in.Species.DeltaSD}
	}
	n := in.Particles

	f := &filter{in: in, sp: &in.Species}
	f.dr = f.sp.drives(in.Days.Lat, w.first, w.t, w.q, in.FlowPct, 0)
	f.year = w.first.Year
	f.par, f.st, f.weight = make([]draw, n), make([]state, n), make([]float64, n)
	f.z, f.logw, f.grid = make([][]float64, n), make([][cells]float64, n), make([][cells]float64, n)
	f.laid = make([][]float64, n)
	for i, q := range QGrid() {
		f.qLog[i] = math.Log(q)
	}

	for j := range n {
		rng := stream(in.Seed, j)
		f.par[j] = f.sp.sample(rng, in.Prior)
		f.z[j], f.laid[j] = make([]float64, len(f.dr)), make([]float64, len(f.dr))
		for i := range f.z[j] {
			f.z[j][i] = rng.NormFloat64()
		}

		for c := range f.logw[j] {
			p := 1.0 / qPoints
			if in.Q != nil {
				p = in.Q[c/len(kGrid)]
			}
			f.logw[j][c] = math.Log(p / float64(len(kGrid)))
		}
	}

	f.normalise()
	return f
}

// advance moves all particles on until they have seen `to` days.
func (f *filter) advance(to int) {
	for j := range f.par {
		for i := f.days; i < to; i++ {
			f.sp.step(&f.par[j], &f.st[j], &f.dr[i], f.sp.Sigma, f.z[j][i])
			f.laid[j][i] = f.st[j].totals(f.sp).spawned
		}
	}
	f.days = max(f.days, to)
}

// weigh adds one trip to the log weights.
func (f *filter) weigh(t coldseam.Trip) {
	f.Trips++
	f.LineHours += lineHours(t)
	if t.BecauseMail != nil && *t.BecauseMail {
		f.BecauseMail++
	}
	resident := DefaultResident
	if f.in.Resident != nil {
		resident = f.in.Resident(t.Reach)
	}

	f.tabulate(t.Fish)
	base := math.Log(lineHours(t)) + partySlope*math.Log(float64(max(t.Anglers, 1)))
	for j := range f.par {
		tot := f.st[j].totals(f.sp)
		lnN := math.Log(math.Max(tot.index()+resident, 1e-6))
		looked := temper * spentLog(t.Spent, t.LookedAt, tot.spent())
		for c := range f.logw[j] {
			f.logw[j][c] += temper*f.lookup(c%len(kGrid), base+lnN+f.qLog[c/len(kGrid)]) + looked
		}
	}
}

// The table of log likelihoods over ln mu, one for each size.
const (
	muLo, muHi, muStep = -9.0, 7.0, 0.05
	muN                = int((muHi-muLo)/muStep) + 1
)

// tabulate computes ln E_u[NegBin(y; exp(lnmu + u), k)] with u ~ N(0, .5^2) by
// three-point Gauss-Hermite.
func (f *filter) tabulate(y int) {
	nodes := [3]float64{-math.Sqrt(3) * anglerSD, 0, math.Sqrt(3) * anglerSD}
	weights := [3]float64{1.0 / 6, 2.0 / 3, 1.0 / 6}
	for i, k := range kGrid {
		if f.table[i] == nil {
			f.table[i] = make([]float64, muN)
		}
		for m := range muN {
			sum := 0.0
			for u := range nodes {
				sum += weights[u] * math.Exp(negBinLog(y, math.Exp(muLo+muStep*float64(m)+nodes[u]), k))
			}
			f.table[i][m] = math.Log(math.Max(sum, 1e-300))
		}
	}
}

func (f *filter) lookup(k int, lnmu float64) float64 {
	x := clip((lnmu-muLo)/muStep, 0, float64(muN-1)-1e-9)
	i := int(x)
	t := f.table[k]
	return t[i] + (x-float64(i))*(t[i+1]-t[i])
}

// negBinLog is ln P(Y = y) of a negative binomial of mean mu and size k.
func negBinLog(y int, mu, k float64) float64 {
	a, _ := math.Lgamma(float64(y) + k)
	b, _ := math.Lgamma(k)
	c, _ := math.Lgamma(float64(y) + 1)
	return a - b - c - k*math.Log1p(mu/k) + float64(y)*math.Log(mu/(mu+k))
}

// spentLog is ln P of seeing spent fish among those looked at, beta-binomial
// with mean p and phi 8; 0 with none looked at.
func spentLog(spent, looked int, p float64) float64 {
	if looked <= 0 || spent < 0 || spent > looked {
		return 0
	}
	p = clip(p, .02, .98)
	a, b := spentPhi*p, spentPhi*(1-p)
	lg := func(x float64) float64 { v, _ := math.Lgamma(x); return v }
	n, s := float64(looked), float64(spent)
	return lg(n+1) - lg(s+1) - lg(n-s+1) + lg(s+a) + lg(n-s+b) - lg(n+a+b) + lg(a+b) - lg(a) - lg(b)
}

// normalise turns the log weights into particle weights and grids, and
// resamples when the particles have run thin.
func (f *filter) normalise() {
	best := math.Inf(-1)
	for j := range f.logw {
		best = math.Max(best, slices.Max(f.logw[j][:]))
	}
	sum, squares := 0.0, 0.0
	for j := range f.logw {
		s := 0.0
		for c, v := range f.logw[j] {
			f.grid[j][c] = math.Exp(v - best)
			s += f.grid[j][c]
		}
		f.weight[j] = s
		sum += s
		for c := range f.grid[j] {
			f.grid[j][c] /= math.Max(s, 1e-300)
		}
	}

	for j := range f.weight {
		f.weight[j] /= sum
		squares += f.weight[j] * f.weight[j]
	}
	f.ESS = 1 / squares
	if f.ESS < float64(len(f.weight))/2 {
		f.resample()
	}
}

// resample draws the particles anew by weight and spreads delta (and the
// warming slope once there are trips enough) by Liu-West shrinkage; each new
// particle is run again from 1 January on its own noise, so that its state
// belongs to its parameters.
func (f *filter) resample() {
	n := len(f.par)
	dm, ds := f.Delta()
	bm, bs := f.moment(func(p *draw) float64 { return p.bT })
	pick := systematic(f.weight, n)
	par, z, logw, grid := make([]draw, n), make([][]float64, n), make([][cells]float64, n), make([][cells]float64, n)
	f.Resampled++
	spread := math.Sqrt(1 - shrink*shrink)

	for k, j := range pick {
		rng := stream(f.in.Seed+uint64(f.Resampled)*7919, k)
		par[k], grid[k] = f.par[j], f.grid[j]
		par[k].delta = shrink*f.par[j].delta + (1-shrink)*dm + spread*ds*rng.NormFloat64()
		if f.Trips >= warmSlopeTrips {
			par[k].bT = shrink*f.par[j].bT + (1-shrink)*bm + spread*bs*rng.NormFloat64()
		}

		z[k] = slices.Clone(f.z[j])
		for i := f.days; i < len(z[k]); i++ {
			z[k][i] = rng.NormFloat64()
		}
		for c, v := range grid[k] {
			logw[k][c] = math.Log(math.Max(v, 1e-300))
		}
		f.weight[k] = 1 / float64(n)
	}

	f.par, f.z, f.logw, f.grid = par, z, logw, grid
	days := f.days
	f.days = 0
	for j := range f.st {
		f.st[j] = state{}
	}
	f.advance(days)
}
