package web

import (
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/chart"
)

// Recap is one season of one reach, or of the whole club: what `coldseam recap`
// prints and the season page shows. It holds counts only; cells with fewer than
// three different anglers come as Hidden.
type Recap struct {
	Year   int
	Season string // "Spring 2026"
	River  string // "" = the whole club
	Reach  string
	From   coldseam.Date
	To     coldseam.Date
	Story  []string // sentences of the season in words; nil = made from the days

	FirstFish, Peak, LastFish coldseam.Date

	Trips, ZeroTrips, StayedHome int
	RodHours                     float64
	Fish                         int
	Held, Lifted                 int // tied weights that held bottom or not
	Money                        RecapMoney

	Days        []chart.SeasonDay
	Bands       []RecapRate // by water-temperature band
	Stages      []RecapRate
	FlowClasses []RecapRate
	Weights     []RecapRate
	Verdicts    []RecapVerdict
	Said        []ScoreBin
	Skill       []RecapSkill
	Stops       []RecapCount
	Outages     []RecapOutage
	Change      []string // what to change next year
	Sources     []coldseam.Attribution
	Rules       []RecapRules // by river
	Seal        string       // of the newest brief told; "" = none
}

// RecapMoney is what the calls were worth in drives. Miles 0 = not known;
// Currency "" = no costs on file.
type RecapMoney struct {
	GoodGo      int // GO mornings that came true
	PoorGo      int // GO mornings that did not
	RightStay   int // STAY mornings that were fished and poor
	Misses      int // STAY mornings that were fished and good
	DrivesSaved int // members who stayed at home because of the mail on STAY mornings
	MilesSaved  float64
	Currency    string // "USD"
	CostPerMile float64
	Worth       string // following the word against other ways to choose, in a sentence; may be empty
}

// RecapRate is the catch of one class. Hours and fish of a class may be
// withheld, as sums of one class could be subtracted from sums of another: then
// RodHours is 0 and PerHour says the rate.
type RecapRate struct {
	Key      string
	Trips    int
	RodHours float64
	Fish     int
	Lo, Hi   float64 // 80 % interval of fish a rod-hour
	Hidden   bool    // fewer than three anglers, or needed to keep another hidden
	Anglers  int     // different ones, at least; 0 = not said
	PerHour  float64 // fish a rod-hour, where RodHours is withheld
}

// RecapVerdict is what one verdict came to. Judged counts the mornings with a
// trip to judge it by; STOP and NO CALL have none.
type RecapVerdict struct {
	Verdict                coldseam.Verdict
	Mornings, Judged, Good int
	Hidden                 bool // what came is known from fewer than three anglers
}

// RecapSkill is the skill of one quantity at one lead: 1 perfect, 0 no better
// than persistence.
type RecapSkill struct {
	Quantity      string // flow, temperature
	Lead          int    // days
	N             int
	Skill, Lo, Hi float64
}

// RecapCount is a line such as a stop rule and the mornings it fired.
type RecapCount struct {
	Rule   string // its code
	What   string // the rule in words
	NoCall bool   // it silenced the morning
	N      int
}

// RecapOutage is a silence of a gauge.
type RecapOutage struct {
	Gauge string
	From  time.Time
	For   time.Duration
}

// Rate is fish a rod-hour, NaN without trips or hours.
func (r RecapRate) Rate() float64 {
	if r.withheld() {
		return r.PerHour
	}
	if r.RodHours <= 0 {
		return math.NaN()
	}
	return float64(r.Fish) / r.RodHours
}

// withheld reports a class whose rate is told without its sums.
func (r RecapRate) withheld() bool { return r.RodHours == 0 && r.Trips > 0 && !r.Hidden }

type recapPage struct {
	R       Recap
	Head    string
	Numbers []recapNumber
	Chart   template.HTML
	Rates   []rateTable
	Said    *scoreView
	Run     []string
	Money   []string
	Links   []link
	TempU   string
	Trips   bool // the chart shows trips
}

type recapNumber struct{ Value, Words string }

type rateTable struct {
	Title, Head string
	Rows        []rateRow
	Hidden      bool
	Rates       bool // rates alone, with trips and anglers instead of hours and fish
}

type rateRow struct {
	Key, Hours, Fish, Rate, Likely string
	Trips, Anglers                 string
	Hidden                         bool
}

