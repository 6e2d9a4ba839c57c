package web

import (
	"fmt"
	"html/template"
	"net/http"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/chart"
	"example.org/coldseam/notify/strip"
)

// riverPage is one reach this morning.
type riverPage struct {
	Page     notify.Page
	Class    string
	Gauge    string
	Day      string
	ShortDay string
	Made     string
	Over     string
	Facts    []notify.PageFact
	Flow     template.HTML
	Temp     template.HTML
	Fan      bool // the charts carry a forecast, not only readings
	NoChart  string
	FlowU    string
	TempU    string
	Bands    *bandTable
	Shifts   []shift
	Windows  *windowTable
	How      *advice
	Outlook  []outlookRow
	RowMark  string // of the species row behind the wave odds
	Run      *runView
	Jigs     *jigTable
	Lists    []notify.PageSection
	Inputs   []inputRow
	Score    *scoreView
	ICS      string
	Card     string // the trip card
	Toggle   toggle
	Regul    bool
	Past     string // strips of the seasons replayed
}

// inputRow is one line of what the call rests on.
type inputRow struct {
	Name, Age, Limit, State, Note string
	Good                          bool
}

func (s *site) river(w http.ResponseWriter, r *http.Request) error {
	b, err := s.brief(r, coldseam.ReachID(r.PathValue("reach")))
	if err != nil {
		return err
	}
	b, over := today(b, s.Now())
	units := unitsOf(r)
	p, err := s.riverPage(b, units)
	if err != nil {
		return err
	}

	p.Over = over
	p.Toggle = s.toggle(r, riverPath(b.Reach))
	if p.Page.Verdict.ShowsOdds() { // no odds of any kind beside a STOP or NO CALL
		s.addScore(r, b, p)
	}
	if said, err := s.Store.BankWords(r.Context(), b.Reach); err == nil && len(said) > 0 {
		p.Lists = append(p.Lists, notify.PageSection{Title: "From the bank, by members",
			Items: notify.WordsFor(units, b.Zone).FromBank(said, p.Page.Verdict, s.Now())})
	}
	if past, err := s.Store.PastSeasons(r.Context(), b.Reach); err == nil { // the morning is worth more
		p.Past = strip.Short(past)
	}
	title := p.Page.River + ", " + p.Page.Reach + ": " + p.Page.Verdict.String()
	if p.Page.Verdict.ShowsOdds() {
		title += ", " + notify.GoodChance(b, b.Odds)
	}
	return s.show(w, http.StatusOK, "river", foot(frame{Title: title, Body: p}, []coldseam.Brief{b}))
}

// brief finds the newest brief of a reach.
func (s *site) brief(r *http.Request, id coldseam.ReachID) (coldseam.Brief, error) {
	briefs, err := s.Store.Board(r.Context())
	if err != nil {
		return coldseam.Brief{}, err
	}
	for _, b := range briefs {
		if b.Reach == id {
			return b, nil
		}
	}
	return coldseam.Brief{}, fmt.Errorf("reach: %w", coldseam.ErrNotFound)
}

