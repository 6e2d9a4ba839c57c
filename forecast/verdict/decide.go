package verdict

import (
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
)

// Decision is the answer of Decide. Its zero value is NO CALL without odds.
type Decision struct {
	Verdict   coldseam.Verdict
	Odds      float64
	OddsOK    bool
	OddsNote  coldseam.Reason
	Spread    [2]float64
	Cost      float64
	HoldP     float64
	WindowI   int // -1 = none
	Windows   []coldseam.Window
	Begun     []coldseam.Window // windows under way, with their stops from now on
	Stops     []coldseam.Reason
	Reasons   []coldseam.Reason
	Cautions  []coldseam.Reason
	Hazards   []string
	Surveyed  bool
	Inputs    []coldseam.Input
	Ice       ice.State
	IceReason coldseam.Reason // the state since when and why
	Life      coldseam.Reason // the life-jacket line of cold water; no code = warm
	Sure      string
	SureBy    coldseam.Reason
	GoodUntil time.Time
	// ShowLines: the WATER, JIG and RUN lines may be printed. On NO CALL they
	// are, marked and without odds, where only weather, alerts or the season
	// rule are missing; on NO CALL for anything else and on STOP they are not.
	ShowLines bool
	// Fired lists the codes of all rules that fired, in order, for --why.
	Fired []string
}

// assessment is one candidate under judgement.
type assessment struct {
	c        Candidate
	stops    []coldseam.Reason
	missing  []coldseam.Reason // safety inputs of this window
	odds     []coldseam.Reason // odds inputs of this window
	caps     []coldseam.Reason
	cautions []coldseam.Reason
	p        float64
	spread   [2]float64
	verdict  coldseam.Verdict
	callable bool
	kept     bool // p is that of the last issue
}

// Decide judges one reach on one morning. It never panics on missing data and
// never returns GO, TOSS-UP or STAY when a stop fires, a rule is closed or
// unverified, or an input is missing or stale.
func Decide(in Inputs) Decision {
	in.sane()
	in.risen = in.rises()
	frozen := in.iceState()
	audit := in.safetyInputs(frozen)
	d := Decision{WindowI: -1, Cost: in.cost(), Inputs: audit.inputs, Ice: frozen.State, IceReason: in.iceReason(frozen),
		Hazards: slices.Clone(in.Reach.Hazards), Surveyed: in.Reach.HazardsSurveyed, Life: in.lifeLine()}

	assessed := make([]assessment, len(in.Candidates))
	for i, c := range in.Candidates {
		assessed[i] = in.inspect(c, audit)
	}
	day := in.dayStops(frozen)
	if len(assessed) == 0 {
		day = append(day, in.alertStops(in.Now, in.Now.Add(12*time.Hour))...)
		day = append(day, in.officialStop(in.Now.Add(12*time.Hour))...)
	}

	legal := in.legal()
	switch {
	case len(day) > 0 || stopped(assessed):
		in.stop(&d, day, legal, assessed, audit)
	case len(legal) > 0:
		in.stop(&d, nil, legal, assessed, audit)
	default:
		in.call(&d, assessed, audit)
	}

	in.finish(&d, day, assessed)
	return d
}

// inspect judges a window on its own.
func (in *Inputs) inspect(c Candidate, audit inputAudit) assessment {
	l := assessment{c: c, p: math.NaN()}
	l.stops = in.windowStops(c)
	l.missing, l.caps = in.windowWeather(c)
	if !c.End.After(c.Start) || !c.End.After(in.Now) {
		l.missing = append(l.missing, missing("window_past", nil))
	}
	if c.RiseShare == nil && in.Reach.DamCycle == "" {
		l.missing = append(l.missing, missing("rise_forecast_missing", nil))
	}

	if len(c.FlowM3S) == 0 {
		l.missing = append(l.missing, missing("flow_forecast_missing", nil))
	}
	if c.stageInvalid {
		l.missing = append(l.missing, missing("stage_forecast_invalid", nil))
	}
	var rain []coldseam.Reason
	l.cautions, rain = in.cautions(c)
	in.capsOf(&l, audit)
	l.caps = append(l.caps, rain...)
	in.oddsOf(&l)
	return l
}

