package web

import (
	"fmt"
	"html/template"
	"math"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/chart"
)

// jigTable is the weight for each spot and where each size lets go.
type jigTable struct {
	Caption string
	Odds    bool
	Rows    []jigRow
	Sizes   []string // heads of the critical flows
	Crit    []critRow
	Unit    string
	Now     string
	Notes   []string
	Measure []string      // what to measure next
	Section template.HTML // the spot told first from the side, "" = none
	Spot    string        // its name
}

type jigRow struct {
	Spot, Depth     string
	Tie, TieHolds   string
	Pack, PackHolds string
	Next            string
	Mark            string // calibrated, uncalibrated
	Words           []string
	Withheld        string
}

type critRow struct {
	Spot  string
	Cells []critCell
}

// critCell is the flow to which a size holds; Low is true when today's flow is
// above it.
type critCell struct {
	Text string
	Low  bool
}

// jigTableOf is nil for a reach without spots.
func jigTableOf(b coldseam.Brief, w notify.Words, odds bool) *jigTable {
	if len(b.Jig) == 0 {
		return nil
	}
	t, units := &jigTable{Odds: odds, Unit: "cfs"}, "us"
	if w.Metric() {
		t.Unit, units = "m³/s", "metric"
	}
	if b.Flow.NowOK {
		t.Now = w.Flow(b.Flow.Now)
	}

	t.Caption = rigWords(b.Jig[0])
	for _, j := range b.Jig {
		t.Rows = append(t.Rows, jigRowOf(j, b.Jig, w, odds))
	}
	for _, m := range b.Measure {
		t.Measure = append(t.Measure, sentence(w.Reason(m)))
	}
	if i := coldseam.Headline(b.Jig); i >= 0 && b.Jig[i].Withheld.Code == "" {
		spot := b.Jig[i]
		spot.Spot = notify.Clean(spot.Spot)
		t.Section, t.Spot = chart.SectionSVG(spot, units), spot.Spot
	}
	t.common()
	t.critical(b, w)
	return t
}

func rigWords(j coldseam.SpotJig) string {
	var s []string
	for _, x := range []string{lineWords(j.Line), notify.Clean(j.Body) + " body", presentationWords(j.Presentation)} {
		if strings.TrimSpace(x) != "" && x != " body" {
			s = append(s, x)
		}
	}
	return strings.Join(s, ", ")
}

// lineWords reads a line key such as braid-0.14.
func lineWords(key string) string {
	kind, mm, ok := strings.Cut(notify.Clean(key), "-")
	if !ok {
		return kind
	}
	if lb := lineLb[key]; lb > 0 {
		return fmt.Sprintf("%s mm %s, about %d lb", mm, kind, lb)
	}
	return mm + " mm " + kind
}

// lineLb is the strength that spools of these diameters are commonly marked with;
// makers differ by a size, and the weight goes by the diameter alone
// [common practice].
var lineLb = map[string]int{
	"braid-0.10": 5, "braid-0.12": 6, "braid-0.14": 8, "braid-0.16": 10, "braid-0.18": 12, "braid-0.20": 15,
	"nylon-0.20": 6, "nylon-0.23": 8, "nylon-0.26": 10, "nylon-0.30": 12,
}

func presentationWords(key string) string {
	switch key {
	case "quartering":
		return "quartering cast"
	case "anchored":
		return "anchored, cast back"
	case "vertical":
		return "vertical"
	case "drift":
		return "controlled drift"
	case "wading":
		return "cast from the bank"
	}
	return notify.Clean(key)
}

