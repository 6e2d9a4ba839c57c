package run

import (
	"math"

	"example.org/coldseam"
)

// A wave is a day on which more than waveRatio times as many fish arrive as on
// the mean of the seven days before, and at least waveFloor of the run, when
// 5-95 % of the run had arrived before it. Counters of seven rivers show it on
// .13-.19 of such days [reference calculation]; a fixed share of the run would
// depend on how long the run lasts. The floor keeps a trickle from being one
// [proposal].
const (
	waveRatio = 2
	waveFloor = 0.005
)

// GapShare is the daily share below which a day belongs to a gap [proposal].
const GapShare = 0.01

// DayLength is the time from sunrise to sunset in hours at latitude lat
// (degrees) on day doy of the year, the sun's centre at -0.833 degrees.
//
//	dec = .409 sin(2 pi doy/365.25 - 1.39)
//	L   = (24/pi) acos((sin(-.833) - sin lat sin dec)/(cos lat cos dec))
//
// Polar days and nights are clipped to 24 and 0.
func DayLength(lat float64, doy int) float64 {
	dec := 0.409 * math.Sin(2*math.Pi*float64(doy)/365.25-1.39)
	phi := lat * math.Pi / 180
	x := (math.Sin(-0.833*math.Pi/180) - math.Sin(phi)*math.Sin(dec)) / (math.Cos(phi) * math.Cos(dec))
	return 24 / math.Pi * math.Acos(clip(x, -1, 1))
}

// draw is one set of parameters of a trajectory.
type draw struct {
	delta, tMove, h0, bT, bQ, du, lurge float64
}

func (s *Species) defaults() draw {
	return draw{tMove: s.TMove, h0: s.H0, bT: s.BWarm, bQ: s.BFlow, du: s.Du, lurge: s.Lurge}
}

// drive is one day's forcing, the same for all draws of a member.
type drive struct {
	t, dT2, dQ2 float64
	len         float64 // day length, h
	ripen       float64 // logistic of day length
	cold        float64 // 0 below .5 C, 1 from 1.1 C
	wall        float64 // high-flow gate, 1 = open or unknown
}

// drives turns daily water and flow into forcings for days i0 <= i < len(t).
// first is the civil day of index 0. dT2 and dQ2 are 0 where the value two
// days before lies outside the slices or, for flow, is missing or not positive.
func (s *Species) drives(lat float64, first coldseam.Date, t, q []float64, pct func(coldseam.Date, float64) float64,
	i0 int) []drive {
	out := make([]drive, 0, len(t)-i0)
	for i := i0; i < len(t); i++ {
		day := first.Add(i)
		l := DayLength(lat, day.YearDay())
		d := drive{t: t[i], len: l, wall: 1,
			ripen: logistic((l - s.L50) / s.KL),
			cold:  clip((t[i]-0.5)/0.6, 0, 1)}
		if i >= 2 {
			d.dT2 = clip(t[i]-t[i-2], -3, 3)
			d.dQ2 = flowChange(coldseam.At(q, i), coldseam.At(q, i-2))
		}

		if s.FlowHi > 0 && pct != nil {
			if f := pct(day, coldseam.At(q, i)); !math.IsNaN(f) {
				d.wall = logistic((s.FlowHi - f) / 0.03)
			}
		}
		out = append(out, d)
	}

	return out
}

// flowChange is ln(q/q0) within +-1.5, 0 if either is missing or not positive.
func flowChange(q, q0 float64) float64 {
	if !(q > 0) || !(q0 > 0) {
		return 0
	}
	return clip(math.Log(q/q0), -1.5, 1.5)
}

// state is one trajectory: where its fish are.
type state struct {
	r        float64    // ripeness, C d
	a        float64    // noise path
	begun    bool       // a is set
	gap      int        // days in a row with arrivals below GapShare
	sinceGap int        // days since the last gap of two days or more
	exits    float64    // fish that left
	arrivals float64    // of the last day
	week     [7]float64 // arrivals of the last seven days, in a ring
	days     int
	wave     bool // the last day was a wave
	h, s, b  [MaxCohorts]float64
	moved    [MaxCohorts]float64
	fresh    [MaxCohorts]float64 // arrived yesterday
	x, o     [MaxCohorts]float64 // spawned and left the holes, cumulative
}

