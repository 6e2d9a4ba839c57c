package notify

import (
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
)

// part is a piece of a fact line. Optional parts are dropped from the text
// line when it would pass its width; the HTML shows all.
type part struct {
	Text     string
	Strong   bool
	Optional bool
	Sep      string // before it when it is not the first; "" = ", "
}

// fact is one labelled line of a brief.
type fact struct {
	Label string // Window, Stops, Water ...
	Items [][]part
}

func line(label string, parts ...part) fact { return fact{label, [][]part{parts}} }

// block is one river as the mail tells it: already cut down to what its
// verdict may print.
type block struct {
	Brief   coldseam.Brief
	Verdict coldseam.Verdict
	Replay  bool
	River   string
	Reach   string
	Day     string
	Head    []part // the line under the verdict word
	Sub     string // the smaller one below
	Facts   []fact // in the fixed order
	Below   []section
	Staff   staff
	Chart   bool   // may show a chart
	Alt     string // of the chart, with the numbers
	Log     bool   // may ask for a trip log
}

// section is what stands below the fold, as a list.
type section struct {
	Title string
	Items []string
}

// staff is the gauge staff of ten marks.
type staff struct {
	Shown          bool
	Filled, Lo, Hi int // bracket = marks Lo+1..Hi
}

// blockOf decides what one brief prints. Reads no clock.
func blockOf(b coldseam.Brief, p coldseam.Preferences) block {
	f := formatFor(p, b.Zone)
	k := block{
		Brief: b, Verdict: b.Verdict, Replay: b.Replay,
		River: clean(b.River), Reach: clean(b.ReachName), Day: shortDay(b.Day),
	}
	if b.Replay {
		k.Day = b.Day.UTC().Format("Mon 2 Jan 2006")
	}
	if (!b.OddsOK || !finite(b.Odds)) && b.Verdict.ShowsOdds() {
		// Odds are what such a verdict rests on; without them there is none.
		k.Verdict = coldseam.NoCall
	}
	switch k.Verdict {
	case coldseam.Go, coldseam.TossUp, coldseam.Stay:
		k.oddsLines(f, p)
	case coldseam.Stop:
		k.stopLines(f, p)
	default:
		k.noCallLines(f, p)
	}
	k.Facts = append(k.Facts, k.made(f))
	k.below(f)
	if !k.Verdict.ShowsOdds() {
		k.withoutOdds()
	}
	return k
}

// withoutOdds is the last guard of STOP and NO CALL: a reason or a spot may come
// with a chance in its text ("the heaviest, 1/2 oz, 4 in 10"); those clauses go.
// The line of a replay alone may say what odds would have said.
func (k *block) withoutOdds() {
	parts := func(ps []part) {
		for i := range ps {
			ps[i].Text = dropOdds(ps[i].Text)
		}
	}
	parts(k.Head)
	k.Sub = dropOdds(k.Sub)
	for _, f := range k.Facts {
		if f.Label == "Replay" {
			continue
		}
		for _, item := range f.Items {
			parts(item)
		}
	}
	for _, s := range k.Below {
		for i := range s.Items {
			s.Items[i] = dropOdds(s.Items[i])
		}
	}
	k.Alt = dropOdds(k.Alt)
}

// dropOdds removes the clauses that hold a chance.
func dropOdds(s string) string {
	if !strings.Contains(plain(s), "in 10") {
		return s
	}
	var keep []string
	for _, c := range strings.FieldsFunc(s, func(r rune) bool { return r == ';' || r == ',' }) {
		if c = strings.TrimSpace(c); c != "" && !strings.Contains(plain(c), "in 10") {
			keep = append(keep, c)
		}
	}
	if len(keep) == 0 {
		return "see the rule of the club"
	}
	return strings.Join(keep, ", ")
}

