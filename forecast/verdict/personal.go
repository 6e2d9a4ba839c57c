package verdict

import (
	"math"
	"slices"
	"time"

	"example.org/coldseam"
)

// PersonalOptions is what a member's view needs beyond the stored brief.
type PersonalOptions struct {
	Table Table          // the club's; zero = DefaultTable
	Loc   *time.Location // of the reach; nil = UTC
	// Weights gives the weights for the member's own rig in window i of the brief;
	// nil = the brief's in every window.
	Weights func(i int) []coldseam.SpotJig
}

// TieLimit and friends are the hold odds of the weight rules (smallest size to
// tie on without and with a calibrated spot, smallest size to pack) [proposal].
const (
	TieLimit           = 0.50
	TieLimitCalibrated = 0.70
	PackLimit          = 0.90
)

// Personal is a member's own view of a stored brief: own hours, own threshold,
// own box of weights. It is a pure function of its arguments, never changes
// the brief it is given, and never turns STOP or NO CALL into odds. The odds
// of a window stay the club's; a box that does not hold caps the verdict.
func Personal(b coldseam.Brief, p coldseam.Preferences, o PersonalOptions) coldseam.Brief {
	if o.Table.GaugeAgeH == 0 {
		o.Table = DefaultTable()
	}
	if p.Cost > 0 {
		b.Cost = min(max(p.Cost, 0.2), 0.7)
	}

	club := b.Jig
	weights := func(i int) []coldseam.SpotJig {
		if o.Weights == nil {
			return fitBox(club, p.BoxOz)
		}
		return fitBox(o.Weights(i), p.BoxOz)
	}
	b.Jig = weights(max(b.WindowI, 0))
	b.Margin = o.Table.Margin
	b.Next = slices.Clone(b.Next) // the brief that was given is not changed
	for i, d := range b.Next {
		if d.OddsOK && d.Verdict.ShowsOdds() {
			b.Next[i].Verdict = b.Line().Word(d.Odds)
		}
	}

	b = ForCraft(b, p.Craft)
	if !b.Verdict.ShowsOdds() {
		return b
	}
	mine, span := relevant(b, p, o.loc())
	if len(mine) == 0 {
		r := missing("no_hours", nil)
		r.Names = map[string]string{"hours": span}
		return noCall(b, r)
	}

	return choose(b, p, o, mine, weights)
}

// OwnRig reports whether a member fishes another rig than the club's.
func OwnRig(p coldseam.Preferences) bool { return p.Body+p.Line+p.Metal+p.Presentation != "" }

// WithholdWeights withholds the weight of every spot: those of another rig stand for
// nothing.
func WithholdWeights(spots []coldseam.SpotJig) []coldseam.SpotJig {
	var out []coldseam.SpotJig
	for _, s := range spots {
		out = append(out, coldseam.SpotJig{SpotID: s.SpotID, Spot: s.Spot, Kind: s.Kind, DepthM: s.DepthM,
			SurfaceMS: s.SurfaceMS, Withheld: capped("own_rig_unweighed", nil)})
	}
	return out
}

func (o PersonalOptions) loc() *time.Location {
	if o.Loc == nil {
		return time.UTC
	}
	return o.Loc
}

// relevant returns the windows that share at least three quarters of the
// shorter of window and member's hours, cut to those hours. Without hours it
// is every window.
func relevant(b coldseam.Brief, p coldseam.Preferences, loc *time.Location) ([]int, string) {
	from, ok1 := clockOn(b.Day, p.WindowFrom, loc)
	to, ok2 := clockOn(b.Day, p.WindowTo, loc)
	var out []int
	if !ok1 || !ok2 || !to.After(from) {
		for i := range b.Windows {
			out = append(out, i)
		}
		return out, ""
	}

	for i := range b.Windows {
		w := &b.Windows[i]
		s, e := w.Start, w.End
		if from.After(s) {
			s = from
		}
		if to.Before(e) {
			e = to
		}

		if float64(e.Sub(s)) >= 0.75*float64(min(to.Sub(from), w.End.Sub(w.Start))) {
			w.Start, w.End = s, e
			out = append(out, i)
		}
	}

	return out, p.WindowFrom + "-" + p.WindowTo
}

// clockOn is a local clock time "06:00" on a civil day.
func clockOn(d coldseam.Date, hhmm string, loc *time.Location) (time.Time, bool) {
	clock, err := coldseam.ParseClock(hhmm)
	return d.At(clock, loc), err == nil
}

