package forecast

import (
	"errors"
	"fmt"
	"math"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/flow"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/jig"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/thermal"
	"example.org/coldseam/forecast/trust"
	"example.org/coldseam/forecast/verdict"
)

// Morning is everything one issue made: the brief that is told and the
// ensembles behind it, which are stored so that they can be scored later.
type Morning struct {
	Brief     coldseam.Brief
	Decision  verdict.Decision
	Flow      coldseam.Ensemble   // daily means
	Temp      coldseam.Ensemble   // daily means
	Crossings []coldseam.Crossing // of the gauge's own water: what is scored; the brief has the reach's
	FlowModel *flow.Model
	TempModel *thermal.Model
	Run       run.Result
	Learnt    *run.Learnt  // what the season's log taught; nil without trips
	Ice       []ice.Record // the latch on each day of this winter, the day under way last
	Problems  []error      // what could not be computed; the brief says what that means

	// The odds of the best window, whatever stops it: see OddsAlone.
	aloneOdds float64
	aloneWord coldseam.Verdict
	aloneOK   bool
}

// Make computes the morning of one reach. It always returns a brief: what is
// missing makes it NO CALL with the reason, never an empty page, and so does a
// fault of one river's values that stops the computation or leaves a number that
// is none.
func Make(f Inputs) (out Morning) {
	w := work{f: &f}
	defer func() {
		if p := recover(); p != nil {
			out = w.broken(fmt.Errorf("panic: %v: %w", p, coldseam.ErrInvalid))
		}
	}()

	w.fill()
	w.daily()
	w.hours()
	w.runClock()
	w.prepareOdds()
	w.candidates()
	w.decide()
	w.alone()
	w.brief()
	if err := sound(w.out.Brief); err != nil {
		return w.broken(err)
	}
	return w.out
}

// work carries one morning through its steps.
type work struct {
	f       *Inputs
	out     Morning
	climate verdict.Climate
	season  verdict.SeasonFlow
	flowR   ensemble.Result
	tempR   ensemble.Result
	haveT   bool
	// What the angler stands in: the gauge's forecast and record moved to the
	// reach. The gauge's own are stored and scored.
	source    waterSource
	reach     thermal.Reach
	tempReach ensemble.Result
	daysReach coldseam.Days
	waterNote coldseam.Reason
	agency    [][]float64 // the discharge forecast of the agency, daily means
	travelH   float64     // of the water from gauge to reach
	flowH     *flow.Hours // nil without a reading or members
	curve     jig.StageCurve
	diel      *thermal.Diel
	sun       verdict.Sun
	failed    error
	advices   []coldseam.Advice    // by candidate
	spots     [][]coldseam.SpotJig // by candidate
	rig       rigModel
	cands     []verdict.Candidate
	begun     []verdict.Candidate // windows under way
	odds      odds
	history   trust.History
	ice       ice.Status
	frozen    ice.State // as the decision takes it: the latch, or a sign among the readings
	geo       jig.Geometry
}

func (w *work) fill() {
	f := w.f
	if f.Loc == nil {
		f.Loc = time.UTC
	}
	if len(f.Bands) == 0 {
		f.Bands = coldseam.DefaultBands
	}
	if f.Members == 0 {
		f.Members = ensemble.DefaultMembers
	}

	if f.Table.GaugeAgeH == 0 {
		f.Table = verdict.DefaultTable()
	}
	if f.Effects == nil {
		f.Effects = verdict.DefaultEffects()
	}
	f.confirm()
	f.possible()

	f.Days.Lat = f.Reach.Lat
	w.ice, w.out.Ice = f.Ice() // before members' readings stand in for a thermometer
	w.readings()
	w.history = trust.HistoryOf(f.Discharge, f.Stage, f.Water, f.Now)
	w.climate = verdict.ClimateOf(f.Days, f.Day)
	w.season = verdict.SeasonFlowOf(f.Days)
	w.sun = verdict.SunOf(f.Day, f.Reach.Lat, f.Reach.Lon, f.Loc)
	w.curve = stageCurve(f)
	w.diel = thermal.NewDiel(f.Water, f.Now, f.Loc)
}