// oddsLines are the lines of GO, TOSS-UP and STAY.
func (k *block) oddsLines(f format, p coldseam.Preferences) {
	b := k.Brief
	k.Head = []part{{Text: odds(b.Odds), Strong: true}, {Text: "for a good morning", Sep: " "}}
	window := []part{{Text: odds(b.Odds) + " for a good morning", Strong: true}}
	if w, ok := b.Best(); ok {
		span := f.span(w.Start, w.End)
		k.Sub = "Window " + span
		window = append([]part{{Text: span, Strong: true}}, window...)
		if w.Why != "" {
			window = append(window, part{Text: clean(w.Why), Optional: true})
		}
	}
	if note := clean(b.OddsNote); note != "" {
		window = append(window, part{Text: note, Optional: true})
	}
	if k.Verdict == coldseam.Stay {
		if better := betterDay(b); better != "" {
			k.Sub = better
		}
	}
	k.Facts = append(k.Facts, line("Window", window...))
	k.Facts = append(k.Facts, k.stops(f, "none.")...)
	k.Facts = append(k.Facts, k.care(f)...)
	k.Facts = append(k.Facts, k.water(f), k.jig(f, ""), k.run(true))
	if how := k.how(f); k.Verdict != coldseam.Stay && how != "" {
		k.Facts = append(k.Facts, line("How", part{Text: how}))
	}
	k.Facts = append(k.Facts, k.next(), k.sure(f))
	k.Facts = append(k.Facts, line("Log", part{Text: "none | 1-3 | 4 or more | did not go"}))
	k.Staff = staffOf(b, k.Verdict, p)
	k.Chart, k.Log = true, true
	k.Alt = k.alt(f)
}

// stopLines are the lines of STOP: no odds, no window, no temperature, no
// tactics.
func (k *block) stopLines(f format, p coldseam.Preferences) {
	b := k.Brief
	if r, ok := mainStop(b); ok {
		k.Head = []part{{Text: f.reason(r), Strong: true}}
		k.Sub = f.says(r, b.Day)
	} else {
		k.Head = []part{{Text: "stopped by a rule of the club", Strong: true}}
	}
	k.Facts = append(k.Facts, k.stopList(f))
	k.Facts = append(k.Facts, k.care(f)...)
	legal := len(b.Stops) > 0
	for _, r := range b.Stops {
		legal = legal && r.Kind == "legal"
	}
	if b.Flow.NowOK && gaugeGood(b) {
		k.Facts = append(k.Facts, k.flowOnly(f))
	}
	k.Facts = append(k.Facts, line("Jig", part{Text: "none on a STOP"}))
	k.Facts = append(k.Facts, line("Next", part{Text: f.again(p, b)}), k.ages(f))
	k.Chart = !legal && gaugeGood(b)
	k.Alt = k.alt(f)
}

// mainStop is the stop that stands in the subject and under the verdict word: a
// warning in force says more to an angler than a limit of ours; else the first.
func mainStop(b coldseam.Brief) (coldseam.Reason, bool) {
	for _, r := range b.Stops {
		if r.Kind == "safety" && !r.Until.IsZero() {
			return r, true
		}
	}
	if len(b.Stops) == 0 {
		return coldseam.Reason{}, false
	}
	return b.Stops[0], true
}

// noCallLines are the lines of NO CALL.
func (k *block) noCallLines(f format, p coldseam.Preferences) {
	b := k.Brief
	why := missingText(f, b)
	k.Head = []part{{Text: why, Strong: true}}
	k.Sub = "No odds without it. This is not a go."
	if b.Replay {
		k.Sub = "Replay from revised data. This is not a go."
	}
	k.Facts = append(k.Facts, line("Why", part{Text: why, Strong: true}, part{Text: "This is not a go.", Sep: ". "}))
	if b.Replay && b.ReplayOdds != "" {
		k.Facts = append(k.Facts, line("Replay", part{Text: clean(b.ReplayOdds)}))
	}
	k.Facts = append(k.Facts, k.stops(f, "none known.")...)
	k.Facts = append(k.Facts, k.care(f)...)
	if judgeAlone(b) {
		k.Facts = append(k.Facts, k.water(f), k.jig(f, "to judge for yourself"), k.run(false))
	} else {
		why := "no weight on a NO CALL"
		if !gaugeGood(b) {
			why = "no weight without the gauge"
		}
		k.Facts = append(k.Facts, line("Jig", part{Text: why}))
	}
	if !b.Replay { // a past morning has nothing to look at and no next reading
		k.Facts = append(k.Facts, line("Look", part{Text: "gauge, weather warnings and the river itself"}),
			line("Next", part{Text: f.again(p, b)}))
	}
	k.Facts = append(k.Facts, k.ages(f))
}

