package notify

import (
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
)

// outlookRow is one river of the weekend outlook.
type outlookRow struct {
	River string
	Days  []outlookDay
	Note  string
	Link  string
}

// outlookDay is one day: its odds, and what the water does.
type outlookDay struct{ Odds, Water string }

func (c *Composer) viewOutlook(v *mailView, p coldseam.Preferences, ct Content) {
	f := formatFor(p, ct.Briefs[0].Zone)
	v.Title = "Weekend outlook"
	v.Lead = "Made " + weekday(ct.Briefs[0].Day) + " " + f.clock(ct.Briefs[0].Issued) + "."
	v.Preheader = "The weekend, best river first."
	if slices.ContainsFunc(ct.Briefs, func(b coldseam.Brief) bool { return !b.Rank.Only() }) {
		v.Lead += " Odds are for a good morning."
	}
	if slices.ContainsFunc(ct.Briefs, func(b coldseam.Brief) bool { return b.Rank.Only() }) {
		v.Lead += " Thirds are of a river's fishable mornings" + thumb + "."
	}
	for _, b := range ct.Briefs {
		v.Outlook = append(v.Outlook, outlookOf(b, p, c.Links.River(b.Reach)))
	}
	v.Intro = []string{"Good until the morning mail of the day, which has the last word; later news: the pages of the rivers."}
}

// outlookOf tells the weekend of one river. A river that is stopped or without
// a call today has no odds here either.
func outlookOf(b coldseam.Brief, p coldseam.Preferences, link string) outlookRow {
	f := formatFor(p, b.Zone)
	row := outlookRow{River: clean(b.River), Link: link}
	if !b.Verdict.ShowsOdds() || !b.OddsOK {
		k := blockOf(b, p)
		row.Note = k.Verdict.String() + " today: " + plain(short(k.Head)) + ". No odds for the weekend yet."
		return row
	}

	for _, d := range weekend(b) {
		var more []string
		if d.WaveOK {
			more = append(more, joinParts(append([]part{{Text: "wave " + odds(d.PWave)}}, rowPart(b.Run)...)))
		}
		if finite(d.WaterC[1]) && d.WaterC != [3]float64{} {
			more = append(more, "water "+f.temp(d.WaterC[1]))
		}
		if n := keyed(keyWords, d.Note); n != "" {
			more = append(more, n)
		}
		row.Days = append(row.Days, outlookDay{weekday(d.Day) + " " + dayOdds(b, d), strings.Join(more, ", ")})
	}

	if len(row.Days) == 0 {
		row.Note = "No outlook for the weekend."
	}
	return row
}

// weekend are the next Saturday and Sunday of a brief's outlook, the brief's
// own day included.
func weekend(b coldseam.Brief) []coldseam.DayOdds {
	days := append([]coldseam.DayOdds{{Day: b.Day, Odds: b.Odds, OddsOK: b.OddsOK && b.Verdict.ShowsOdds(),
		Verdict: b.Verdict}}, b.Next...)
	var out []coldseam.DayOdds
	for _, d := range days {
		if w := d.Day.Weekday(); (w == time.Saturday || w == time.Sunday) && len(out) < 2 {
			out = append(out, d)
		}
	}
	return out
}

// outlookSubject names the best river with its days.
func outlookSubject(c Content) string {
	if len(c.Briefs) == 0 {
		return subject("Weekend outlook", c.Club)
	}
	b := c.Briefs[0]
	head, tails := "Weekend, good morning: "+b.River, []string(nil)
	if b.Rank.Only() {
		head = "Weekend by rule of thumb: " + b.River
	}
	for _, d := range weekend(b) {
		tails = append(tails, weekday(d.Day)+" "+dayOdds(b, d))
	}
	if len(tails) > 0 {
		head += " " + tails[0]
		tails = tails[1:]
	}
	return subject(head, tails...)
}