func (w *work) problem(what string, err error) {
	w.out.Problems = append(w.out.Problems, fmt.Errorf("%s: %w", what, err))
	if w.failed == nil && !errors.Is(err, coldseam.ErrUnavailable) {
		w.failed = err
	}
}

// daily runs the two daily models on one set of traces: temperature draws
// them, flow follows.
func (w *work) daily() {
	f := w.f
	if f.Days.Len() == 0 {
		// A record that could not be read leaves a fitted model without a view.
		w.problem("daily values", coldseam.ErrUnavailable)
		return
	}

	w.agency = f.agencyMembers(ensemble.DefaultHorizon)
	q := ensemble.Request{
		View:         f.Days,
		Day:          f.lastDay(),
		Pool:         f.Pool,
		Upstream:     f.Upstream,
		Members:      f.Members,
		Horizon:      ensemble.CrossingHorizon,
		Seed:         f.Seed,
		AirErrors:    f.AirErrors,
		Agency:       w.agency,
		AgencyErrors: f.agencyErrors(),
	}
	q.Air = f.airDaily(ensemble.DefaultHorizon)
	var err error
	if f.TempModel == nil {
		f.TempModel, err = thermal.Fit(f.Days, thermal.Options{Seed: f.Seed, Pool: f.Pool, NoAir: f.NoAir})
	}
	if err == nil {
		w.tempR, err = f.TempModel.Forecast(q)
	}

	if err != nil {
		w.problem("water temperature", err)
	} else {
		w.haveT = true
		w.out.Temp = w.tempR.Ensemble(f.tempSite(), coldseam.WaterTemp, f.Now, f.Loc)
		w.toReach()
		q.Traces = w.tempR.Trace
	}

	w.out.TempModel = f.TempModel
	err = nil
	if f.FlowModel == nil {
		f.FlowModel, err = flow.Fit(f.Days, flow.Options{Seed: f.Seed, Pool: f.Pool, Upstream: f.Upstream})
	}
	q.Horizon = ensemble.DefaultHorizon
	if err == nil {
		w.flowR, err = f.FlowModel.Forecast(q)
	}

	if err != nil {
		w.problem("discharge", err)
	} else {
		flow.Rain(&w.flowR, f.rainDaily(ensemble.DefaultHorizon), f.RainTerm)
		w.out.Flow = w.flowR.Ensemble(f.Site.ID, coldseam.Discharge, f.Now, f.Loc)
	}

	w.out.FlowModel = f.FlowModel
}

// hours fits the gauge section and reads the members by the hour.
func (w *work) hours() {
	f := w.f
	last, ok := coldseam.Series{Obs: f.Discharge}.Last()
	if len(f.Gaugings) > 0 {
		var err error
		if ok && last.Value > 0 {
			w.geo, err = jig.FitNear(f.Gaugings, last.Value)
		} else {
			w.geo, err = jig.Fit(f.Gaugings)
		}
		if err != nil {
			w.out.Problems = append(w.out.Problems, fmt.Errorf("hydraulic geometry: %w", err))
		}
	}

	in := flow.HoursInput{Obs: f.Discharge, Now: f.Now, Loc: f.Loc, Daily: w.flowR}
	if ok && w.geo.Valid() && f.Reach.GaugeKM != 0 {
		in.TravelH, w.travelH = flow.TravelTime(f.Reach.GaugeKM, w.geo.MeanMS(last.Value))
		if w.source != waterGauge {
			w.travelH = 0 // the thermometer stands elsewhere
		}
	}

	h, err := flow.NewHours(in)
	if err != nil {
		return // no reading or no members: the decision says so
	}

	w.flowH = h
	if h.Regulated() {
		f.Reach.Regulated = true
	}
	if f.Reach.Regulated {
		h.Follow(f.plan())
	}
}