func recapPageOf(r Recap, units string) recapPage {
	r.Story = r.story(units)
	p := recapPage{R: r, Head: notify.Clean(r.Season), TempU: "°F"}
	if units == "metric" {
		p.TempU = "°C"
	}
	if p.Head == "" {
		p.Head = strconv.Itoa(r.Year)
	}

	if r.Reach != "" {
		p.Head += ", " + notify.Clean(r.Reach)
	}
	p.Numbers = []recapNumber{
		{strconv.Itoa(r.Trips), fmt.Sprintf("trips logged, %d of them zero", r.ZeroTrips)},
		{rateText(float64(r.Fish), r.RodHours), "fish a rod-hour"},
		{shareText(r.Held, r.Held+r.Lifted), "tied weights that held"},
		{strconv.Itoa(r.Money.DrivesSaved), "drives saved on STAY days"},
	}

	if r.Money.MilesSaved > 0 && finite(r.Money.MilesSaved) {
		p.Numbers[3] = milesText(r.Money.MilesSaved, units)
	}
	for _, d := range r.Days {
		p.Trips = p.Trips || d.Trips > 0
	}

	// Without a chart the page says so in words.
	p.Chart, _ = chart.SeasonSVG(r.Days, nil, units)
	for _, t := range []struct {
		title, head string
		rows        []RecapRate
	}{{"Catch by band", "Band", r.Bands}, {"Catch by stage of the run", "Stage", r.Stages},
		{"Catch by flow", "Flow for the date", r.FlowClasses}, {"Catch by weight", "Jig", r.Weights}} {
		if len(t.rows) > 0 {
			p.Rates = append(p.Rates, rateTableOf(t.title, t.head, t.rows))
		}
	}

	if len(r.Said) > 0 {
		n := 0
		for _, b := range r.Said {
			n += b.Mornings
		}
		v := scoreOf(Scorecard{Bins: r.Said, Mornings: n})
		v.Words = v.Words[:len(v.Words)-1] // the recap makes no claim of skill from bins alone
		p.Said = v
	}

	p.Run, p.Money = runDates(r), moneyWords(r.Money, units)
	return p
}

