package verdict

import (
	"math"
	"slices"
	"strings"

	"example.org/coldseam"
)

// AdviceInputs is what the advice looks at: the water of the window, not of
// the day.
type AdviceInputs struct {
	Table     AdviceTable // zero = DefaultAdvice
	Bands     []coldseam.Band
	WaterC    float64 // forecast for the window
	WaterFall float64 // degC the water fell over two days, positive = fell
	FlowPct   float64 // percentile for the date; NaN = unknown
	RisePct   float64 // flow change in percent a day, negative = falling
	Stage     string  // of the run; "" = no run
	WaveP     float64 // odds of a wave today
	DepthM    float64 // of the advised spot; 0 = unknown
	// Turbidity in FNU from the gauge, nil = none fresh. Said is a member's word
	// of today.
	Turbidity *float64
	Said      string
	Reach     coldseam.Reach
	Day       coldseam.Date
	// Held is what the mornings before were told.
	Held coldseam.PlaceMemory
	// HatchTo is the end of the weeks in which eggs lie in the gravel; zero =
	// none.
	HatchTo coldseam.Date
}

// Turbidity classes in FNU [proposal]: a foot of visibility is near 50 FNU,
// three feet near 10.
const (
	stainedFNU = 10
	muddyFNU   = 50
)

// Clarity is the class of the water (clear, stained, muddy, unknown) and where
// it comes from, in the order gauge turbidity, today's word, unknown. It is
// never inferred from flow.
func Clarity(turbidity *float64, said string) (class, source string) {
	if turbidity != nil && !math.IsNaN(*turbidity) && *turbidity >= 0 {
		switch {
		case *turbidity > muddyFNU:
			return "muddy", "turbidity"
		case *turbidity > stainedFNU:
			return "stained", "turbidity"
		}
		return "clear", "turbidity"
	}
	switch said {
	case "clear", "stained", "muddy":
		return said, "member"
	}
	return "unknown", "unknown"
}

// waveLikely are the odds of a wave from which fish that hold are no longer told
// to stay [proposal].
const waveLikely = .5

// Advise picks the most specific row for band, flow class and stage and applies
// the modifiers.
func Advise(in AdviceInputs) coldseam.Advice {
	if len(in.Table.rows) == 0 {
		in.Table = DefaultAdvice()
	}
	if len(in.Bands) == 0 {
		in.Bands = in.Table.bands
	}
	t := in.Table

	bi := in.heldBand(coldseam.BandOf(in.Bands, in.WaterC))
	band, stage := in.Bands[bi].Key, stageKey(in.Stage)
	flow, trend := heldClass(in.Held.Flow, in.FlowPct), heldTrend(in.Held.Trend, in.RisePct)
	row, ok := t.find(band, flow, stage)
	if !ok {
		return coldseam.Advice{Band: band, FlowClass: flow, Stage: in.Stage}
	}
	a := coldseam.Advice{Band: band, FlowClass: flow, Stage: in.Stage, Row: row.ID, Body: row.Body}
	pace, where, leader := row, row.Where, row.LeaderLB
	class, source := Clarity(in.Turbidity, in.Said)
	a.ClaritySource = source
	colour, colder := "", false
	var said []Modifier

	for _, key := range in.conditions(flow, trend, stage, class) {
		m, ok := t.mods[key]
		if !ok {
			continue
		}
		colder = colder || m.Colder
		if len(m.Where) > 0 && (slices.Contains(keepOff, key) || in.has(m.Where)) {
			where = m.Where
		}

		if m.LeaderLB > 0 {
			leader = [2]float64{m.LeaderLB, m.LeaderLB}
		}
		if m.Colour != "" {
			colour = m.Colour
		}
		if m.Note != "" {
			said = append(said, m)
		}
	}

	if colder && bi > 0 {
		if c, ok := t.find(in.Bands[bi-1].Key, flow, stage); ok {
			pace = c
		}
	}

	if !in.HatchTo.IsZero() && !in.HatchTo.Before(in.Day) {
		a.Notes = append(a.Notes, coldseam.Reason{Code: "eggs", Names: map[string]string{"day": in.HatchTo.String()}})
	}
	a.Where, a.Place = in.place(in.here(where))
	a.Place.Band, a.Place.BandWanted = band, in.Bands[coldseam.BandOf(in.Bands, in.WaterC)].Key
	a.Place.Flow, a.Place.Trend = flow, trend
	a.Notes = append(notesFor(said, a.Where[0]), a.Notes...)
	a.Colour = colourKey(colour, class)
	a.AdviceWay = row.AdviceWay
	a.Cadence, a.LiftM, a.PauseS, a.LeaderLB = pace.Cadence, pace.LiftM, pace.PauseS, leader
	a.Tail, a.Verb = row.Tail, pace.Verb
	a.Bait = in.bait(row)
	a.Others = t.others(band, flow, stage)
	return a
}

// heldBand is the band that is told: water that has just entered a neighbouring
// one counts on the second morning running.
func (in *AdviceInputs) heldBand(bi int) int {
	held := slices.IndexFunc(in.Bands, func(b coldseam.Band) bool { return b.Key == in.Held.Band })
	if held < 0 || max(held-bi, bi-held) != 1 || in.Held.BandWanted == in.Bands[bi].Key {
		return bi
	}
	return held
}

