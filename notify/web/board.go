package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// boardPage is today's board of all rivers.
type boardPage struct {
	Day     string
	Summary string
	Rows    []boardRow
	Weekend *weekend
	Toggle  toggle
	Cost    string // the club's toss-up reach in words
}

// boardRow is one river on the board.
type boardRow struct {
	Page  notify.Page
	Class string
	URL   string
	Over  string
	Day   string // when it is not the board's day
	Lines [][]notify.Piece
}

// weekend is the table of the coming Saturday and Sunday.
type weekend struct {
	Days []string
	Rows []weekendRow
}

type weekendRow struct {
	Name  string
	Cells []string
	Best  []bool
}

// toggle is the link to the other unit system.
type toggle struct{ URL, Text string }

// riverPath is the page of a reach; an id is data and may hold any character.
func riverPath(id coldseam.ReachID) string { return notify.PathRiver + url.PathEscape(string(id)) }

// unitsOf reads ?units=; anything but metric is US.
func unitsOf(r *http.Request) string {
	if r.URL.Query().Get("units") == "metric" {
		return "metric"
	}
	return "us"
}

func (s *site) toggle(r *http.Request, path string) toggle {
	if unitsOf(r) == "metric" {
		return toggle{path, "Show °F, cfs and feet"}
	}
	return toggle{path + "?units=metric", "Show °C, m³/s and metres"}
}

func classOf(v coldseam.Verdict) string {
	switch v {
	case coldseam.Go:
		return "go"
	case coldseam.TossUp:
		return "toss"
	case coldseam.Stay:
		return "stay"
	case coldseam.Stop:
		return "stop"
	}
	return "nocall"
}

func zoneHere(b coldseam.Brief) *time.Location {
	loc, err := time.LoadLocation(b.Zone)
	if err != nil {
		return time.UTC
	}
	return loc
}

// today turns a brief of an earlier day into what it is this morning: no call.
// The second value says that a call of today is past its time.
func today(b coldseam.Brief, now time.Time) (coldseam.Brief, string) {
	w := notify.WordsFor("us", b.Zone)
	day := coldseam.DateOf(now.In(zoneHere(b)))
	if !b.Day.Before(day) {
		if b.Verdict.ShowsOdds() && !b.GoodUntil.IsZero() && now.After(b.GoodUntil) {
			return b, "This call was good until " + w.DayClock(b.GoodUntil, day) +
				". That time has passed; look again before dawn."
		}
		return b, ""
	}

	return coldseam.Brief{
		Reach:     b.Reach,
		River:     b.River,
		ReachName: b.ReachName,
		Site:      b.Site,
		SiteName:  b.SiteName,
		Zone:      b.Zone,
		Day:       day,
		Issued:    now,
		Verdict:   coldseam.NoCall,
		WindowI:   -1,
		Cost:      b.Cost,
		Reasons: []coldseam.Reason{{Code: "no_brief", Kind: "missing",
			Text: "No call yet for today; the last was for " + longDay(b.Day)}},
		Hazards:  b.Hazards,
		Surveyed: b.Surveyed,
		Rules:    b.Rules,
		Sources:  b.Sources,
		Bands:    b.Bands,
	}, ""
}

func longDay(d coldseam.Date) string { return d.UTC().Format("Monday 2 January") }

func (s *site) board(w http.ResponseWriter, r *http.Request) error {
	briefs, err := s.Store.Board(r.Context())
	if err != nil {
		return err
	}

	now, units := s.Now(), unitsOf(r)
	over := map[coldseam.ReachID]string{}
	for i, b := range briefs {
		briefs[i], over[b.Reach] = today(b, now)
	}
	notify.SortBriefs(briefs)
	p := boardPage{Toggle: s.toggle(r, notify.PathBoard), Summary: summary(briefs), Weekend: weekendOf(briefs)}
	p.Day = longDay(coldseam.DateOf(now))
	if len(briefs) > 0 {
		p.Day = longDay(briefs[0].Day)
	}

	for _, b := range briefs {
		row := rowOf(b, units, over[b.Reach])
		if b.Day != briefs[0].Day {
			row.Day = "For " + longDay(b.Day)
		}
		p.Rows = append(p.Rows, row)
	}

	return s.show(w, http.StatusOK, "board", foot(frame{Title: p.Day + ": today's rivers", Body: p}, briefs))
}

