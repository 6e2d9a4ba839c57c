package forecast

import (
	"math"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/verdict"
)

func (w *work) decide() {
	w.out.Decision = verdict.Decide(w.inputs())
}

// inputs is everything the decision rests on, with the windows made so far.
func (w *work) inputs() verdict.Inputs {
	f := w.f
	in := verdict.Inputs{
		Now:     f.Now,
		Day:     f.Day,
		Loc:     f.Loc,
		Reach:   f.Reach,
		Species: f.Species.Key,
		Table:   f.Table,
		Gauge: verdict.Gauge{Discharge: f.Discharge, Stage: f.Stage, Water: f.Water, Turbidity: f.Turbidity,
			DailyOnly: f.Site.DailyOnly, Archived: f.Archived,
			History: w.history, Witness: w.witness(), Confirmed: f.Confirmed},
		Alerts:      verdict.Alerts{At: f.AlertsAt, List: f.Alerts, Gaps: f.AlertGaps, Rules: f.AlertRules},
		Weather:     f.WeatherSteps(),
		Official:    f.Official,
		Climate:     w.climate,
		Season:      w.season,
		WaterModel:  f.TempModel != nil && f.TempModel.Core != nil,
		Candidates:  w.cands,
		OddsNote:    w.odds.note,
		Rank:        w.odds.rank,
		Begun:       w.begun,
		Sun:         w.sun,
		Clarity:     f.Clarity,
		Cost:        f.Cost,
		ReleasePlan: w.releasePlan(),
	}
	in.Ice = w.ice
	in.Bank = f.Bank

	if w.failed != nil {
		in.Failed = w.failed.Error()
	}
	if f.Prev != nil {
		in.Prev = &verdict.Previous{Day: f.Prev.Day, Windows: f.Prev.Windows}
	}
	return in
}

// brief puts the parts into the one value that mail, page, calendar and SQL
// show.
func (w *work) brief() {
	f, d := w.f, w.out.Decision
	b := coldseam.Brief{
		Reach:        f.Reach.ID,
		River:        f.Reach.River,
		ReachName:    f.Reach.Name,
		Site:         f.Site.ID,
		SiteName:     f.Site.Name,
		Zone:         f.Reach.Zone,
		Day:          f.Day,
		Issued:       f.Now,
		GoodUntil:    d.GoodUntil,
		DaylightFrom: w.sun.Rise,
		DaylightTo:   w.sun.Set,
		Verdict:      d.Verdict,
		Odds:         d.Odds,
		OddsOK:       d.OddsOK,
		OddsNote:     d.OddsNote,
		Spread:       d.Spread,
		Rank:         w.odds.rank,
		Cost:         d.Cost,
		Margin:       f.Table.Margin,
		HoldP:        d.HoldP,
		Stops:        d.Stops,
		Reasons:      d.Reasons,
		Cautions:     d.Cautions,
		Hazards:      d.Hazards,
		Surveyed:     d.Surveyed,
		WindowI:      d.WindowI,
		Windows:      d.Windows,
		Begun:        d.Begun,
		Run:          w.out.Run.State,
		Sure:         d.Sure,
		SureBy:       d.SureBy,
		Inputs:       d.Inputs,
		Rules:        f.Reach.Rules,
		Life:         d.Life,
		Sources:      f.Sources,
		Replay:       f.Replayed,
		Bands:        f.Bands,
		FlowLimits:   flowLimits(f),
	}
	b.Ice, b.CurrentDeg, b.Launch = d.IceReason, f.Reach.CurrentDeg, f.Reach.Launch
	if w.sun.CivilOK {
		b.FirstLight = w.sun.Dawn
	}

	w.notes(b.Inputs)
	if b.GoodUntil.IsZero() {
		b.GoodUntil = f.Day.At(12*time.Hour, f.Loc)
	}
	k := max(d.WindowI, 0)
	if k < len(w.spots) {
		b.Jig, b.How = w.spots[k], w.advices[k]
		b.Measure = w.measure(k)
		w.keepRigModel(&b)
	}

	b.PlaceBefore = f.heldPlace()
	b.Place = b.How.Place
	if b.Place.Told == "" {
		b.Place = b.PlaceBefore
		b.Place.Wanted, b.Place.BandWanted = "", ""
	}
	b.Flow, b.Stage, b.Temp = w.flowFact(k), w.stageFact(), w.tempFact(k)
	if w.haveT {
		w.out.Crossings = ensemble.Crossings(f.Days, w.tempR, coldseam.BandEdgesC(f.Bands))
		b.Crossings = ensemble.Crossings(w.daysReach, w.tempReach, coldseam.BandEdgesC(f.Bands))
	}

	b.Next = w.next()
	if !f.NoChart {
		b.Chart = w.chart()
	}
	b.Changed = w.changed(b)
	if p := f.Before; p != nil {
		b.Since = verdict.Since(b, *p)
	}
	if f.Replayed {
		w.replay(&b)
	}
	w.out.Brief = b
}