// choose picks the member's best window among mine and judges it.
func choose(b coldseam.Brief, p coldseam.Preferences, o PersonalOptions, mine []int,
	weights func(i int) []coldseam.SpotJig) coldseam.Brief {
	in := Inputs{Table: o.Table, Cost: b.Cost, Rank: b.Rank}
	best, stops := assessment{verdict: coldseam.NoCall}, []coldseam.Reason(nil)
	at := -1

	for _, i := range mine {
		w := b.Windows[i]
		stops = merge(stops, w.Stops)
		if len(w.Stops) > 0 || !w.OddsOK {
			continue
		}
		l := assessment{p: w.Odds, kept: w.OddsKept, spread: w.Spread, caps: w.Caps, cautions: w.Cautions}
		spots := weights(i)
		hold, holdOK := boxHold(spots)
		if OwnRig(p) || len(p.BoxOz) > 0 {
			l.caps = personalCaps(w.Caps, hold, holdOK, o.Table)
		}
		in.setVerdict(&l)
		if at >= 0 && !better(l, best) {
			continue
		}

		best, at = l, i
		b.Jig = spots
		if holdOK {
			b.HoldP = hold
		}
	}

	if at < 0 && len(stops) > 0 {
		b.Verdict, b.Stops, b.Reasons = coldseam.Stop, stops, nil
		return withoutOdds(b)
	}

	if at < 0 {
		return noCall(b, missing("odds_missing_hours", nil))
	}
	b.WindowI, b.Verdict, b.Odds, b.OddsOK, b.Spread = at, best.verdict, best.p, true, best.spread
	b.GoodUntil = b.Windows[at].End
	b.Reasons = append(slices.Clone(best.caps), in.oddsReason(best))
	b.Cautions = best.cautions

	for _, i := range mine {
		if w := b.Windows[i]; i != at && len(w.Stops) > 0 {
			b.Cautions = append(slices.Clone(b.Cautions), otherWindow(w.Stops[0], w.Start))
			break
		}
	}
	return b
}

// personalCaps swaps the club's hold cap for the member's own.
func personalCaps(caps []coldseam.Reason, hold float64, ok bool, t Table) []coldseam.Reason {
	var out []coldseam.Reason
	for _, r := range caps {
		if r.Code != "hold_unknown" && r.Code != "hold_low" && r.Code != "hold_low_box" {
			out = append(out, r)
		}
	}
	switch {
	case !ok:
		out = append(out, capped("hold_unknown", nil))
	case hold < t.HoldCap:
		out = append(out, capped("hold_low_box", map[string]float64{"hold_odds": hold}))
	}
	return out
}

func noCall(b coldseam.Brief, why coldseam.Reason) coldseam.Brief {
	b.Verdict, b.Reasons = coldseam.NoCall, []coldseam.Reason{why}
	return withoutOdds(b)
}

func withoutOdds(b coldseam.Brief) coldseam.Brief {
	b.Odds, b.OddsOK, b.WindowI, b.Spread = 0, false, -1, [2]float64{}
	b.Windows = slices.Clone(b.Windows) // the brief that was given is not changed
	for i := range b.Windows {
		b.Windows[i].Odds, b.Windows[i].OddsOK = 0, false
	}
	return b
}

// fitBox redoes tie and pack with the sizes a member carries; an empty box
// leaves the spots as they are. The result never aliases spots.
func fitBox(spots []coldseam.SpotJig, box []float64) []coldseam.SpotJig {
	out := slices.Clone(spots)
	if len(box) == 0 {
		return out
	}

	for i := range out {
		s := &out[i]
		carried := func(all []coldseam.SizeOdds) (have []coldseam.SizeOdds) {
			for _, h := range all {
				if slices.ContainsFunc(box, func(oz float64) bool { return math.Abs(oz-h.Oz) < 1e-6 }) {
					have = append(have, h)
				}
			}
			return have
		}

		have := carried(s.Holds)
		s.Holds = have
		if s.TimedHolds != nil {
			s.TimedHolds = carried(s.TimedHolds)
			have = s.TimedHolds
		}
		if s.Withheld.Code != "" {
			continue
		}
		pick(s, have)
	}

	return out
}

// pick names the weights of a spot from the sizes at hand, ascending: tie the
// smallest that reaches the limit, pack the smallest that holds nine times in
// ten, else the heaviest.
func pick(s *coldseam.SpotJig, have []coldseam.SizeOdds) {
	limit := TieLimit
	if s.Calibrated {
		limit = TieLimitCalibrated
	}
	s.TieOz, s.PackOz, s.NextOz, s.TieHolds = 0, 0, 0, 0

	for _, h := range have {
		switch {
		case s.TieOz == 0 && h.Holds >= limit:
			s.TieOz, s.TieHolds = h.Oz, h.Holds
		case s.TieOz > 0 && s.NextOz == 0:
			s.NextOz = h.Oz
		}
		if s.PackOz == 0 && h.Holds >= PackLimit {
			s.PackOz = h.Oz
		}
	}

	switch {
	case len(have) == 0:
		s.Withheld = capped("none_holds", nil)
		s.Withheld.Names = map[string]string{"case": "no_size"}
	case s.TieOz == 0:
		last := have[len(have)-1]
		s.Withheld = capped("none_holds", map[string]float64{"heaviest_oz": last.Oz, "heaviest_odds": last.Holds})
		s.Withheld.Names = map[string]string{"case": "box"}
	case s.PackOz == 0:
		s.PackOz = have[len(have)-1].Oz
	}
}

// boxHold is P(the heaviest weight at hand holds) at the advised spot, the
// first one with sizes. A weight that members' timings withhold counts as it was
// without them: they move no word.
func boxHold(spots []coldseam.SpotJig) (float64, bool) {
	for _, s := range spots {
		if len(s.Holds) > 0 && (s.Withheld.Code == "" || s.Withheld.Code == "none_holds" || s.TimedHolds != nil) {
			return s.Holds[len(s.Holds)-1].Holds, true
		}
	}
	return 0, false
}