// step moves a trajectory on by one day. z is a standard normal number; noise
// off is sig = 0.
//
//	u   = logistic((L - Lurge)/kU) clip((T - .5)/.6, 0, 1)
//	Te  = T + Du u
//	R  += logistic((L - L50)/kL) max(0, min(Te, Tcap) - Tb)
//	F_c = w_c Phi((ln R - ln theta_c - delta)/s_c)
//	lam = h0 logistic((Te - Tmove)/sMove) logistic((f_hi - f)/.03) exp(bT dT2 + bQ dQ2 + e), bT less in warm water: see warming
//	A_c = max(F_c - moved_c, 0)(1 - exp(-lam))
//
// The states then move on from yesterday's: see spawn.
func (s *Species) step(p *draw, st *state, d *drive, sig, z float64) {
	e := 0.0
	if sig > 0 {
		if st.begun {
			st.a = s.Rho*st.a + math.Sqrt(1-s.Rho*s.Rho)*sig*z
		} else {
			st.a, st.begun = sig*z, true
		}
		e = st.a - sig*sig/2
	}

	te := d.t
	if p.du > 0 && d.cold > 0 {
		te += p.du * logistic((d.len-p.lurge)/s.KU) * d.cold
	}
	st.r += d.ripen * math.Max(0, math.Min(te, s.Tcap)-s.Tb)
	lnR := math.Log(st.r) - p.delta
	if lnR <= s.lnFirst { // most days of a year: nothing has moved yet
		st.days++
		st.countGap()
		return
	}

	lam := p.h0 * logistic((te-p.tMove)/s.SMove) * d.wall * math.Exp(p.bT*s.warming(d.t)*d.dT2+p.bQ*d.dQ2+e)
	open := -math.Expm1(-lam)
	up := (te - s.Trap[0]) * s.invTrapUp
	warm := s.Trap[3] + warmHeld - d.t
	fresh := s.leaving(math.Min(up, (s.Trap[3]-d.t)*s.invTrapDown), warm)

	held := s.leaving(math.Min(up, warm), warm)
	st.arrivals = 0
	for c := range s.Cohorts {
		k := &s.Cohorts[c]
		a := math.Max(k.W*phi((lnR-s.lnTheta[c])/k.S)-st.moved[c], 0) * open
		st.spawn(s, c, a, fresh, held)
	}

	st.countWave()
	st.countGap()
}

// warming is how much of BWarm acts at a water temperature.
func (s *Species) warming(t float64) float64 {
	if s.BWarmTop == 0 {
		return 1
	}
	return clip(1-0.75*(t-s.BWarmTop)/4, 0.25, 1)
}

// countWave compares the day's arrivals with those of the seven days before.
func (st *state) countWave() {
	week, before := 0.0, -st.arrivals
	for _, a := range st.week {
		week += a
	}
	for _, m := range st.moved {
		before += m
	}

	st.wave = inRun(before) && isWave(st.arrivals, week/7)
	st.week[st.days%7] = st.arrivals
	st.days++
}

// isWave holds a day's share of the run against the mean of the week before.
func isWave(day, week float64) bool { return day >= waveFloor && day > waveRatio*week }

// inRun reports whether a share arrived belongs to the days of the run.
func inRun(arrived float64) bool { return arrived >= .05 && arrived <= .95 }

// countGap keeps how long ago the last gap of at least two days was.
func (st *state) countGap() {
	if st.arrivals >= GapShare {
		st.gap = 0
		st.sinceGap++
		return
	}
	st.gap++
	st.sinceGap++
	if st.gap >= 2 {
		st.sinceGap = 0
	}
}