// notes says beside the inputs what was made of them.
func (w *work) notes(in []coldseam.Input) {
	add := func(key string, note coldseam.Reason) {
		for i := range in {
			if in[i].Key == key && note.Code != "" {
				in[i].Note = append(in[i].Note, note)
			}
		}
	}
	add("water_temp", w.waterNote)
	if w.flowR.Has(ensemble.FlagNoRain) {
		add("weather", coldseam.Reason{Code: "rain_not_modelled"})
	}
	if len(w.flowR.Members) > 0 && len(w.agency) > 0 {
		add("discharge", coldseam.Reason{Code: "agency_flow", At: w.f.freshAgency()[0].Issued})
	}
}

// bestHours repeats the best window on every day of the chart.
func bestHours(w coldseam.Window) [][2]time.Time {
	var out [][2]time.Time
	for d := range chartDays {
		out = append(out, [2]time.Time{w.Start.AddDate(0, 0, d), w.End.AddDate(0, 0, d)})
	}
	return out
}

func (w *work) flowFact(k int) coldseam.Fact {
	f := w.f
	var x coldseam.Fact
	if o, ok := (coldseam.Series{Obs: f.Discharge}).Last(); ok {
		x.Now, x.NowOK, x.NowAt = o.Value, true, o.At
		if w.enoughYears() {
			x.Years, x.Pct = w.climate.Years, w.climate.Pct(o.Value)
			x.Class = verdict.DateClass(x.Pct)
		}
	}

	x.RisePct6h, x.RiseDay = w.rise6h(), w.riseDay()
	x.Source, x.Regulated = w.flowR.Source, f.Reach.Regulated

	if k < len(w.cands) && len(w.cands[k].FlowM3S) > 0 {
		c := w.cands[k]
		x.Window, x.WindowOK = three(c.FlowM3S), true
		x.RiseLimit, x.Until = f.Table.RiseShare, c.End.Add(hoursOf(f.Table.AfterH))
		for _, r := range c.RiseShare {
			if r > x.RiseLimit {
				x.RiseP += 1 / float64(len(c.RiseShare))
			}
		}

		x.Trend, x.TrendTo = verdict.Trend(x.Now, x.Window[1]), c.Start.Add(c.End.Sub(c.Start)/2)
		if at, ok := w.crest(x.Until); ok {
			x.Trend, x.TrendTo = "cresting", at
		}
		if m := f.Reach.MaxFlowM3S; m != nil {
			n := 0
			for _, q := range c.AfterM3S {
				if q > *m {
					n++
				}
			}
			x.ExceedMax = float64(n) / float64(len(c.AfterM3S))
		}
	}

	return x
}

// crest is the hour of the middle forecast's highest flow before the time given,
// where that is more than a step of verdict.Trend above now and above the end.
func (w *work) crest(until time.Time) (at time.Time, ok bool) {
	var path []float64
	start := w.f.Now.Truncate(time.Hour)
	for t := start; !t.After(until); t = t.Add(time.Hour) {
		members := make([]float64, w.flowH.Members())
		for i := range members {
			members[i] = w.flowH.Flow(i, t)
		}
		path = append(path, coldseam.Quantile(members, .5))
	}

	if len(path) == 0 {
		return at, false
	}
	top := slices.Index(path, slices.Max(path))
	rose := strings.HasPrefix(verdict.Trend(path[0], path[top]), "rising")
	falls := strings.HasPrefix(verdict.Trend(path[len(path)-1], path[top]), "rising")
	return start.Add(time.Duration(top) * time.Hour), rose && falls
}

func (w *work) stageFact() coldseam.Fact {
	var x coldseam.Fact
	if o, ok := (coldseam.Series{Obs: w.f.Stage}).Last(); ok {
		x.Now, x.NowOK, x.NowAt = o.Value, true, o.At
	}
	return x
}