func (s *site) riverPage(b coldseam.Brief, units string) (*riverPage, error) {
	words := notify.WordsFor(units, b.Zone)
	page := notify.PageOf(b, coldseam.Preferences{Units: units})
	p := &riverPage{
		Page:     page,
		Class:    classOf(page.Verdict),
		Gauge:    notify.Clean(b.SiteName),
		Day:      longDay(b.Day),
		ShortDay: page.Day,
		ICS:      riverPath(b.Reach) + "/calendar.ics",
		Card:     riverPath(b.Reach) + "/card",
		FlowU:    "cfs",
		TempU:    "°F",
		Regul:    b.Flow.Regulated,
	}
	if words.Metric() {
		p.FlowU, p.TempU = "m³/s", "°C"
	}
	p.Made = "Made " + words.DayClock(b.Issued, b.Day)

	switch {
	case page.Verdict == coldseam.Stop:
		// A time beside a STOP would read as its end.
		p.Made += ". The stop stands until a later call lifts it."
	case page.Verdict.ShowsOdds() && !b.GoodUntil.IsZero():
		p.Made += ", good until " + words.DayClock(b.GoodUntil, b.Day) + "."
	default:
		p.Made += "."
	}

	p.Made += " Later news stands here first."
	for _, f := range page.Facts {
		switch f.Label {
		case "Window", "Why", "Log", "Made": // said in the verdict's block or below it
		default:
			p.Facts = append(p.Facts, f)
		}
	}

	p.charts(b, units)
	odds := page.Verdict.ShowsOdds()
	if odds {
		p.Bands, p.Shifts, p.Run = bandTableOf(b, words), shiftsOf(b, words), runOf(b, words)
		p.Windows, p.Outlook, p.RowMark = windowsOf(b, words), outlookOf(b, words), notify.RowMark(b.Run)
		if page.Verdict != coldseam.Stay {
			p.How = adviceOf(b, words)
		}
	}

	if odds || page.Verdict == coldseam.NoCall && notify.JudgesAlone(b) {
		p.Jigs = jigTableOf(b, words, odds)
	}
	for _, l := range page.Below {
		switch l.Title {
		case "Stops", "Weight by spot", "What this rests on", "How, in full", "To measure next": // tables and lists of their own here
		default:
			p.Lists = append(p.Lists, l)
		}
	}

	p.Lists = append(p.Lists, flowLimitsOf(b.FlowLimits, words)...)
	p.Inputs = inputsOf(b, words)
	return p, nil
}

// flowLimitsOf lists the flow limit in force and what the record would propose.
func flowLimitsOf(l coldseam.FlowLimits, w notify.Words) []notify.PageSection {
	if l.MaxFlowM3S == 0 && len(l.Candidates) == 0 {
		return nil // a brief of an older program
	}
	out := []notify.PageSection{{Title: "Flow limit", Items: w.LimitInForce(l)}}
	var items []string
	for _, c := range l.Candidates {
		s := w.Flow(c.FlowM3S) + " by " + w.LimitSource(c)
		if means := w.LimitMeans(c); means != "" {
			s += ". " + means
		}
		items = append(items, s)
	}
	if len(items) > 0 {
		out = append(out, notify.PageSection{Title: "Limits that the record gives; a full bank is a ceiling, not safe water", Items: items})
	}
	return out
}

// charts draws what the verdict allows. A chart that cannot be drawn is words,
// never an error page: the call itself stands.
func (p *riverPage) charts(b coldseam.Brief, units string) {
	v := p.Page.Verdict
	if v == coldseam.NoCall && !notify.JudgesAlone(b) {
		p.NoChart = "No chart without the gauge."
		return
	}
	b.Verdict = v
	var err error
	if p.Flow, err = chart.FlowSVG(b, units); err != nil {
		p.NoChart = "No reading or forecast to draw."
	}
	p.Fan = len(b.Chart.Valid) > 0
	if v != coldseam.Stop {
		if p.Temp, err = chart.TempSVG(b, units); err != nil {
			p.Temp = ""
		}
	}
}

// limitWords writes a limit: whole hours as hours.
func limitWords(d time.Duration) string {
	if d%time.Hour == 0 && d < 72*time.Hour {
		return strconv.Itoa(int(d/time.Hour)) + " h"
	}
	return notify.Age(d)
}

func inputsOf(b coldseam.Brief, words notify.Words) []inputRow {
	var out []inputRow
	for _, in := range b.Inputs {
		row := inputRow{
			Name:  notify.InputName(in),
			Age:   "never",
			Limit: "",
			State: notify.Clean(in.State),
			Note:  words.Notes(in.Note),
			Good:  notify.InputGood(in),
		}
		if !in.At.IsZero() {
			row.Age = notify.Age(in.Age)
		}
		if in.Limit > 0 {
			row.Limit = limitWords(in.Limit)
		}

		if in.Key == "ice" && b.Ice.Code != "" {
			row.Note = words.Reason(b.Ice)
		}
		if d := words.Doubt(in); d != "" {
			row.Note = strings.TrimSuffix(d+"; "+row.Note, "; ")
		}
		if in.Key == "alerts" && in.State == "none" {
			row.State = "none out"
		}
		out = append(out, row)
	}

	return out
}
