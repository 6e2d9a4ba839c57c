package notify

import (
	"cmp"
	"html/template"
	"time"

	"example.org/coldseam"
)

// Page is one brief as a page tells it. It is made of the same block as the
// mail, so that the two never disagree and a STOP or NO CALL has no odds to
// print in either.
type Page struct {
	Verdict coldseam.Verdict // NoCall where the brief's odds are not computed
	River   string
	Reach   string
	Day     string
	Head    []Piece // the line under the verdict word
	Sub     string
	Light   string // light and sky of the window
	Gist    string // one sentence
	Facts   []PageFact
	Below   []PageSection
	Staff   PageStaff
	Chart   bool   // may show a chart
	Alt     string // the chart in words
}

// Piece is a run of text.
type Piece struct {
	Text   string
	Strong bool
}

// PageFact is one labelled line; Items has more than one entry only for lists
// such as stops.
type PageFact struct {
	Label string
	Items [][]Piece
}

// PageSection is a list below the fold.
type PageSection struct {
	Title string
	Items []string
}

// PageStaff is the gauge staff: Filled of its marks, the toss-up reach is marks
// Lo+1 to Hi.
type PageStaff struct {
	Shown                 bool
	Marks, Filled, Lo, Hi int // ten marks of odds, or three of a rank
}

// PageOf tells b to a reader with the preferences p.
func PageOf(b coldseam.Brief, p coldseam.Preferences) Page {
	k := blockOf(b, p)
	out := Page{Verdict: k.Verdict, River: k.River, Reach: k.Reach, Day: k.Day, Head: pieces(k.Head), Sub: k.Sub, Light: k.Light, Gist: k.Gist,
		Staff: k.Staff, Chart: k.Chart, Alt: k.Alt}
	for _, f := range k.Facts {
		pf := PageFact{Label: f.Label}
		for _, it := range f.Items {
			pf.Items = append(pf.Items, pieces(runs(it)))
		}
		out.Facts = append(out.Facts, pf)
	}
	for _, s := range k.Below {
		out.Below = append(out.Below, PageSection(s))
	}
	return out
}

// pieces joins parts with their separators into runs.
func pieces(ps []part) []Piece {
	var out []Piece
	for i, p := range ps {
		if i > 0 {
			sep := p.Sep
			if sep == "" {
				sep = ", "
			}
			out = append(out, Piece{Text: sep})
		}
		out = append(out, Piece{Text: p.Text, Strong: p.Strong})
	}
	return out
}

// Words writes numbers with their units for one reader; pages and mails use
// the same ones.
type Words struct{ f format }

// WordsFor returns the words of a reader with the given units (us, metric) at
// a river in an IANA zone; an unknown zone reads UTC.
func WordsFor(units, zone string) Words {
	return Words{formatFor(coldseam.Preferences{Units: units}, zone)}
}

// Metric reports the unit system.
func (w Words) Metric() bool { return w.f.metric }

// Flow writes m3/s, Temp degC, Depth m, Wind m/s, Weight trade ounces.
func (w Words) Flow(m3s float64) string  { return w.f.flow(m3s) }
func (w Words) Temp(c float64) string    { return w.f.temp(c) }
func (w Words) Depth(m float64) string   { return w.f.depth(m) }
func (w Words) Wind(ms float64) string   { return w.f.wind(ms) }
func (w Words) Weight(oz float64) string { return w.f.weight(oz) }

// Clock writes the local time of day, Span two of them, DayClock one with its
// weekday when it is not on d.
func (w Words) Clock(t time.Time) string                     { return w.f.clock(t) }
func (w Words) Span(a, b time.Time) string                   { return w.f.span(a, b) }
func (w Words) DayClock(t time.Time, d coldseam.Date) string { return w.f.dayClock(t, d) }

// Reason words a reason in the reader's units; Maybe one that may be none.
func (w Words) Reason(r coldseam.Reason) string { return w.f.reason(r) }
func (w Words) Maybe(r coldseam.Reason) string  { return w.f.words(r) }

// Notes words remarks, one after the other; Key a key of a brief; InputName an
// input.
func (w Words) Notes(ns coldseam.Notes) string { return w.f.notes(ns) }
func Key(k string) string                      { return keyed(keyWords, k) }
func InputName(in coldseam.Input) string       { return inputName(in) }

// How words an advice row.
func (w Words) How(h coldseam.Advice) How { return w.f.how(h) }

// GapWords says which entry of a feed lacks and why.
func GapWords(g coldseam.FeedGap) string {
	return clean(cmp.Or(g.Title, g.Entry)) + " " + keyed(keyWords, g.Why)
}

// PlaceGives says what a kind of spot tends to give.
func PlaceGives(k coldseam.SpotKind) string { return placeWords[k] }

// ReasonText words a reason for a terminal.
func ReasonText(r coldseam.Reason, units, zone string) string {
	return plain(WordsFor(units, zone).Reason(r))
}

// Sentence names who says so and until when.
func (w Words) Sentence(r coldseam.Reason, d coldseam.Date) string { return w.f.reasonLine(r, d) }

// Chance is how a brief tells odds of a good morning: "6 in 10", or before a log
// "better third".
func Chance(b coldseam.Brief, p float64) string { return chance(b, p) }

// GoodChance is the same with its noun.
func GoodChance(b coldseam.Brief, p float64) string { return goodChance(b, p) }

// Odds writes a probability: "6 in 10".
func Odds(p float64) string { return odds(p) }

// Age writes a duration: "40 min", "7 h", "3 days".
func Age(d time.Duration) string { return hours(d) }

// Clean makes one printable line of foreign text.
func Clean(s string) string { return clean(s) }

// OneLine is Clean without the cut: for text that is kept.
func OneLine(s string) string { return oneLine(s) }

// Typeset is text in its typographic form, escaped; what must not be torn at a
// line's end carries the class nb.
func Typeset(s string) template.HTML { return bound(s, `class="nb"`) }

// Withheld says why spot j of all has no weight.
func (w Words) Withheld(j coldseam.SpotJig, all []coldseam.SpotJig) string {
	return withheld(w.f, j, all)
}

// InputGood reports whether an input reads: "none" is good, since the agency
// was asked and reports nothing.
func InputGood(in coldseam.Input) bool { return inputGood(in) }

// Doubt says why the newest readings of an input are not trusted, "" if they
// are.
func (w Words) Doubt(in coldseam.Input) string { return w.f.doubt(in) }

// JudgesAlone reports whether the water, jig and run of a NO CALL may be shown:
// the gauge itself reads.
func JudgesAlone(b coldseam.Brief) bool { return judgeAlone(b) }

// CautionParts are the sentences of the caution: on the water, on the rules
// with a colon before their links, and what follows the links. NoRules stands
// where there is no link.
func CautionParts() (water, rules, after string) {
	return cautionWater(), cautionRules(), cautionAfter()
}

// NoRules says that no rules page is known.
const NoRules = noRuleLink

// RuleLinks are the distinct rules pages of the briefs, season rules first.
func RuleLinks(briefs []coldseam.Brief) []RuleLink { return ruleLinks(briefs) }

// WebLink reports whether a link from data may be printed as one.
func WebLink(s string) bool { return webLink(clean(s)) }