// refillDays is how long after a gap a wave still counts as refilling the
// holes [proposal]: fish take a few days to come up in numbers.
const refillDays = 7

// warmHeld is how far above the end of the trapezoid fish that have held for
// two days or more still spawn, degC: walleye to 15-16 C. They leave unspawned
// above it only, at leaveWarm a day from leaveWarmC further up [proposal]. Water
// that warms in a few days hastens the spawning of ripe fish, it does not
// cancel it.
const (
	warmHeld   = 3
	leaveWarm  = 0.10
	leaveWarmC = 3
)

// leaving is what becomes of holding fish in one day.
type leaving struct {
	out   float64 // share of them that leaves the holes
	spawn float64 // share of the leaving that goes to the gravel
}

// leaving takes how ready the water is for spawning, 1 and above = wholly, and
// how far it is below the limit of the fish, degC.
func (s *Species) leaving(ready, below float64) leaving {
	q := s.HS * clip(ready, 0, 1)
	w := leaveWarm * clip(-below/leaveWarmC, 0, 1)
	if q+w == 0 {
		return leaving{}
	}
	return leaving{-math.Expm1(-(q + w)), q / (q + w)}
}

// spawn moves cohort c on by its arrivals a: the fish of yesterday leave the
// holes as fresh ones, those that have held for longer as held.
func (st *state) spawn(s *Species, c int, a float64, fresh, held leaving) {
	leave := s.leaveM
	if s.Cohorts[c].Female {
		leave = s.leaveF
	}

	young := math.Min(st.fresh[c], st.h[c])
	old := st.h[c] - young
	o := young*fresh.out + old*held.out
	x := young*fresh.out*fresh.spawn + old*held.out*held.spawn
	y := st.s[c] * leave
	z := st.b[c] * s.leave

	st.h[c] += a - o
	st.s[c] += x - y
	st.b[c] += y + (o - x) - z
	st.exits += z
	st.fresh[c] = a
	st.moved[c] += a
	st.x[c] += x
	st.o[c] += o
	st.arrivals += a
}

// totals sums a state over its cohorts.
type totals struct {
	h, s, b, arrived, spawned, through float64
}

func (st *state) totals(s *Species) totals {
	var t totals
	for c := range s.Cohorts {
		t.h += st.h[c]
		t.s += st.s[c]
		t.b += st.b[c]
		t.arrived += st.moved[c]
		if s.Cohorts[c].Female {
			t.spawned += st.x[c]
			t.through += st.o[c]
		}
	}
	t.spawned /= s.femaleShare
	t.through /= s.femaleShare
	return t
}

// index is the fishable index N without the resident share.
func (t totals) index() float64 { return t.h + 0.5*t.s + 0.8*t.b }

// spent is the share of the fishable fish that have spawned or left.
func (t totals) spent() float64 {
	n := t.index()
	if n <= 0 {
		return 0
	}
	return math.Min((0.8*t.b+0.15*t.s)/n, 1)
}

// The stages, in the order of a season.
const (
	StageNotYet   = "not yet"
	StageStaging  = "staging"
	StageMoving   = "moving"
	StageSpawning = "spawning"
	StageDropBack = "dropping back"
	StageDone     = "done"
)

// Stages lists the stages in the order of a season.
var Stages = [...]string{StageNotYet, StageStaging, StageMoving, StageSpawning, StageDropBack, StageDone}

// stage is the first rule that matches [proposal].
func (t totals) stage() int {
	switch {
	case t.through > 0.75 && t.b+t.s <= 0.05:
		return 5
	case t.through > 0.75:
		return 4
	case t.through >= 0.25:
		return 3
	case t.arrived >= 0.30:
		return 2
	case t.arrived >= 0.05:
		return 1
	}
	return 0
}

func clip(x, lo, hi float64) float64 { return math.Min(math.Max(x, lo), hi) }
func logistic(x float64) float64     { return 1 / (1 + math.Exp(-x)) }
func phi(x float64) float64          { return 0.5 * math.Erfc(-x/math.Sqrt2) }
