package web

import (
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// howPage teaches what a rank means, and odds once a river of the club tells them.
type howPage struct {
	Ten      template.HTML // "" = no river tells odds yet
	Verdicts []howVerdict
	Bands    []bandHead
	TempU    string
}

type howVerdict struct {
	V     coldseam.Verdict
	Class string
	Staff notify.PageStaff
	Text  string
}

func (s *site) how(w http.ResponseWriter, r *http.Request) error {
	briefs, _ := s.Store.Board(r.Context()) // without the store the page teaches the rank alone
	third := func(n int) notify.PageStaff { return notify.PageStaff{Shown: true, Marks: 3, Filled: n, Lo: 1, Hi: 2} }
	p := howPage{Verdicts: []howVerdict{
		{coldseam.Go, "go", third(3), "One of the better third of the river's mornings, and no stop stands."},
		{coldseam.TossUp, "toss", third(2), "The middle third, or a rule holds the call down: hazards not surveyed, dam releases, forecast rain."},
		{coldseam.Stay, "stay", third(1), "The worse third: it does not pay for the drive."},
		{coldseam.NoCall, "nocall", notify.PageStaff{},
			"Something the call needs is missing, silent or too old. This is not a go."},
		{coldseam.Stop, "stop", notify.PageStaff{},
			"A safety or legal limit is passed. No rank and no odds are shown, however good they would be."},
	}}
	if slices.ContainsFunc(briefs, func(b coldseam.Brief) bool { return !b.Rank.Only() }) {
		p.Ten = tenSVG(4)
	}
	t := bandTableOf(coldseam.Brief{Run: coldseam.RunState{Stage: "spawning"}, WindowI: 0, Windows: []coldseam.Window{{WaterC: [3]float64{3, 4, 5}}}},
		notify.WordsFor(unitsOf(r), "UTC"))
	p.Bands, p.TempU = t.Heads, "°F"
	if unitsOf(r) == "metric" {
		p.TempU = "°C"
	}
	return s.show(w, http.StatusOK, "how", s.clubFoot(r, frame{Title: "How it works", Body: p}))
}

// tenSVG is ten mornings in a row, n of them good.
func tenSVG(n int) template.HTML {
	var w strings.Builder
	fmt.Fprintf(&w, `<svg class="ten" viewBox="0 0 400 44" role="img" aria-labelledby="ten-t"><title id="ten-t">Ten mornings, %d of them good</title>`, n)
	for i := range 10 {
		// Good ones are scattered: odds say how many, never which.
		good := (i*7+3)%10 < n
		cls := "c"
		if good {
			cls = "c f"
		}
		fmt.Fprintf(&w, `<rect class="%s" x="%d" y="4" width="32" height="36"/>`, cls, 4+i*40)
	}
	w.WriteString(`</svg>`)
	return template.HTML(w.String())
}

// Status is what the status page tells: feeds and the morning's work, no
// persons.
type Status struct {
	Feeds  []FeedState
	Briefs []BriefState
	Mail   MailCount
	Held   bool // sending is held by the admin
	Notes  []string
}

// FeedState is one feed of one agency.
type FeedState struct {
	Name   string // "Flow, Mill Bridge"
	Agency string
	At     time.Time // newest value; zero = none yet
	Limit  time.Duration
	State  string // good, stale, failed, none
	Note   string
}

// BriefState is the newest brief of one reach.
type BriefState struct {
	River, Reach string
	Zone         string
	Day          coldseam.Date
	Issued       time.Time
	Verdict      coldseam.Verdict
}

// MailCount counts today's mails by what came of them.
type MailCount struct {
	Due, Sent, Waiting, Failed int
}

type statusPage struct {
	Now    string
	Feeds  []inputRow
	Briefs []statusBrief
	Mail   MailCount
	Held   bool
	Notes  []string
	Sick   int
}

type statusBrief struct{ River, Day, Issued, Verdict string }

func (s *site) status(w http.ResponseWriter, r *http.Request) error {
	st, err := s.Store.Status(r.Context())
	if err != nil {
		return err
	}
	now := s.Now()
	p := statusPage{Now: now.UTC().Format("2 January 15:04") + " UTC", Mail: st.Mail, Held: st.Held}

	for _, f := range st.Feeds {
		row := inputRow{
			Name:  notify.Clean(f.Name),
			Note:  notify.Clean(f.Note),
			State: notify.Clean(f.State),
			Age:   "never",
			Good:  f.State == "good" || f.State == "none",
		}
		if a := notify.Clean(f.Agency); a != "" {
			row.Name += ", " + a
		}
		if !f.At.IsZero() {
			row.Age = notify.Age(now.Sub(f.At))
		}

		if f.Limit > 0 {
			row.Limit = limitWords(f.Limit)
			if !f.At.IsZero() && now.Sub(f.At) > f.Limit && row.Good {
				row.State, row.Good = "stale", false
			}
		}

		if !row.Good {
			p.Sick++
		}
		p.Feeds = append(p.Feeds, row)
	}

	for _, b := range st.Briefs {
		words := notify.WordsFor("us", b.Zone)
		p.Briefs = append(p.Briefs, statusBrief{notify.Clean(b.River) + ", " + notify.Clean(b.Reach), longDay(b.Day),
			words.DayClock(b.Issued, b.Day), b.Verdict.String()})
	}
	for _, n := range st.Notes {
		p.Notes = append(p.Notes, notify.Clean(n))
	}
	w.Header().Set("Cache-Control", "no-store")
	return s.show(w, http.StatusOK, "status", s.clubFoot(r, frame{Title: "Status", Body: p}))
}