// stops is the line for verdicts that no stop decides: what there is, or none,
// with the life-jacket line for cold water.
func (k *block) stops(f format, none string) []fact {
	if len(k.Brief.Stops) > 0 {
		return []fact{k.stopList(f)}
	}
	parts := []part{{Text: none}}
	if l := k.lifeLine(f); l != "" {
		parts = append(parts, part{Text: l, Sep: " "})
	}
	return []fact{line("Stops", parts...)}
}

// lifeLine is the fixed line for cold water.
func (k *block) lifeLine(f format) string {
	return f.either(k.Brief.LifeLine, k.Brief.LifeLineSI)
}

// stopList lists all stops, the main one first.
func (k *block) stopList(f format) fact {
	stops := append([]coldseam.Reason(nil), k.Brief.Stops...)
	if main, ok := mainStop(k.Brief); ok {
		i := slices.Index(stops, main)
		copy(stops[1:i+1], stops[:i])
		stops[0] = main
	}
	s := fact{Label: "Stops"}
	for _, r := range stops {
		parts := []part{{Text: f.reason(r)}}
		if says := f.says(r, k.Brief.Day); says != "" {
			parts = append(parts, part{Text: "(" + says + ")", Sep: " ", Optional: true})
		}
		s.Items = append(s.Items, parts)
	}
	if len(s.Items) == 0 {
		s.Items = [][]part{{{Text: clubRule}}}
	}
	return s
}

// care holds the first two cautions; all of them stand below the fold.
func (k *block) care(f format) []fact {
	out := fact{Label: "Care"}
	for i, r := range k.Brief.Cautions {
		if i == 2 {
			break
		}
		out.Items = append(out.Items, []part{{Text: f.reason(r)}})
	}
	if len(out.Items) == 0 {
		return nil
	}
	return []fact{out}
}

// clubRule is the source of what the club itself set: worth a word beside a
// stop, not beside every caution.
const clubRule = "club rule"

// says names who says so and until when.
func (f format) says(r coldseam.Reason, d coldseam.Date) string {
	s := clean(r.Source)
	if _, host, ok := strings.Cut(s, "@"); ok {
		s = host // the sender field of an alert is an address
	}
	if s == clubRule && r.Kind == "caution" {
		s = ""
	}
	if !r.Until.IsZero() && !strings.Contains(f.reason(r), f.dayClock(r.Until, d)) {
		if s != "" {
			s += ", "
		}
		s += "until " + f.dayClock(r.Until, d)
	}
	return s
}

// reason picks the text of the reader's unit system.
func (f format) reason(r coldseam.Reason) string {
	if t := f.either(r.Text, r.TextSI); t != "" {
		return t
	}
	if c := clean(r.Code); c != "" {
		return strings.ReplaceAll(c, "_", " ")
	}
	return "a rule of the club" // never an empty line: a stop or caution is not dropped
}

// again says when the river is read next.
func (f format) again(p coldseam.Preferences, b coldseam.Brief) string {
	at := p.SendAt
	if at == "" {
		at = "before dawn"
	} else {
		at = strings.TrimPrefix(at, "0")
	}
	return "we read again " + weekday(b.Day.Add(1)) + " " + at + ". Nothing before that is a go."
}

func missingText(f format, b coldseam.Brief) string {
	for _, r := range b.Reasons {
		if r.Kind == "missing" {
			return f.reason(r)
		}
	}
	for _, in := range b.Inputs {
		if in.Safety && !inputGood(in) {
			return inputText(in)
		}
	}
	if !b.OddsOK && b.Verdict.ShowsOdds() {
		return "odds not computed"
	}
	return "something needed is missing"
}

