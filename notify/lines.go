package notify

import (
	"cmp"
	"strconv"
	"strings"

	"example.org/coldseam"
)

// part is a piece of a fact line. Optional parts are dropped from the text
// line when it would pass its width; the HTML shows all.
type part struct {
	Text     string
	Long     string // what the HTML of a mail says instead
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
	Head    []part    // the line under the verdict word
	Gist    string    // one sentence, "" = none
	Cause   string    // of a STOP or NO CALL, as short as a subject needs it
	Sub     string    // the smaller one below
	Light   string    // light and, where nothing of it matters, the sky of the window
	Facts   []fact    // in the fixed order
	Below   []section // of the page
	Mailed  []section // of a mail

	Spots     []spotRow // of a mail, right below the fold
	SpotNotes []string

	Staff PageStaff
	Chart bool   // may show a chart
	Alt   string // of the chart, with the numbers
	Log   bool   // may ask for a trip log
}

// section is what stands below the fold, as a list.
type section struct {
	Title string
	Items []string
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

	if b.Verdict.ShowsOdds() && !hasWord(b) {
		// Odds are what such a verdict rests on; without them there is none.
		k.Verdict = coldseam.NoCall
	}

	f.noOdds = !k.Verdict.ShowsOdds()
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
	return k
}

// oddsLines are the lines of GO, TOSS-UP and STAY.
func (k *block) oddsLines(f format, p coldseam.Preferences) {
	b := k.Brief
	k.Head = []part{{Text: odds(b.Odds), Strong: true}, {Text: "for a good morning", Sep: " "}}
	window := []part{{Text: k.range80(), Strong: true}}
	if b.Rank.Only() {
		k.Head = []part{{Text: goodChance(b, b.Odds), Strong: true}, {Text: "by rule of thumb"}}
		window = nil
		k.Facts = append(k.Facts, line("Rank", part{
			Text: chance(b, b.Odds) + " of its mornings by trade rules, not odds",
			Long: goodChance(b, b.Odds) + thumb,
		}))
	}
	if w, ok := b.Best(); ok {
		span := f.span(w.Start, w.End)
		k.Sub = "Window " + span
		window = append([]part{{Text: span, Strong: true}}, window...)
		if w.Why != "" {
			window = append(window, part{Text: keyed(keyWords, w.Why), Optional: true})
		}
	}

	k.Light = f.light(b)
	sky, matters := k.sky(f)
	if !matters {
		for _, p := range sky {
			window = append(window, part{Text: p.Text, Sep: p.Sep, Optional: true})
			k.Light += cmp.Or(p.Sep, ", ") + p.Text
		}
		k.Light = strings.TrimPrefix(k.Light, ", ")
	}
	if k.Verdict == coldseam.Stay {
		if better := betterDay(b); better != "" {
			k.Sub = better
		}
	}

	if len(window) > 0 {
		k.Facts = append(k.Facts, line("Window", window...))
	}
	k.Facts = append(k.Facts, k.stops(f, "none.")...)
	k.Facts = append(k.Facts, k.care(f)...)
	k.Gist = k.gist(f)
	k.Facts = append(k.Facts, k.water(f), k.jig(f, ""))
	if matters {
		k.Facts = append(k.Facts, line("Sky", sky...))
	}
	k.Facts = append(append(k.Facts, k.since(f)...), k.run(true))
	if how := f.how(b.How).Line; k.Verdict != coldseam.Stay && how != "" {
		k.Facts = append(k.Facts, line("How", part{Text: how}))
	}
	k.Facts = append(k.Facts, k.next())
	k.Facts = append(k.Facts, line("Log", part{Text: "none | 1-3 | 4 or more | did not go"}))
	k.Staff = StaffOf(b, b.Odds)
	k.Chart, k.Log = true, true
	k.Alt = k.alt(f)
}

// stopLines are the lines of STOP: no odds, no window, no temperature, no
// tactics.
func (k *block) stopLines(f format, p coldseam.Preferences) {
	b, brief := k.Brief, f
	brief.short = true
	if r, ok := mainStop(b); ok {
		k.Cause = brief.reason(r)
		k.Head = []part{{Text: f.reason(r), Strong: true}}
		k.Sub = f.reasonLine(r, b.Day)
	} else {
		k.Cause = "stopped by a rule of the club"
		k.Head = []part{{Text: k.Cause, Strong: true}}
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
	k.Facts = append(k.Facts, k.since(f)...)
	k.Facts = append(k.Facts, line("Jig", part{Text: "none on a STOP"}))
	k.Facts = append(k.Facts, line("Next", part{Text: f.again(p, b)}), k.ages(f))
	k.Chart = !legal && gaugeGood(b)
	k.Alt = k.alt(f)
}

// noCallLines are the lines of NO CALL.
func (k *block) noCallLines(f format, p coldseam.Preferences) {
	b, brief := k.Brief, f
	brief.short = true
	k.Cause = missingText(brief, b)
	why := missingText(f, b)
	k.Head = []part{{Text: why, Strong: true}}
	k.Sub = "No odds without it. This is not a go."

	if b.Replay {
		k.Sub = "Replay from revised data. This is not a go."
	}
	k.Facts = append(k.Facts, line("Why", part{Text: why, Strong: true}, part{Text: "This is not a go.", Sep: ". "}))
	if alone := f.words(b.ReplayOdds); b.Replay && alone != "" {
		k.Facts = append(k.Facts, line("Replay", part{Text: alone}))
	}
	k.Facts = append(k.Facts, k.stops(f, "none known.")...)
	k.Facts = append(k.Facts, k.care(f)...)
	k.Facts = append(k.Facts, k.since(f)...)

	if judgeAlone(b) {
		k.Facts = append(k.Facts, k.water(f), k.jig(f, "to judge for yourself"), k.run(false))
		if how := f.how(b.How).Line; b.Replay && how != "" {
			k.Facts = append(k.Facts, line("How", part{Text: how}))
		}
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

func betterDay(b coldseam.Brief) string {
	best := -1
	for i, d := range b.Next {
		if d.OddsOK && finite(d.Odds) && !b.TooFar(d) && d.Verdict != coldseam.Stop && d.Odds > b.Odds+.1 &&
			(best < 0 || d.Odds > b.Next[best].Odds) {
			best = i
		}
	}
	if best < 0 {
		return ""
	}
	return "Better: " + weekday(b.Next[best].Day) + ", " + chance(b, b.Next[best].Odds)
}

// range80 is the odds with what eight of ten members hold.
func (k *block) range80() string {
	b := k.Brief
	if lo, hi := coldseam.Tenths(b.Spread[0]), coldseam.Tenths(b.Spread[1]); b.Rank.Logged > 0 && lo < hi {
		return odds(b.Odds) + " (" + strconv.Itoa(lo) + "-" + strconv.Itoa(hi) + ")"
	}
	return goodChance(b, b.Odds)
}

// laterNews points a reader of the text part to the page's address; the HTML has
// the words as a link.
const laterNews = "later news below"

func (k *block) made(f format) fact {
	b := k.Brief
	parts := []part{{Text: f.dayClock(b.Issued, b.Day)}}
	if !b.GoodUntil.IsZero() {
		parts = append(parts, part{Text: "good until " + f.dayClock(b.GoodUntil, b.Day)})
	}
	parts = append(parts, part{Text: laterNews, Sep: "; "})
	if b.Zone == "" {
		parts = append(parts, part{Text: "times UTC", Optional: true})
	}
	return line("Made", parts...)
}