// capsOf lists what caps a window at TOSS-UP, in the order printed.
func (in *Inputs) capsOf(l *assessment, audit inputAudit) {
	capIf := func(on bool, code string) {
		if on {
			l.caps = append(l.caps, capped(code, nil))
		}
	}
	capIf(!in.Reach.HazardsSurveyed, "hazards_unsurveyed")
	capIf(in.Gauge.DailyOnly && !in.Gauge.Archived, "daily_gauge")
	l.caps = append(l.caps, in.limitCaps(l.c)...)
	l.caps = append(l.caps, in.risen.caps...)
	l.caps = append(l.caps, in.lowRise(l.c)...)

	l.caps = append(l.caps, audit.caps...)
	capIf(in.Reach.Regulated && !in.ReleasePlan, "regulated")
	capIf(in.Reach.FloodStageM != nil && l.c.PFlood == nil, "no_stage_forecast")
	switch {
	case l.c.HoldP == nil:
		capIf(true, "hold_unknown")
	case *l.c.HoldP < in.Table.HoldCap:
		l.caps = append(l.caps, capped("hold_low", map[string]float64{"hold_odds": *l.c.HoldP}))
	}
	if in.Rank.Only() && in.Rank.Past < coldseam.PastMornings {
		l.caps = append(l.caps, capped("few_past", map[string]float64{"past_mornings": float64(in.Rank.Past),
			"want_mornings": coldseam.PastMornings}))
	}
}

// oddsOf sets the odds of a window and what is missing for them.
func (in *Inputs) oddsOf(l *assessment) {
	if in.Failed != "" {
		r := missing("forecast_failed", nil)
		r.Names = map[string]string{"error": in.Failed}
		l.odds = append(l.odds, r)
		return
	}

	if len(l.c.WaterC) == 0 {
		l.odds = append(l.odds, missing("water_forecast_missing", nil))
	}
	if len(l.c.PGood) == 0 || slices.ContainsFunc(l.c.PGood, func(p float64) bool {
		return math.IsNaN(p) || p < 0 || p > 1
	}) {
		l.odds = append(l.odds, missing("odds_missing", nil))
		return
	}

	sum := 0.0
	for _, p := range l.c.PGood {
		sum += p
	}
	l.p = sum / float64(len(l.c.PGood))
	in.keep(l)
	l.spread = [2]float64{coldseam.Quantile(l.c.PGood, .1), coldseam.Quantile(l.c.PGood, .9)}
	if l.spread[1]-l.spread[0] > in.Table.SpreadCap {
		l.caps = append(l.caps, capped("spread", nil))
	}
}

// stopped reports whether no window is left free of stops though one fired.
func stopped(assessed []assessment) bool {
	any := false
	for _, l := range assessed {
		if len(l.stops) == 0 && len(l.missing) == 0 {
			return false
		}
		any = any || len(l.stops) > 0
	}
	return any
}

// stop writes a STOP: safety first, then legal; what is missing besides stays
// visible.
func (in *Inputs) stop(d *Decision, day, legal []coldseam.Reason, assessed []assessment, audit inputAudit) {
	d.Verdict = coldseam.Stop
	d.Stops = merge(day)
	for _, l := range assessed {
		if stopped(assessed) {
			d.Stops = merge(d.Stops, l.stops)
		}
	}
	d.Stops = append(d.Stops, legal...)
	d.Reasons = merge(audit.faults, audit.odds)
}

