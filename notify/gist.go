package notify

import (
	"math"
	"slices"
	"strings"

	"example.org/coldseam"
)

// gist is the one plain sentence before the labels: what the fish should be doing,
// as far as the run clock knows and the word bears it out, and what the water has
// done since yesterday. "" where a stop or a lack says it all.
func (k *block) gist(f format) string {
	if !k.Verdict.ShowsOdds() {
		return ""
	}
	var s []string
	for _, clause := range []string{k.fishClause(), k.waterClause(f)} {
		if clause != "" {
			s = append(s, clause)
		}
	}
	if len(s) == 0 {
		return ""
	}
	return upperFirst(strings.Join(s, "; ")) + "."
}

// stageClauses say of each stage of the run what it means to an angler. Those that
// speak for going stand under GO and TOSS-UP, the others under TOSS-UP and STAY.
var stageClauses = map[string]struct {
	words string
	good  bool
}{
	"not yet":       {"few fish should be here yet", false},
	"staging":       {"fish should be staging", true},
	"moving":        {"fish should be moving up", true},
	"spawning":      {"fish should be spawning", true},
	"dropping back": {"fish should be dropping back", true},
	"done":          {"the run should be over", false},
}

// holeClasses are the places of the advice that are part of a hole.
var holeClasses = []string{"bend_hole_deep", "hole_head", "hole_tail", string(coldseam.SpotHole)}

// fishClause tells of the fish where a calibrated clock is more than half sure of
// the stage. Filling holes are named only where the advice sends to a hole.
func (k *block) fishClause() string {
	r := k.Brief.Run
	if !r.Active || !r.Calibrated || !(r.StageP >= .5) {
		return ""
	}
	c, good := stageClauses[r.Stage].words, stageClauses[r.Stage].good
	toHole := len(k.Brief.How.Where) > 0 && slices.Contains(holeClasses, k.Brief.How.Where[0])
	if good && toHole && r.Holes.Code == "holes_filling" {
		c = "fish should be stacking in " + k.hole()
	}

	if good && k.Verdict == coldseam.Stay || !good && k.Verdict == coldseam.Go {
		return ""
	}
	return c
}

// hole is the name of the reach's one hole.
func (k *block) hole() string {
	name := ""
	for _, j := range k.Brief.Jig {
		if j.Kind != coldseam.SpotHole {
			continue
		}
		if name != "" {
			return "the holes"
		}
		name = "the " + strings.TrimPrefix(clean(j.Spot), "the ")
	}
	if name == "" {
		return "the holes"
	}
	return name
}

// waterClause is the greater change since yesterday: of the flow where it passes
// dayChangePct, else of the water by the degree that its reader sees.
func (k *block) waterClause(f format) string {
	b := k.Brief
	if p := 100 * b.Flow.RiseDay; b.Flow.NowOK && finite(p) && math.Abs(math.Round(p)) >= dayChangePct {
		return "the river is " + map[bool]string{true: "up ", false: "down "}[p > 0] + trimmed(math.Abs(p), 0) + nbsp +
			"% since yesterday"
	}

	was, ok := b.Since.Values["water_c"]
	if !ok || !b.Temp.NowOK || !finite(was) || !finite(b.Temp.Now) {
		return ""
	}
	d, unit := f.warmer(b.Temp.Now, was)
	switch {
	case d > 0:
		return "water " + trimmed(d, 1) + unit + " warmer than yesterday"
	case d < 0:
		return "water " + trimmed(-d, 1) + unit + " colder than yesterday"
	}
	return "water as yesterday"
}

// warmer is the difference of two temperatures as they are printed.
func (f format) warmer(now, was float64) (d float64, unit string) {
	if f.metric {
		return math.Round(now*10)/10 - math.Round(was*10)/10, nbsp + "°C"
	}
	return math.Round(coldseam.F(now)) - math.Round(coldseam.F(was)), nbsp + "°F"
}

// since is the line of what has changed since yesterday's mail: flow and where it
// heads, water where the sentence on top does not have it, word and the weight at
// the spot told first. STOP and NO CALL tell flow and word alone.
func (k *block) since(f format) []fact {
	b, r := k.Brief, k.Brief.Since
	if r.Code == "" || b.Replay {
		return nil
	}
	var parts []part
	if was, ok := r.Values["flow_m3_s"]; ok && b.Flow.NowOK && gaugeGood(b) {
		parts = append(parts, part{Text: "flow " + f.flowChange(b.Flow.Now, was)})
		if t := f.heading(b.Flow); t != "" {
			parts = append(parts, part{Text: t, Sep: " and ", Optional: true})
		}
	}

	if was, ok := r.Values["water_c"]; ok && b.Temp.NowOK && k.Verdict.ShowsOdds() && !strings.HasPrefix(k.waterClause(f), "water") {
		d, unit := f.warmer(b.Temp.Now, was)
		parts = append(parts, part{Text: "water " + signedOr(d, 1, unit)})
	}
	if k.Verdict.String() == r.Names["was"] {
		parts = append(parts, part{Text: "still " + k.Verdict.String()})
	} else {
		parts = append(parts, part{Text: clean(r.Names["was"]) + " then"})
	}
	if w := f.words(b.Changed); w != "" {
		parts = append(parts, part{Text: w, Optional: true})
	}

	i := coldseam.Headline(b.Jig)
	if was, ok := r.Values["tie_oz"]; ok && i >= 0 && b.Jig[i].SpotID == r.Names["spot"] && b.Jig[i].TieOz > 0 &&
		k.Verdict.ShowsOdds() {
		if was == b.Jig[i].TieOz {
			parts = append(parts, part{Text: "weight unchanged"})
		} else {
			parts = append(parts, part{Text: f.weight(was) + " then"})
		}
	}
	return []fact{line("Since", parts...)}
}

// flowChange is the difference of two flows as they are printed.
func (f format) flowChange(now, was float64) string {
	unit := nbsp + "m³/s"
	if !f.metric {
		now, was, unit = coldseam.CFS(now), coldseam.CFS(was), nbsp+"cfs"
	}
	now, _ = threeDigits(now)
	was, _ = threeDigits(was)
	return signedOr(now-was, 2, unit)
}

// signedOr writes a change with its sign and unit, or that there is none.
func signedOr(d float64, digits int, unit string) string {
	s := trimmed(math.Abs(d), digits)
	if math.Abs(d) >= 1000 {
		s = thousands(math.Abs(d))
	}
	switch {
	case !finite(d):
		return unknown
	case s == "0":
		return "unchanged"
	case d < 0:
		return "-" + s + unit
	}
	return "+" + s + unit
}