func (w *work) tempFact(k int) coldseam.Fact {
	f := w.f
	var x coldseam.Fact
	if o, ok := (coldseam.Series{Obs: f.Water}).Last(); ok {
		x.Now, x.NowAt = o.Value, o.At
		x.NowOK = f.Now.Sub(o.At) <= hoursOf(verdict.WaterTodayH)
	}
	x.Source = w.tempR.Source
	if k < len(w.cands) && len(w.cands[k].WaterC) > 0 {
		x.Window, x.WindowOK = three(w.cands[k].WaterC), true
		x.Class = f.Bands[coldseam.BandOf(f.Bands, x.Window[1])].Key
		x.Trend = warmth(w.dailyTrend())
	}
	return x
}

// dailyTrend is the change in degC from yesterday's daily mean to the middle
// of the forecast for the morning's day.
func (w *work) dailyTrend() float64 {
	f := w.f
	last := coldseam.At(f.Days.WaterC, f.Days.Index(f.lastDay()))
	lead := f.lead(f.Day)
	if math.IsNaN(last) || lead < 0 || lead >= len(w.tempR.Members[0]) {
		return 0
	}
	return coldseam.Quantile(w.tempR.Step(nil, lead+1), .5) - last
}

// warmth classes the change of a day; under 0.2 degC a day is steady
// [proposal].
func warmth(d float64) string {
	switch {
	case d > 0.2:
		return "warming"
	case d < -0.2:
		return "cooling"
	}
	return "steady"
}

// next is the outlook of the days after the morning's.
func (w *work) next() []coldseam.DayOdds {
	f := w.f
	if !w.haveT {
		return nil
	}
	var out []coldseam.DayOdds

	for n := 1; n < ensemble.DefaultHorizon; n++ {
		lead := f.lead(f.Day) + n
		if lead < 0 || lead >= ensemble.DefaultHorizon {
			break
		}
		day := f.Day.Add(n)
		x := coldseam.DayOdds{Day: day}
		t := w.tempReach.Step(nil, lead+1)
		if len(w.cands) > 0 {
			c := w.cands[max(w.out.Decision.WindowI, 0)]
			t = w.waterIn(c.Start.AddDate(0, 0, n), c.End.AddDate(0, 0, n))
		}

		x.WaterC = three(t)
		x.Bands = bandShares(f.Bands, t)
		if len(w.flowR.Members) > 0 {
			x.FlowM3S = three(w.flowR.Step(nil, lead+1))
		}
		if st := w.out.Run.State; st.Active && lead < len(st.Days) {
			x.PWave, x.WaveOK = st.Days[lead].PWave, true
		}
		w.nextOdds(&x, lead)
		out = append(out, x)
	}

	return out
}

// nextOdds gives a later day the odds of a window at first light; stops of that day
// are not known yet but for the flow limit, which its note names.
func (w *work) nextOdds(x *coldseam.DayOdds, lead int) {
	if !w.out.Decision.Verdict.ShowsOdds() {
		return
	}
	p := w.good(lead, w.f.Effects.Light(x.WaterC[1], true, true))
	if len(p) == 0 {
		return
	}

	sum := 0.0
	for _, v := range p {
		sum += v
	}
	x.Odds, x.OddsOK = sum/float64(len(p)), true
	x.Verdict = w.odds.rank.Line(w.out.Decision.Cost, w.f.Table.Margin).Word(x.Odds)
	if m := w.f.Reach.MaxFlowM3S; m != nil && x.FlowM3S[1] > *m {
		x.Verdict, x.Note, x.OddsOK = coldseam.Stop, "over_limit", false
	}
}

func bandShares(bands []coldseam.Band, t []float64) []float64 {
	out := make([]float64, len(bands))
	for _, v := range t {
		out[coldseam.BandOf(bands, v)] += 1 / float64(len(t))
	}
	return out
}

// changed says that another word stood earlier for the same day.
func (w *work) changed(b coldseam.Brief) coldseam.Reason {
	p := w.f.Prev
	if p == nil || p.Day != b.Day || p.Verdict == b.Verdict {
		return coldseam.Reason{}
	}
	return coldseam.Reason{Code: "changed_today", At: p.Issued, Names: map[string]string{"word": b.Verdict.String(),
		"was": p.Verdict.String()}}
}