// call is everything after the stops: NO CALL, or the odds.
func (in *Inputs) call(d *Decision, assessed []assessment, audit inputAudit) {
	var open, miss []coldseam.Reason
	best := -1
	for i := range assessed {
		l := &assessed[i]
		if len(l.stops) > 0 {
			continue
		}
		if len(l.missing) > 0 || len(l.odds) > 0 {
			miss, open = merge(miss, l.missing), merge(open, l.odds)
			continue
		}

		l.callable = true
		in.setVerdict(l)
		if best < 0 || better(*l, assessed[best]) {
			best = i
		}
	}

	if len(assessed) == 0 {
		miss = append(miss, missing("no_window", nil))
	}
	if len(audit.faults) > 0 || len(audit.odds) > 0 || best < 0 {
		d.Reasons = merge(audit.faults, miss, audit.odds, open)
		if len(audit.faults) > 0 && best >= 0 {
			d.Reasons = merge(audit.faults, audit.odds)
		}
		d.ShowLines = linesAllowed(d.Reasons)
		return
	}

	l := assessed[best]
	d.Verdict, d.WindowI, d.ShowLines = l.verdict, best, true
	d.Odds, d.OddsOK, d.OddsNote, d.Spread = l.p, true, in.OddsNote, l.spread
	d.Reasons = append(slices.Clone(l.caps), in.oddsReason(l))
}

// linesAllowed reports whether all that is missing is weather, alerts or the
// season rule.
func linesAllowed(rs []coldseam.Reason) bool {
	for _, r := range rs {
		if !strings.HasPrefix(r.Code, "weather_") && !strings.HasPrefix(r.Code, "alerts_") &&
			r.Code != "season_unverified" {
			return false
		}
	}
	return len(rs) > 0
}

// setVerdict sets the verdict of a callable window from its odds and caps.
func (in *Inputs) setVerdict(l *assessment) {
	line := in.line()
	l.verdict = line.Word(l.p)
	if was := in.Rank.Before; was > 0 {
		up := line.Word(was) == coldseam.Stay && l.verdict == coldseam.Go
		down := line.Word(was) == coldseam.Go && l.verdict == coldseam.Stay && was-l.p < leap
		if up || down {
			l.verdict = coldseam.TossUp
		}
	}
	if l.verdict == coldseam.Go && len(l.caps) > 0 {
		l.verdict = coldseam.TossUp
	}
}

// leap is how far the odds must fall overnight for GO to become STAY [proposal].
// STAY never becomes GO overnight.
const leap = .12

// keep leaves a window the odds told before, of the last issue of the same day or
// of the best window of yesterday, where a move within the hysteresis would tell
// them otherwise. The odds and not the word are kept, so that every reader's line
// has the same hysteresis.
func (in *Inputs) keep(l *assessment) {
	const eps = 1e-9 // .48 - .45 is not .03 in binary
	old := in.Rank.Before
	if in.Prev != nil && in.Prev.Day == in.Day {
		old = 0
		for _, w := range in.Prev.Windows {
			if w.OddsOK && w.Start.Equal(l.c.Start) && w.End.Equal(l.c.End) {
				old = w.Odds
			}
		}
	}

	differ := coldseam.Tenths(old) != coldseam.Tenths(l.p)
	if in.Rank.Only() {
		differ = in.line().Word(old) != in.line().Word(l.p)
	}
	if old > 0 && differ && math.Abs(old-l.p) < in.Table.Hysteresis-eps {
		l.p, l.kept = old, true
	}
}

// better prefers the better verdict, then clearly better odds; a hair of odds
// never moves the window to a later hour.
func better(a, b assessment) bool {
	if a.verdict != b.verdict {
		return a.verdict > b.verdict
	}
	return a.p > b.p+0.005
}

func (in *Inputs) oddsReason(l assessment) coldseam.Reason {
	values := map[string]float64{"good_odds": l.p, "go_odds": in.line().Go}
	code := "odds"
	if in.Rank.Only() {
		code, values = "rank", map[string]float64{"third_of3": float64(in.Rank.Third(l.p))}
	}
	if l.kept {
		code += "_kept"
	}
	return because(KindOdds, code, clubRule, values)
}