// runClock carries the spawning run along the members.
func (w *work) runClock() {
	f := w.f
	if !w.haveT || len(f.Species.Cohorts) == 0 {
		w.out.Run.State = coldseam.RunState{Species: f.Species.Key, Why: "no_species"}
		return
	}

	today := f.lastDay().Add(1)
	pct := verdict.FlowPct(f.Days, int(f.Table.MinYears))
	model := w.modelWater()
	learnt := w.learn(today, pct, model)
	ref := run.NewReference(f.Species, w.daysReach, model, today.Year, f.Seed)
	in := run.Input{
		Species:       f.Species,
		Days:          w.daysReach,
		ModelC:        model,
		Today:         today,
		Learnt:        learnt,
		Seed:          f.Seed,
		Prior:         f.RunPrior,
		Recal:         f.Recal,
		Counts:        f.Counts,
		ResidentShare: f.Reach.ResidentShare,
		FlowPct:       pct,
		SeasonPeak:    ref.Peak,
	}
	for _, m := range w.tempReach.Members {
		in.WaterC = append(in.WaterC, m[:ensemble.DefaultHorizon])
	}

	if len(w.flowR.Members) == len(in.WaterC) {
		in.FlowM3S = w.flowR.Members
	}
	r, err := run.Forecast(in)
	if err != nil {
		w.problem("run clock", err)
		return
	}

	w.out.Run = r
}

// modelWater is the project's own water model at the reach on the days of the
// record, for days on which the thermometer was out; nil without one.
func (w *work) modelWater() []float64 {
	past := w.f.Days
	past.WaterC = w.f.TempModel.Past(w.f.Days)
	return w.reach.Days(past).WaterC
}

// learn lets the season's log speak on the run; nil without trips.
func (w *work) learn(today coldseam.Date, pct func(coldseam.Date, float64) float64, model []float64) *run.Learnt {
	f := w.f
	if len(f.Trips) == 0 || f.Species.NoClock {
		return nil
	}
	l, err := run.Learn(run.LearnInput{
		Species:  f.Species,
		Days:     w.daysReach,
		ModelC:   model,
		FlowPct:  pct,
		Today:    today,
		Trips:    f.Trips,
		Prior:    f.RunPrior,
		Q:        f.CatchPrior,
		Resident: func(coldseam.ReachID) float64 { return f.Reach.ResidentShare },
		Seed:     f.Seed,
	})
	if err != nil {
		w.out.Problems = append(w.out.Problems, fmt.Errorf("trip log: %w", err))
		return nil
	}
	if l.Trips == 0 {
		return nil
	}
	w.out.Learnt = l
	return l
}

// candidates are the windows of the day with everything that belongs to each.
func (w *work) candidates() {
	f := w.f
	w.frozen = verdict.Decide(w.inputs()).Ice
	spans := verdict.Windows(w.sun, f.Now)
	lead := f.lead(f.Day)
	var medians []float64
	for _, s := range spans {
		c := verdict.Candidate{Start: s.Start, End: s.End}
		if w.haveT && lead >= 0 && lead < len(w.tempR.Members[0]) {
			c.WaterC = w.waterIn(s.Start, s.End)
		}
		medians = append(medians, coldseam.Quantile(c.WaterC, .5))
		w.cands = append(w.cands, c)
	}

	for _, s := range verdict.Begun(w.sun, f.Now) {
		c := verdict.Candidate{Start: s.Start, End: s.End}
		w.flowIn(&c, lead)
		w.begun = append(w.begun, c)
	}

	warmest := verdict.WarmestWindow(medians)
	for i := range w.cands {
		c := &w.cands[i]
		if i == warmest {
			c.Why = "warmest"
		}
		light := f.Effects.Light(medians[i], w.sun.LowLight(c.Start, c.End), i == warmest || warmest < 0)
		w.fillCandidate(c, lead, light)
	}
}

// waterIn is the members' mean water temperature at the reach from a to b, not
// below freezing.
func (w *work) waterIn(a, b time.Time) []float64 {
	out := make([]float64, len(w.tempR.Members))
	for i, m := range w.tempR.Members {
		out[i] = w.toReachAt(i, func(lag time.Duration) float64 {
			return w.diel.Mean(i, m, w.f.lastDay(), a.Add(-lag), b.Add(-lag))
		})
	}
	return out
}

// waterAt is member i's water temperature at the reach at t.
func (w *work) waterAt(i int, t time.Time) float64 {
	return w.toReachAt(i, func(lag time.Duration) float64 {
		return w.diel.At(i, w.tempR.Members[i], w.f.lastDay(), t.Add(-lag))
	})
}

