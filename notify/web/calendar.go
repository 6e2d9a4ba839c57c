package web

import (
	"bytes"
	"fmt"
	"net/http"
	"time"

	ics "github.com/arran4/golang-ical"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// waveDay is the least wave odds that make a calendar entry [proposal].
const waveDay = .4

func (s *site) reachCalendar(w http.ResponseWriter, r *http.Request) error {
	b, err := s.brief(r, coldseam.ReachID(r.PathValue("reach")))
	if err != nil {
		return err
	}
	return s.sendCalendar(w, r, notify.Clean(b.River)+", "+notify.Clean(b.ReachName), unitsOf(r), []coldseam.Brief{b})
}

func (s *site) ownCalendar(w http.ResponseWriter, r *http.Request) error {
	c, err := s.claim(r, notify.ForCalendar)
	if err != nil {
		return err
	}

	sub, err := s.Store.Subscriber(r.Context(), c.Subscriber)
	if err != nil {
		return err
	}
	all, err := s.Store.Board(r.Context())
	if err != nil {
		return err
	}

	var own []coldseam.Brief
	for _, id := range sub.Prefs.Reaches {
		for _, b := range all {
			if b.Reach == id {
				own = append(own, b)
			}
		}
	}

	w.Header().Set("X-Robots-Tag", "noindex")
	w.Header().Set("Cache-Control", "private, no-store")
	return s.sendCalendar(w, r, s.Club+" rivers", sub.Prefs.Units, own)
}

func (s *site) sendCalendar(w http.ResponseWriter, _ *http.Request, name, units string, briefs []coldseam.Brief) error {
	now := s.Now()
	for i, b := range briefs {
		briefs[i], _ = today(b, now)
	}
	out, err := calendar(name, units, s.Links, briefs)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/calendar; charset=utf-8")
	w.Header().Set("Content-Disposition", `inline; filename="coldseam.ics"`)
	_, err = w.Write(out)
	return err
}

// calendar writes the feed of RFC 5545: today's call, band shifts, likely wave
// days and changes of the spawning stage, all-day entries in the river's own
// civil days. A river under STOP or NO CALL has its call alone. The same
// briefs give the same bytes.
func calendar(name, units string, links notify.Links, briefs []coldseam.Brief) ([]byte, error) {
	cal := ics.NewCalendarFor("coldseam")
	cal.SetProductId("-//coldseam//rivers//EN")
	cal.SetMethod(ics.MethodPublish)
	cal.SetXWRCalName(notify.Clean(name))
	cal.SetRefreshInterval("PT1H")
	cal.SetXPublishedTTL("PT1H")

	for _, b := range briefs {
		f := feed{cal: cal, b: b, words: notify.WordsFor(units, b.Zone), url: links.River(b.Reach)}
		page := notify.PageOf(b, coldseam.Preferences{Units: units})
		f.call(page)
		if page.Verdict.ShowsOdds() {
			f.shifts()
			f.waves()
			f.stages()
		}
	}

	if len(cal.Components) == 0 { // RFC 5545 3.6 wants one: a zone shows nothing
		std := cal.AddTimezone("UTC").AddStandard()
		std.SetProperty(ics.ComponentPropertyDtStart, "19700101T000000")
		std.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetfrom), "+0000")
		std.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetto), "+0000")
	}

	var out bytes.Buffer
	if err := cal.SerializeTo(&out, ics.WithNewLine("\r\n")); err != nil {
		return nil, fmt.Errorf("calendar: %w", err)
	}
	return out.Bytes(), nil
}

type feed struct {
	cal   *ics.Calendar
	b     coldseam.Brief
	words notify.Words
	url   string
}

