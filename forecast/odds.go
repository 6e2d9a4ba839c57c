package forecast

import (
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/verdict"
)

// oddsBack are the days of record before the morning that its sum looks at: what
// lies further back weighs nothing.
const oddsBack = 8

// Odds of later days fade to the base rate: in full to this lead, gone after the
// other [proposal]. A week ahead the trade's rules say nothing of a morning.
const (
	fadeFrom = 2
	fadeTo   = 9
)

// odds carries what the odds of one morning rest on.
type odds struct {
	centre verdict.Centre
	rank   coldseam.Rank
	learnt verdict.Learnt
	sums   [][]verdict.DaySum // [member][lead]
	note   coldseam.Reason
}

// prepareOdds sums the effects along every member and lets the log speak.
func (w *work) prepareOdds() {
	f := w.f
	if !w.haveT {
		return
	}
	o := &w.odds
	o.centre = verdict.CentreOf(nil)
	if f.Centre != nil {
		o.centre = *f.Centre
	}
	if o.centre.Flow == nil {
		o.centre.Flow = verdict.FlowOfDates(f.Days)
	}

	o.rank = o.centre.Rank()
	logged, anglers := verdict.LogMornings(f.Log)
	o.rank.Logged, o.rank.Anglers = len(logged), anglers
	seen := w.river(logged)
	w.learnOdds(logged, seen)
	if p := f.Prev; p != nil && p.Verdict.ShowsOdds() {
		switch p.Day {
		case f.Day.Add(-1):
			o.rank.Before = p.Odds
		case f.Day:
			o.rank.Before = p.Rank.Before
		}
	}

	for m, water := range w.tempReach.Members {
		s := seen
		s.First = f.lastDay().Add(1 - oddsBack)
		s.WaterC, s.FlowM3S, s.Stage, s.WaveP = nil, nil, nil, nil
		for i := range oddsBack {
			k := w.daysReach.Index(s.First.Add(i))
			s.WaterC = append(s.WaterC, coldseam.At(w.daysReach.WaterC, k))
			s.FlowM3S = append(s.FlowM3S, coldseam.At(f.Days.FlowM3S, k))
			s.Stage, s.WaveP = append(s.Stage, seen.StageOn(k)), append(s.WaveP, math.NaN())
		}

		for l := range ensemble.DefaultHorizon {
			flow := math.NaN()
			if m < len(w.flowR.Members) {
				flow = w.flowR.Members[m][l]
			}
			stage, wave := w.stageAt(l)
			s.WaterC, s.FlowM3S = append(s.WaterC, water[l]), append(s.FlowM3S, flow)
			s.Stage, s.WaveP = append(s.Stage, stage), append(s.WaveP, wave)
		}
		s.ClarityFrom = oddsBack
		o.sums = append(o.sums, f.Effects.Sums(s)[oddsBack:])
	}
}

// stageAt is the stage of the run on a later day, and the odds of a wave where a
// counter or the log drives them: the model's own are the water's warmth once
// more.
func (w *work) stageAt(lead int) (stage string, wave float64) {
	st := w.out.Run.State
	if !st.Active || lead >= len(st.Days) {
		return "", math.NaN()
	}
	counted := lead == 0 && !st.Counted.Day.IsZero()
	if counted || w.out.Learnt != nil {
		return st.Days[lead].Stage, st.Days[lead].PWave
	}
	return st.Days[lead].Stage, math.NaN()
}

// river is what the effects see of the record, with the stages of the run in the
// years of the log and on the days before the morning.
func (w *work) river(logged []verdict.LogMorning) verdict.Series {
	f := w.f
	s := SeriesOf(w.daysReach, f.Reach, w.odds.centre.Flow)
	years := map[int]bool{verdict.SeasonOf(f.lastDay(), f.Reach.Lat).Year: true}
	for _, m := range logged {
		years[verdict.SeasonOf(m.Day, f.Reach.Lat).Year] = true
	}
	s.Stage = Stages(f.Species, w.daysReach, w.modelWater(), f.RunPrior.Mean, func(y int) bool { return years[y] })
	s.Clarity, _ = verdict.Clarity(w.freshTurbidity(), f.Clarity)
	return s
}