func jigRowOf(j coldseam.SpotJig, all []coldseam.SpotJig, w notify.Words, odds bool) jigRow {
	r := jigRow{Spot: notify.Clean(j.Spot), Depth: "not sounded"}
	if j.DepthM > 0 {
		r.Depth = w.Depth(j.DepthM)
	}
	if j.TieOz <= 0 || math.IsNaN(j.TieOz) || j.Withheld.Code != "" {
		r.Withheld = w.Withheld(j, all)
		return r
	}

	r.Tie, r.Pack = w.Weight(j.TieOz), w.Weight(j.PackOz)
	if j.PackOz <= 0 {
		r.Pack = "none holds"
	}

	if odds {
		r.TieHolds = notify.Odds(j.TieHolds)
		odds := j.Holds
		if len(j.TimedHolds) > 0 {
			odds = j.TimedHolds
		}
		for _, h := range odds {
			if h.Oz == j.PackOz {
				r.PackHolds = notify.Odds(h.Holds)
			}
		}
	}

	if j.NextOz > j.TieOz {
		r.Next = w.Weight(j.NextOz)
	}
	r.Mark = "uncalibrated"
	if j.Calibrated {
		r.Mark = "calibrated by the club's log"
	}

	leader := w.Maybe(j.Leader)
	if leader != "" {
		leader = "leader " + leader
	}
	for _, x := range []string{w.Maybe(j.Why), w.Maybe(j.LineLies), w.Maybe(j.Dunes), w.Notes(j.Costs), leader,
		notify.PlaceGives(j.Kind)} {
		r.say(x)
	}
	for _, x := range j.Warnings {
		r.say(w.Reason(x))
	}
	return r
}

// say adds a sentence.
func (r *jigRow) say(s string) {
	if s = sentence(s); s != "" {
		r.Words = append(r.Words, s)
	}
}

// sentence begins with a capital and ends with a full stop.
func sentence(s string) string {
	s = strings.TrimRight(s, ". ")
	if s == "" {
		return ""
	}
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:] + "."
}

// common lifts the sentences that every weighed spot has above the list.
func (t *jigTable) common() {
	n := 0
	times := map[string]int{}
	for _, r := range t.Rows {
		n += b2i(r.Mark != "")
		for _, s := range r.Words {
			times[s]++
		}
	}

	if n < 2 {
		return
	}

	for i, r := range t.Rows {
		var own []string
		for _, s := range r.Words {
			switch {
			case times[s] < n:
				own = append(own, s)
			case times[s] == n:
				t.Notes = append(t.Notes, s)
				times[s] = n + 1
			}
		}
		t.Rows[i].Words = own
	}
}

// critical fills the table of flows at which each size stops holding, for the
// sizes of the box that matter near today's flow.
func (t *jigTable) critical(b coldseam.Brief, w notify.Words) {
	var sizes []float64
	for _, j := range b.Jig {
		for _, c := range j.CriticalM3S {
			if c.Oz >= 1./8-1e-9 && c.Oz <= 5./8+1e-9 && !containsOz(sizes, c.Oz) {
				sizes = append(sizes, c.Oz)
			}
		}
	}

	if len(sizes) == 0 {
		return
	}
	sort.Float64s(sizes)
	for _, oz := range sizes {
		t.Sizes = append(t.Sizes, coldseam.OzName(oz))
	}

	for _, j := range b.Jig {
		if len(j.CriticalM3S) == 0 {
			continue
		}
		row := critRow{Spot: notify.Clean(j.Spot)}
		for _, oz := range sizes {
			row.Cells = append(row.Cells, critCellOf(j, oz, b, w))
		}
		t.Crit = append(t.Crit, row)
	}
}

func critCellOf(j coldseam.SpotJig, oz float64, b coldseam.Brief, w notify.Words) critCell {
	for _, c := range j.CriticalM3S {
		if math.Abs(c.Oz-oz) > 1e-9 {
			continue
		}
		switch {
		case c.M3S <= 0:
			return critCell{Text: "none", Low: true}
		case math.IsNaN(c.M3S) || math.IsInf(c.M3S, 0):
			return critCell{Text: "·"}
		case c.Beyond:
			return critCell{Text: "over " + bare(w.Flow(c.M3S))}
		}
		return critCell{Text: bare(w.Flow(c.M3S)), Low: b.Flow.NowOK && b.Flow.Now > c.M3S}
	}
	return critCell{Text: "·"}
}

// bare is a number without its unit, which the caption names.
func bare(s string) string {
	n, _, _ := strings.Cut(s, "\u00a0")
	return n
}

func containsOz(xs []float64, v float64) bool {
	for _, x := range xs {
		if math.Abs(x-v) < 1e-9 {
			return true
		}
	}
	return false
}