// toReachAt moves member i from the gauge, whose water some time before is given,
// to the reach: what passed the gauge one travel time earlier and has not yet
// forgotten it, by the relation of the two.
func (w *work) toReachAt(i int, gauge func(lag time.Duration) float64) float64 {
	v := gauge(0)
	if lag := time.Duration(w.travelH * float64(time.Hour)); lag != 0 {
		v += math.Exp(-math.Abs(w.travelH)/waterMemoryH) * (gauge(lag) - v)
	}
	return w.reach.At(i, v)
}

// waterMemoryH is the time in which water on its way forgets the gauge's
// temperature for that of its own air and sun: the middle of the three published
// rivers' 1/a3 of .94, .55 and .36 days (Toffolon & Piccolroaz 2015 [from memory]),
// used here for water on its way [proposal]. Water of one river is warmed everywhere at once, so a gauge
// far upstream says little by its hour.
const waterMemoryH = .55 * 24

func (w *work) fillCandidate(c *verdict.Candidate, lead int, light float64) {
	f := w.f
	stages := w.flowIn(c, lead)
	advice := w.advise(*c)
	w.advices = append(w.advices, advice)
	spots := w.addRigWindow(*c, stages, advice)
	w.spots = append(w.spots, spots)
	if len(spots) > 0 {
		if p, ok := jig.HoldP(spots[0], f.BoxOz, f.Limits.MaxOz); ok {
			c.HoldP = &p
		}
		if head := spots[coldseam.Headline(spots)]; head.TieOz > 0 {
			c.Tie = coldseam.OzName(head.TieOz)
		}
		c.NoneHolds = spots[0].Withheld.Code == "none_holds" && spots[0].TimedHolds == nil
		c.SpotProved = spots[0].Calibrated
	}
	c.PGood = w.good(lead, light)
}

// flowIn sets the flow of the members in a window and what follows from it, and
// returns their stages.
func (w *work) flowIn(c *verdict.Candidate, lead int) []float64 {
	if w.flowH == nil || lead < 0 {
		return nil
	}
	after := c.End.Add(hoursOf(w.f.Table.AfterH))
	for i := range w.flowH.Members() {
		c.FlowM3S = append(c.FlowM3S, w.flowH.Peak(i, c.Start, c.End))
		c.AfterM3S = append(c.AfterM3S, w.flowH.Peak(i, c.Start, after))
		c.RiseShare = append(c.RiseShare, w.flowH.Rise(i, w.f.Now, after))
	}
	return w.stages(c, after)
}

// stages sets what needs stage: the chance of minor flood and the rise in
// metres; it returns the stage of each member at its highest flow of the
// window, nil when the gauge has no stage or no curve.
func (w *work) stages(c *verdict.Candidate, after time.Time) []float64 {
	f := w.f
	now, ok := coldseam.Series{Obs: f.Stage}.Last()
	if !ok || len(w.curve.FlowM3S) < 2 {
		return nil
	}
	last, ok := coldseam.Series{Obs: f.Discharge}.Last()
	if !ok {
		return nil
	}

	stage := func(q float64) float64 { return now.Value + curveAt(w.curve, q) - curveAt(w.curve, last.Value) }
	var out []float64
	flood := 0
	for i := range c.FlowM3S {
		top := w.flowH.Peak(i, f.Now, after)
		c.RiseM = append(c.RiseM, math.Max(stage(last.Value*(1+c.RiseShare[i]))-now.Value, 0))
		out = append(out, stage(c.FlowM3S[i]))
		if f.Reach.FloodStageM != nil && stage(top) >= *f.Reach.FloodStageM {
			flood++
		}
	}

	if f.Reach.FloodStageM != nil {
		p := float64(flood) / float64(len(c.FlowM3S))
		c.PFlood = &p
	}

	return out
}

// curveAt reads a stage curve, linear in ln Q, extended along its end slopes.
func curveAt(c jig.StageCurve, q float64) float64 {
	n := len(c.FlowM3S)
	i := 1
	for i < n-1 && c.FlowM3S[i] < q {
		i++
	}
	a, b := math.Log(c.FlowM3S[i-1]), math.Log(c.FlowM3S[i])
	return c.StageM[i-1] + (math.Log(math.Max(q, 1e-3))-a)/(b-a)*(c.StageM[i]-c.StageM[i-1])
}