// entry adds an all-day event. The id keeps its meaning between fetches: a
// shift that moves by a day moves its entry.
func (f feed) entry(id string, d coldseam.Date, summary, text string) {
	e := f.cal.AddEvent(fmt.Sprintf("%s-%s@coldseam", f.b.Reach, id))
	e.SetDtStampTime(f.b.Issued)
	e.SetAllDayStartAt(d.UTC())
	e.SetAllDayEndAt(d.Add(1).UTC())
	e.SetSummary(notify.Clean(summary))
	e.SetDescription(notify.Clean(text) + " Made " + f.words.DayClock(f.b.Issued, f.b.Day) + " on " +
		dayShort(f.b.Day) + "; later news on the page. Not a safety clearance: look at the water before you launch.")
	e.SetURL(f.url)
	e.SetTimeTransparency(ics.TransparencyTransparent)
}

func (f feed) name() string { return notify.Clean(f.b.River) }

func (f feed) call(p notify.Page) {
	head := ""
	for _, h := range p.Head {
		head += h.Text + " "
	}
	f.entry("call-"+f.b.Day.String(), f.b.Day, p.Verdict.String()+" "+f.name()+": "+head, sentence(head)+" "+
		sentence(p.Sub)+f.stage(p))
}

// stage names the stage of the run where odds may stand.
func (f feed) stage(p notify.Page) string {
	r := f.b.Run
	if !r.Active || r.Stage == "" || !p.Verdict.ShowsOdds() {
		return ""
	}
	return " Run: " + notify.Clean(r.Stage) + " " + notify.Odds(r.StageP) + ", wave " + notify.Odds(r.PWave) +
		waveMark(r) + "."
}

func (f feed) shifts() {
	for _, c := range f.b.Crossings {
		if c.Confirmed || c.Not > .5 || c.Dates[1].IsZero() {
			continue
		}
		way := "up past "
		if !c.Up {
			way = "down past "
		}

		edge := f.words.Temp(c.EdgeC)
		when := fmt.Sprintf("For good within 3 days %s, 7 days %s, 10 days %s; likely %s", notify.Odds(c.Within3),
			notify.Odds(c.Within7), notify.Odds(c.Within10), dayShort(c.Dates[0]))
		switch {
		case !f.b.Day.Before(c.Dates[2]):
			when = "Past it since " + dayShort(c.Dates[1])
		case c.Dates[0] != c.Dates[2]:
			when += " to " + dayShort(c.Dates[2])
		}
		f.entry(fmt.Sprintf("shift-%.1f-%s-%t", c.EdgeC, season(f.b.Day), c.Up), c.Dates[1], f.name()+": water "+way+
			edge, when+".")
	}
}

// season names the half of the year that a shift belongs to.
func season(d coldseam.Date) string {
	half := "spring"
	if d.Month >= time.July {
		half = "autumn"
	}
	return fmt.Sprintf("%d-%s", d.Year, half)
}

func (f feed) waves() {
	for _, d := range f.b.Next {
		if !d.WaveOK || d.PWave < waveDay {
			continue
		}
		text := "Odds of a wave of arriving fish, worth little beyond what was caught yesterday."
		if d.OddsOK {
			text += " Good morning: " + notify.DayChance(f.b, d) + "."
		}
		f.entry("wave-"+d.Day.String(), d.Day, f.name()+": wave "+notify.Odds(d.PWave)+waveMark(f.b.Run), text)
	}
}

// stages marks the days on which the likeliest stage of the run changes.
func (f feed) stages() {
	r := f.b.Run
	if !r.Active {
		return
	}
	last := r.Stage
	for _, d := range r.Days {
		if d.Stage == "" || d.Stage == last || !f.b.Day.Before(d.Day) {
			continue
		}
		last = d.Stage
		f.entry("stage-"+season(f.b.Day)+"-"+d.Stage, d.Day, f.name()+": run "+d.Stage+" "+notify.Odds(d.StageP)+
			waveMark(r), fmt.Sprintf("Arrived about %d %%, spawned about %d %%.", pct(d.Arrived[1]), pct(d.Spawned[1])))
	}
}
