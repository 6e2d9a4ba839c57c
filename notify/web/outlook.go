package web

import (
	"math"
	"sort"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// windowTable lists the fishing windows of the day.
type windowTable struct{ Rows []windowRow }

type windowRow struct {
	Span, Odds, Water, Flow, Tie, Note string
	Best                               bool
}

// windowsOf is nil when there is no choice to show.
func windowsOf(b coldseam.Brief, w notify.Words) *windowTable {
	if len(apart(b)) < 2 {
		return nil
	}
	t := &windowTable{}

	for _, i := range apart(b) {
		x := b.Windows[i]
		r := windowRow{
			Span:  w.Span(x.Start, x.End),
			Odds:  "none",
			Water: "not known",
			Flow:  "not known",
			Tie:   "none",
			Note:  notify.Key(x.Why),
			Best:  i == b.WindowI,
		}
		switch {
		case len(x.Stops) > 0:
			r.Odds, r.Note = "STOP", w.Reason(x.Stops[0])
		case x.OddsOK:
			r.Odds = notify.Chance(b, x.Odds)
		}

		if x.WaterC != [3]float64{} {
			r.Water = w.Temp(x.WaterC[1])
		}
		if x.FlowM3S != [3]float64{} {
			r.Flow = w.Flow(x.FlowM3S[1])
		}
		if x.WindMS != nil && len(x.Stops) == 0 {
			r.Note = joined(r.Note, windWords(x, w))
		}
		if x.Tie != "" && len(x.Stops) == 0 {
			r.Tie = notify.Clean(x.Tie) + "\u00a0oz"
		}
		t.Rows = append(t.Rows, r)
	}

	return t
}

// mostWindows is the longest list of windows that is still a choice [proposal].
const mostWindows = 4

// apart chooses windows that do not overlap, the best first and then by odds,
// and returns their indices by time of day: eight windows half an hour apart
// are no choice.
func apart(b coldseam.Brief) []int {
	order := make([]int, len(b.Windows))
	for i := range order {
		order[i] = i
	}
	rank := func(i int) float64 {
		switch {
		case i == b.WindowI:
			return 2
		case b.Windows[i].OddsOK && len(b.Windows[i].Stops) == 0:
			return b.Windows[i].Odds
		}
		return -1
	}
	sort.SliceStable(order, func(i, j int) bool { return rank(order[i]) > rank(order[j]) })

	var out []int
	for _, i := range order {
		free := len(out) < mostWindows
		for _, k := range out {
			free = free && (!b.Windows[i].Start.Before(b.Windows[k].End) ||
				!b.Windows[k].Start.Before(b.Windows[i].End))
		}
		if free {
			out = append(out, i)
		}
	}

	sort.Ints(out)
	return out
}

func windWords(x coldseam.Window, w notify.Words) string {
	s := "wind " + w.Wind(*x.WindMS)
	if x.GustMS != nil && *x.GustMS > *x.WindMS {
		s += ", gusts " + bare(w.Wind(*x.GustMS))
	}
	return s
}

func joined(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}

// advice is how to fish it, as label and words.
type advice struct {
	Rows  [][2]string
	Notes []string
}

// adviceOf is nil where the brief has no advice row.
func adviceOf(b coldseam.Brief, w notify.Words) *advice {
	h, way := w.How(b.How), b.How
	a := &advice{}
	for _, r := range [][2]string{
		{"Band", notify.BandWord(way)}, {"Pace", notify.Clean(way.Action)}, {"Cadence", h.Cadence},
		{"Hook", notify.Clean(way.Hook)}, {"Leader", h.Leader},
		{"Colour", h.Colour}, {"Bait", h.Bait}, {"Where", whereWords(way.Where)},
	} {
		if r[1] != "" {
			a.Rows = append(a.Rows, r)
		}
	}

	for _, n := range append(h.Others, h.Notes...) {
		if n = sentence(n); n != "" {
			a.Notes = append(a.Notes, n)
		}
	}
	if len(a.Rows) < 2 {
		return nil
	}
	return a
}

func whereWords(where []string) string {
	out := ""
	for i, x := range where {
		if i > 0 {
			out += ", then "
		}
		out += notify.Key(x)
	}
	return out
}

// outlookRow is one of the next days.
type outlookRow struct {
	Day, Odds, Wave, Water, Flow, Note string
}

func outlookOf(b coldseam.Brief, w notify.Words) []outlookRow {
	var out []outlookRow
	for _, d := range b.Next {
		r := outlookRow{
			Day:   d.Day.UTC().Format("Mon 2"),
			Odds:  "none",
			Wave:  "none",
			Water: "not known",
			Flow:  "not known",
			Note:  notify.Key(d.Note),
		}
		switch {
		case d.Verdict == coldseam.Stop:
			r.Odds = "stop likely"
		case d.OddsOK:
			r.Odds = notify.DayChance(b, d)
		}

		if d.WaveOK {
			r.Wave = notify.Odds(d.PWave)
		}
		if d.WaterC != [3]float64{} && !math.IsNaN(d.WaterC[1]) {
			r.Water = w.Temp(d.WaterC[1])
		}
		if d.FlowM3S != [3]float64{} && !math.IsNaN(d.FlowM3S[1]) {
			r.Flow = w.Flow(d.FlowM3S[1])
		}
		out = append(out, r)
	}

	return out
}