// SeriesOf is a record as the effects read it, without the stage of the run.
func SeriesOf(days coldseam.Days, r coldseam.Reach, flow *verdict.FlowOfDate) verdict.Series {
	s := verdict.Series{
		First:     days.First,
		WaterC:    days.WaterC,
		FlowM3S:   days.FlowM3S,
		Flow:      flow,
		NoDeep:    len(r.Spots) > 0,
		Tailwater: r.ResidentShare >= run.TailwaterResident,
		Autumn: func(d coldseam.Date) bool {
			return d.Sub(verdict.SeasonOf(d, days.Lat)) >= run.LastDay
		},
		ClarityFrom: days.Len(),
	}
	for _, x := range r.Spots {
		s.NoDeep = s.NoDeep && x.Kind != coldseam.SpotHole
	}
	return s
}

// Stages are the stages of the run on the days of a record, in the years asked
// for; "" where the clock does not run.
func Stages(sp run.Species, days coldseam.Days, modelC []float64, delta float64, years func(int) bool) []string {
	out := make([]string, days.Len())
	if len(sp.Cohorts) == 0 || sp.NoClock {
		return out
	}
	for y := days.First.Year - 1; y <= days.First.Add(days.Len()).Year; y++ {
		if !years(y) {
			continue
		}
		clock, err := run.Clock(sp, days, run.ClockOptions{Year: y, NoNoise: true, Delta: delta, ModelC: modelC})
		if err != nil {
			continue // a year without water temperature
		}
		for _, c := range clock {
			if i := days.Index(c.Date); i >= 0 && i < len(out) {
				out[i] = c.Stage
			}
		}
	}
	return out
}

// learnOdds lets the log of the reach speak on the odds.
func (w *work) learnOdds(logged []verdict.LogMorning, river verdict.Series) {
	f, o := w.f, &w.odds
	o.note = coldseam.Reason{Kind: verdict.KindNote, Code: "odds_rank"}
	if o.rank.Only() {
		return
	}

	rate := verdict.TargetOf(f.Reach, logged, verdict.SeasonOf(f.Day, f.Reach.Lat))
	sums := f.Effects.Sums(river)
	var log []verdict.Logged
	for _, m := range logged {
		if k := w.daysReach.Index(m.Day); k >= 0 && k < len(sums) && sums[k].OK {
			log = append(log, verdict.Logged{S: sums[k].S, Phase: sums[k].Phase, Good: m.Good(rate)})
		}
	}

	o.learnt = o.centre.Learn(log)
	o.rank.Level, o.rank.Shape, o.rank.RateOnly = o.learnt.Level, o.learnt.Shape, o.learnt.RateOnly
	o.rank.GoodRate = rate
	o.note = o.learnt.Note()
}

// good is the odds of a good morning of every member on a later day, with the
// effect of the window's light.
func (w *work) good(lead int, light float64) []float64 {
	o := &w.odds
	if lead < 0 || lead >= ensemble.DefaultHorizon || len(o.sums) == 0 {
		return nil
	}
	own := min(max(float64(fadeTo-lead)/(fadeTo-fadeFrom), 0), 1)
	p := make([]float64, 0, len(o.sums))

	for m, sums := range o.sums {
		d := sums[lead]
		if !d.OK {
			return nil
		}
		s := d.S + verdict.NewShare*light
		q := o.centre.Odds(s)
		if !o.rank.Only() {
			q = o.learnt.Odds(s, d.Phase, draw(m, len(o.sums)))
		}
		p = append(p, own*q+(1-own)*o.rank.Base)
	}
	return p
}

// draw is the m-th of n even draws of a normal, dealt over the members so that
// none of their order is in it.
func draw(m, n int) float64 {
	const golden = .6180339887498949
	u := math.Mod(float64(m)*golden+.5, 1)
	u = min(max(u, .5/float64(n)), 1-.5/float64(n))
	return math.Sqrt2 * math.Erfinv(2*u-1)
}