// finish fills what every verdict carries: windows, cautions, hold, sureness,
// the fired rules and how long the word is good.
func (in *Inputs) finish(d *Decision, day []coldseam.Reason, assessed []assessment) {
	for _, c := range in.Begun {
		rest := c
		rest.Start = maxTime(c.Start, in.Now)
		d.Begun = append(d.Begun, coldseam.Window{Start: c.Start, End: c.End, Stops: merge(day, in.windowStops(rest))})
	}

	for i, l := range assessed {
		d.Windows = append(d.Windows, in.window(l, day, d.Verdict.ShowsOdds() && l.callable))
		if i == d.WindowI && l.c.HoldP != nil {
			d.HoldP = *l.c.HoldP
		}
		if d.GoodUntil.Before(l.c.End) && d.WindowI < 0 {
			d.GoodUntil = l.c.End
		}
	}

	if d.WindowI >= 0 {
		d.GoodUntil = assessed[d.WindowI].c.End
		d.Cautions = assessed[d.WindowI].cautions
		d.Cautions = append(d.Cautions, otherStops(assessed, d.WindowI)...)
	} else {
		for _, l := range assessed {
			d.Cautions = merge(d.Cautions, l.cautions)
		}
	}

	in.sure(d)
	for _, list := range [][]coldseam.Reason{d.Stops, d.Reasons, d.Cautions} {
		for _, r := range list {
			d.Fired = append(d.Fired, r.Code)
		}
	}
}

// otherStops says when a stop falls on another window of the day.
func otherStops(assessed []assessment, best int) []coldseam.Reason {
	for i, l := range assessed {
		if i != best && len(l.stops) > 0 {
			return []coldseam.Reason{otherWindow(l.stops[0], l.c.Start)}
		}
	}
	return nil
}

// lifeLine is the fixed line for cold water.
func (in *Inputs) lifeLine() coldseam.Reason {
	o, ok := in.waterNow()
	if !ok {
		r := caution("life_jacket_unknown", nil)
		r.At = o.At
		return r
	}
	if coldseam.F(o.Value) >= in.Table.ColdWaterF {
		return coldseam.Reason{}
	}
	return caution("life_jacket", map[string]float64{"water_c": o.Value})
}

// sureMornings are the logged mornings from which a word may be called sure
// [proposal]: the level of the odds is the club's own by then.
const sureMornings = 40

// sure says how sure the word is and names what decides it: high needs a log
// behind the odds, members that agree, no cap and a first spot whose weight the
// log has proved.
func (in *Inputs) sure(d *Decision) {
	if !d.Verdict.ShowsOdds() {
		return
	}
	capped := slices.ContainsFunc(d.Reasons, func(r coldseam.Reason) bool { return r.Kind == KindCap })
	logged := map[string]float64{"log_mornings": float64(in.Rank.Logged)}
	d.Sure, d.SureBy = "low", because(KindNote, "sure_log", clubRule, logged)

	switch {
	case in.Rank.Only():
		d.SureBy.Code = "sure_rule_of_thumb"
	case d.Spread[1]-d.Spread[0] > .35:
		d.SureBy = because(KindNote, "sure_wide", clubRule, nil)
	case capped:
		d.SureBy = because(KindNote, "sure_capped", clubRule, nil)
	case in.Rank.Logged < sureMornings:
		d.Sure = "medium"
	case d.WindowI >= 0 && !in.Candidates[d.WindowI].SpotProved:
		d.Sure, d.SureBy = "medium", because(KindNote, "sure_spot", clubRule, logged)
	default:
		d.Sure = "high"
	}
}

// merge joins lists of reasons. A rule that fires in several windows stands
// once, with the numbers of the window where they are worst.
func merge(lists ...[]coldseam.Reason) []coldseam.Reason {
	var out []coldseam.Reason
	for _, l := range lists {
		for _, r := range l {
			alike := func(o coldseam.Reason) bool {
				o.Values, o.Text, o.TextSI = r.Values, r.Text, r.TextSI
				return o.Same(r)
			}
			i := slices.IndexFunc(out, alike)
			switch {
			case i < 0 || r.Values == nil && r.Text != out[i].Text: // a brief stored before reasons had values
				out = append(out, r)
			case worse(r.Values, out[i].Values):
				out[i] = r
			}
		}
	}
	return out
}

// worse reports whether the numbers of a rule lie further on the bad side than
// b: low for temperatures and odds, high for the rest. Limits do not differ.
func worse(a, b map[string]float64) bool {
	for _, k := range slices.Sorted(maps.Keys(a)) {
		if a[k] != b[k] {
			return (a[k] < b[k]) == (strings.HasSuffix(k, "_c") || strings.HasSuffix(k, "_odds"))
		}
	}
	return false
}