func rowOf(b coldseam.Brief, units, over string) boardRow {
	page := notify.PageOf(b, coldseam.Preferences{Units: units})
	row := boardRow{Page: page, Class: classOf(page.Verdict), URL: riverPath(b.Reach) + query(units), Over: over}
	for _, label := range []string{"Water", "Jig"} {
		if page.Verdict == coldseam.Stop && label == "Jig" {
			continue
		}
		for _, f := range page.Facts {
			if f.Label == label && len(f.Items) > 0 {
				row.Lines = append(row.Lines, capital(f.Items[0]))
			}
		}
	}
	return row
}

// capital begins a sentence.
func capital(ps []notify.Piece) []notify.Piece {
	out := append([]notify.Piece(nil), ps...)
	if len(out) > 0 && out[0].Text != "" {
		out[0].Text = strings.ToUpper(out[0].Text[:1]) + out[0].Text[1:]
	}
	return out
}

func query(units string) string {
	if units == "metric" {
		return "?units=metric"
	}
	return ""
}

// summary says how many rivers are stopped or silent.
func summary(bs []coldseam.Brief) string {
	stop, none := 0, 0
	for _, b := range bs {
		switch {
		case b.Verdict == coldseam.Stop:
			stop++
		case b.Verdict == coldseam.NoCall || !b.OddsOK:
			none++
		}
	}

	var out []string
	if stop > 0 {
		out = append(out, count(stop, "river is stopped", "rivers are stopped"))
	}
	if none > 0 {
		out = append(out, count(none, "river has no call", "rivers have no call"))
	}
	if len(out) == 0 {
		return ""
	}
	s := strings.Join(out, ", ")
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

func count(n int, one, many string) string {
	words := []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"}
	num := "many"
	if n < len(words) {
		num = words[n]
	}
	if n == 1 {
		return num + " " + one
	}
	return num + " " + many
}

// weekendOf is the table of the next Saturday and Sunday over the rivers that
// have odds; nil when fewer than two do.
func weekendOf(bs []coldseam.Brief) *weekend {
	var w weekend
	var days []coldseam.Date
	for _, b := range bs {
		all := append([]coldseam.DayOdds{{
			Day:     b.Day,
			Odds:    b.Odds,
			OddsOK:  b.OddsOK && b.Verdict.ShowsOdds(),
			Verdict: b.Verdict,
		}}, b.Next...)
		for _, d := range all {
			if wd := d.Day.Weekday(); (wd == time.Saturday || wd == time.Sunday) && len(days) < 2 &&
				!containsDay(days, d.Day) {
				days = append(days, d.Day)
			}
		}
	}

	if len(days) == 0 {
		return nil
	}
	best := make([]float64, len(days))
	odds := make([][]float64, len(bs))
	for i, b := range bs {
		odds[i] = make([]float64, len(days))
		row := weekendRow{Name: notify.Clean(b.River) + ", " + notify.Clean(b.ReachName),
			Cells: make([]string, len(days)), Best: make([]bool, len(days))}
		for k, d := range days {
			row.Cells[k], odds[i][k] = dayCell(b, d)
			best[k] = max(best[k], odds[i][k])
		}
		w.Rows = append(w.Rows, row)
	}

	for i := range w.Rows {
		for k := range days {
			w.Rows[i].Best[k] = odds[i][k] > 0 && odds[i][k] == best[k]
		}
	}
	for _, d := range days {
		w.Days = append(w.Days, d.UTC().Format("Mon 2"))
	}
	return &w
}

// byMorning is how late a stop must last to be one of that day's morning [proposal].
const byMorning = 6 * time.Hour

func dayCell(b coldseam.Brief, d coldseam.Date) (string, float64) {
	if d == b.Day {
		switch {
		case b.Verdict == coldseam.Stop:
			return "STOP", 0
		case b.Verdict.ShowsOdds() && b.OddsOK:
			return notify.Chance(b, b.Odds), b.Odds
		}
		return "no call", 0
	}

	// What stops today may already be known to last: to the first hours of that day
	// it says nothing of its morning.
	morning := d.At(byMorning, zoneHere(b))
	if slices.ContainsFunc(b.Stops, func(r coldseam.Reason) bool { return r.Until.After(morning) }) {
		return "stop likely", 0
	}
	if !b.Verdict.ShowsOdds() {
		return "not yet", 0
	}

	for _, n := range b.Next {
		if n.Day != d {
			continue
		}
		switch {
		case n.Verdict == coldseam.Stop:
			return "stop likely", 0
		case n.OddsOK:
			return notify.Chance(b, n.Odds), n.Odds
		}
	}

	return "no odds", 0
}

func containsDay(ds []coldseam.Date, d coldseam.Date) bool {
	for _, x := range ds {
		if x == d {
			return true
		}
	}
	return false
}