func milesText(mi float64, units string) recapNumber {
	if units == "metric" {
		return recapNumber{thousands(mi * 1.609344), "km not driven on STAY days"}
	}
	return recapNumber{thousands(mi), "miles not driven on STAY days"}
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func thousands(x float64) string {
	if !finite(x) {
		return "not known"
	}
	s := strconv.FormatFloat(math.Round(x), 'f', 0, 64)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

func rateText(fish, hours float64) string {
	if hours <= 0 || !finite(fish/hours) {
		return "none"
	}
	return strconv.FormatFloat(fish/hours, 'f', 2, 64)
}

// shareText writes a share in tenths, where there are enough cases to say so.
func shareText(n, of int) string {
	switch {
	case of == 0:
		return "none"
	case of < judged:
		return fmt.Sprintf("%d of %d", n, of)
	}
	return notify.Odds(float64(n) / float64(of))
}

func rateTableOf(title, head string, rows []RecapRate) rateTable {
	t := rateTable{Title: title, Head: head}
	for _, r := range rows {
		row := rateRow{Key: notify.Clean(r.Key), Hidden: r.Hidden}
		switch {
		case r.Hidden:
			t.Hidden = true
		case r.withheld():
			t.Rates = true
			row.Trips, row.Anglers, row.Rate = strconv.Itoa(r.Trips), strconv.Itoa(r.Anglers), rateText(r.PerHour, 1)
		default:
			row.Hours, row.Fish = thousands(r.RodHours), strconv.Itoa(r.Fish)
			row.Rate, row.Likely = rateText(float64(r.Fish), r.RodHours), fmt.Sprintf("%.2f–%.2f", r.Lo, r.Hi)
			if r.RodHours <= 0 || r.Hi <= 0 || !finite(r.RodHours) || !finite(r.Lo) || !finite(r.Hi) {
				row.Likely = "not known"
			}
		}

		t.Rows = append(t.Rows, row)
	}

	return t
}

func runDates(r Recap) []string {
	var out []string
	for _, d := range []struct {
		what string
		d    coldseam.Date
	}{{"First fish", r.FirstFish}, {"peak", r.Peak}, {"last", r.LastFish}} {
		if !d.d.IsZero() {
			out = append(out, d.what+" "+d.d.UTC().Format("2 January"))
		}
	}
	if len(out) > 0 {
		out[0] = strings.ToUpper(out[0][:1]) + out[0][1:]
	}
	return out
}

// moneyWords say what the calls were worth, and what they cost.
func moneyWords(m RecapMoney, units string) []string {
	var out []string
	if n := m.GoodGo + m.PoorGo; n > 0 {
		out = append(out, fmt.Sprintf("GO came true on %d of %d mornings that were fished.", m.GoodGo, n))
	}
	if n := m.RightStay + m.Misses; n > 0 {
		out = append(out, fmt.Sprintf("STAY was right on %d of %d mornings that were fished; %d were good.",
			m.RightStay, n, m.Misses))
	}

	if m.MilesSaved > 0 && finite(m.MilesSaved) {
		s := thousands(m.MilesSaved) + " miles"
		if units == "metric" {
			s = thousands(m.MilesSaved*1.609344) + " km"
		}
		s += " were not driven on STAY mornings"
		if cur := notify.Clean(m.Currency); cur != "" && m.CostPerMile > 0 && finite(m.CostPerMile) {
			each, unit := m.CostPerMile, "mile"
			if units == "metric" {
				each, unit = m.CostPerMile/1.609344, "km"
			}
			s += fmt.Sprintf(", about %s %s at %s %.2f a %s", cur, thousands(m.MilesSaved*m.CostPerMile), cur, each,
				unit)
		}

		out = append(out, s+".")
	}

	if m.Worth != "" {
		out = append(out, notify.Clean(m.Worth))
	}
	return out
}

// season serves /season and /season/{year}, ?river= for one reach.
func (s *site) season(w http.ResponseWriter, r *http.Request) error {
	year := 0
	if y := r.PathValue("year"); y != "" {
		n, err := strconv.Atoi(y)
		if err != nil || n < 1900 || n > 9999 {
			return fmt.Errorf("year: %w", coldseam.ErrNotFound)
		}
		year = n
	}

	reach := coldseam.ReachID(r.URL.Query().Get("river"))
	rs, err := s.Store.Reaches(r.Context())
	if err != nil {
		return err
	}

	if reach != "" && !hasReach(rs, reach) {
		return fmt.Errorf("reach: %w", coldseam.ErrNotFound)
	}
	rec, err := s.Store.Season(r.Context(), year, reach)
	if errors.Is(err, coldseam.ErrNotFound) && year == 0 {
		return s.show(w, http.StatusOK, "done", s.clubFoot(r, frame{Title: "No season on record yet", Body: done{
			Text:  []string{"The recap begins with the first brief and the first logged trip. Zeros count."},
			Links: []link{{notify.PathBoard, "Today's rivers"}}}}))
	}

	if err != nil {
		return err
	}

	p := recapPageOf(rec, unitsOf(r))
	base := "/season/" + strconv.Itoa(rec.Year)
	p.Links = append(p.Links, link{base, "All rivers"})
	for _, x := range rs {
		p.Links = append(p.Links, link{base + "?river=" + template.URLQueryEscaper(string(x.ID)),
			notify.Clean(x.River) + ", " + notify.Clean(x.Name)})
	}
	p.Links = append(p.Links, link{"/season/" + strconv.Itoa(rec.Year-1), "Season " + strconv.Itoa(rec.Year-1)})
	return s.show(w, http.StatusOK, "recap", s.clubFoot(r, frame{Title: p.Head, Body: p}))
}

func hasReach(rs []coldseam.Reach, id coldseam.ReachID) bool {
	for _, r := range rs {
		if r.ID == id {
			return true
		}
	}
	return false
}

// RecapRules are the rules of one river.
type RecapRules struct {
	River string
	Rules []coldseam.Rule
}

// ruled is what the foot of a page names: the rules of each river and the
// sources of all.
func (r Recap) ruled() []coldseam.Brief {
	out := []coldseam.Brief{{Sources: r.Sources}}
	for _, x := range r.Rules {
		out = append(out, coldseam.Brief{River: x.River, Rules: x.Rules})
	}
	return out
}

// RecapHTML writes the recap as one file that stands alone: style inside, no
// links, printable on one page.
func RecapHTML(w io.Writer, club string, r Recap, units string) error {
	f := frame{Title: recapPageOf(r, units).Head, Club: club, Bare: true, Body: recapPageOf(r, units)}
	f = foot(f, r.ruled())
	css, err := files.ReadFile("look.css")
	if err != nil {
		return fmt.Errorf("recap: %w", err)
	}
	f.Inline = template.CSS(css)
	if err := parsePages()["recap"].Execute(w, f); err != nil {
		return fmt.Errorf("recap html: %w", err)
	}
	return nil
}