// notesFor are the remarks of the conditions, without those that send to other
// places than the one told first. What warns is always said.
func notesFor(said []Modifier, told string) (out coldseam.Notes) {
	for _, m := range said {
		if len(m.Where) == 0 || slices.Contains(m.Where, told) || slices.Contains(warns, m.When) {
			out = append(out, coldseam.Reason{Text: m.Note})
		}
	}
	return out
}

// warns are the conditions whose remark is about danger. keepOff are those whose
// places stand for a reach that has none of them too: danger, and fish on their beds.
// The other conditions move nobody to a place that the reach has not.
var (
	warns   = []string{"rising", "flow_high", "flow_flood"}
	keepOff = append([]string{"spawning"}, warns...)
)

// here keeps the places that the reach has, by the classes of its spots; a
// reach without classes, or with none of them, keeps the row's places.
func (in *AdviceInputs) here(where []string) []string {
	var out []string
	for _, w := range where {
		if class, ok := in.spotFor(w); ok && !slices.Contains(out, class) {
			out = append(out, class)
		}
	}
	if len(out) == 0 {
		return where
	}
	return out
}

// has reports whether the reach has one of the places; one without classes may have
// any.
func (in *AdviceInputs) has(where []string) bool {
	classed := slices.ContainsFunc(in.Reach.Spots, func(s coldseam.Spot) bool { return s.Class != "" })
	return !classed || slices.ContainsFunc(where, func(w string) bool {
		_, ok := in.spotFor(w)
		return ok
	})
}

// hole and its head are one place where a reach has sounded one of them. The tail
// is not: rules that name it want slack water.
var hole = []string{"bend_hole_deep", "hole_head"}

// spotFor is the class of the reach's spot for a place.
func (in *AdviceInputs) spotFor(place string) (string, bool) {
	classes := []string{place}
	if slices.Contains(hole, place) {
		classes = append(classes, hole...)
	}
	for _, class := range classes {
		if slices.ContainsFunc(in.Reach.Spots, func(s coldseam.Spot) bool { return s.Class == class }) {
			return class, true
		}
	}
	return "", false
}

// conditions lists the modifiers that hold, weakest first: a later one wins
// the place. Danger comes last.
func (in *AdviceInputs) conditions(flow, trend, stage, clarity string) []string {
	var out []string
	add := func(on bool, key string) {
		if on {
			out = append(out, key)
		}
	}
	add(true, "first_catch")

	add(true, "line")
	add(stage == "staging" && in.WaveP < waveLikely, "staging")
	add(stage == "staging" && in.WaveP >= waveLikely, "wave") // it ends the wait in the holes
	add(stage == "moving", "moving")
	add(stage == "spawning", "spawning")
	add(stage == "dropping_back", "dropping_back")
	add(flow == "low", "flow_low")

	add(trend == "falling" && clarity != "muddy", "falling_clearing")
	add(flow == "high", "flow_high")
	add(trend == "rising", "rising")
	add(flow == "flood", "flow_flood")
	add(true, clarity)
	add(in.WaterFall >= 0.8, "temp_fall")
	add(coldseam.Feet(in.DepthM) >= 25, "deep")
	add(flow == "flood" || flow == "high" || FlowClass(in.FlowPct) == "high", "keep_off")
	return out
}

// stageKey is the stage as the rows write it, "" for no run.
func stageKey(stage string) string { return strings.ReplaceAll(stage, " ", "_") }

// find is the most specific main row; of equals the later line wins, so that a
// club's own row stands over the shipped one.
func (t AdviceTable) find(band, flow, stage string) (AdviceRow, bool) {
	var best AdviceRow
	top := -1
	for _, r := range t.rows {
		if r.Alternative || r.Band != band {
			continue
		}
		if s, ok := r.fits(flow, stage); ok && s >= top {
			best, top = r, s
		}
	}
	return best, top >= 0
}

// fits counts how specific a row is for flow and stage.
func (r AdviceRow) fits(flow, stage string) (score int, ok bool) {
	if r.Flow != "*" {
		if r.Flow != flow && !(flow == "" && r.Flow == "normal") {
			return 0, false
		}
		score++
	}
	if r.Stage != "*" {
		if r.Stage != stage {
			return 0, false
		}
		score++
	}
	return score, true
}

// others are the other rows that fit.
func (t AdviceTable) others(band, flow, stage string) []coldseam.AdviceWay {
	var out []coldseam.AdviceWay
	for _, r := range t.rows {
		if _, ok := r.fits(flow, stage); ok && r.Alternative && r.Band == band {
			out = append(out, r.AdviceWay)
		}
	}
	return out
}

// bait is the natural-bait sweetener: only where the reach has a bait rule
// that allows it and was checked within a year.
func (in *AdviceInputs) bait(r AdviceRow) string {
	if r.Bait == "" {
		return ""
	}
	for _, rule := range in.Reach.Rules {
		d := in.Day.Sub(rule.CheckedOn)
		if rule.Kind == coldseam.RuleBait && rule.Allowed && !rule.CheckedOn.IsZero() && d >= 0 && d <= 365 {
			return "minnow"
		}
	}
	return ""
}

func colourKey(family, clarity string) string {
	switch {
	case family != "":
		return "colour_" + family
	case clarity == "unknown":
		return "colour_by_clarity"
	}
	return "colour_either"
}