func inputText(in coldseam.Input) string {
	name := clean(in.Name)
	if name == "" {
		name = strings.ReplaceAll(clean(in.Key), "_", " ")
	}
	if in.State == "stale" && in.Age > 0 {
		return name + " silent " + hours(in.Age)
	}
	return name + " " + clean(in.State)
}

// inputGood: "none" means that the agency was asked and reports nothing, as for
// alerts; "open" is the good state of ice.
func inputGood(in coldseam.Input) bool {
	return in.State == "good" || in.State == "none" || in.State == "open"
}

func gaugeGood(b coldseam.Brief) bool {
	for _, in := range b.Inputs {
		if (in.Key == "discharge" || in.Key == "stage") && in.State == "good" {
			return true
		}
	}
	return false
}

// judgeAlone reports whether a NO CALL may still print water, jig and run: only
// weather, alerts or a season rule are missing, the gauge itself reads. Every
// missing input comes with a reason; a NO CALL without one prints nothing.
func judgeAlone(b coldseam.Brief) bool {
	some := false
	for _, r := range b.Reasons {
		if r.Kind != "missing" {
			continue
		}
		some = true
		if !mentions(r.Code, "weather", "alert", "season", "rule", "replay") {
			return false
		}
	}
	return some && gaugeGood(b) && b.Flow.NowOK
}

func mentions(code string, words ...string) bool {
	for _, w := range words {
		if strings.Contains(code, w) {
			return true
		}
	}
	return false
}

func betterDay(b coldseam.Brief) string {
	best := -1
	for i, d := range b.Next {
		if d.OddsOK && finite(d.Odds) && d.Verdict != coldseam.Stop && d.Odds > b.Odds+.1 && (best < 0 || d.Odds > b.Next[best].Odds) {
			best = i
		}
	}
	if best < 0 {
		return ""
	}
	return "Better: " + weekday(b.Next[best].Day) + ", " + odds(b.Next[best].Odds)
}

func (k *block) made(f format) fact {
	b := k.Brief
	parts := []part{{Text: f.dayClock(b.Issued, b.Day)}}
	if !b.GoodUntil.IsZero() {
		parts = append(parts, part{Text: "good until " + f.dayClock(b.GoodUntil, b.Day)})
	}
	parts = append(parts, part{Text: "later news: page below", Sep: "; "})
	if b.Zone == "" {
		parts = append(parts, part{Text: "times UTC", Optional: true})
	}
	return line("Made", parts...)
}

// ages is the Sure line where no odds are told: what was read last and when,
// what is missing first, each source once.
func (k *block) ages(f format) fact {
	var parts []part
	seen := map[string]bool{}
	for _, good := range []bool{false, true} {
		for _, in := range k.Brief.Inputs {
			name := shortName(in)
			if inputGood(in) != good || in.At.IsZero() || !in.Safety || in.Key == "season_rule" || seen[name] {
				continue
			}
			seen[name] = true
			if !good {
				name += " last"
			}
			parts = append(parts, part{Text: name + " " + f.dayClock(in.At, k.Brief.Day), Optional: len(parts) > 1})
		}
	}
	if len(parts) == 0 {
		parts = []part{{Text: "no: nothing was read"}}
	}
	return line("Sure", parts...)
}

func shortName(in coldseam.Input) string {
	switch in.Key {
	case "discharge", "stage":
		return "gauge"
	case "water_temp":
		return "thermometer"
	case "alerts":
		return "warnings"
	case "season_rule":
		return "season rule"
	}
	return strings.ReplaceAll(clean(in.Key), "_", " ")
}

// gaugeAt is the newest reading the brief rests on.
func gaugeAt(b coldseam.Brief) (t time.Time) {
	for _, in := range b.Inputs {
		if (in.Key == "discharge" || in.Key == "stage") && in.At.After(t) {
			t = in.At
		}
	}
	return t
}
