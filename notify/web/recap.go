package web

import (
	"encoding/csv"
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
	Story  []string // sentences of the season in words

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
	Rules       []coldseam.Rule
}

// RecapMoney is what the calls were worth in drives. Miles 0 = not known;
// Currency "" = no costs on file.
type RecapMoney struct {
	GoodGo      int // GO mornings that came true
	PoorGo      int // GO mornings that did not
	DrivesSaved int // STAY mornings that would have been poor
	Misses      int // STAY mornings that were good
	MilesSaved  float64
	Currency    string // "USD"
	CostPerMile float64
}

// RecapRate is the catch of one class.
type RecapRate struct {
	Key      string
	Trips    int
	RodHours float64
	Fish     int
	Lo, Hi   float64 // 80 % interval of fish a rod-hour
	Hidden   bool    // fewer than three anglers, or needed to keep another hidden
}

// RecapVerdict is what one verdict came to. Judged counts the mornings with a
// trip to judge it by; STOP and NO CALL have none.
type RecapVerdict struct {
	Verdict                coldseam.Verdict
	Mornings, Judged, Good int
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
	What string
	N    int
}

// RecapOutage is a silence of a gauge.
type RecapOutage struct {
	Gauge string
	From  time.Time
	For   time.Duration
}

// Rate is fish a rod-hour, NaN without hours.
func (r RecapRate) Rate() float64 {
	if r.RodHours <= 0 {
		return math.NaN()
	}
	return float64(r.Fish) / r.RodHours
}

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
}

type recapNumber struct{ Value, Words string }

type rateTable struct {
	Title, Head string
	Rows        []rateRow
	Hidden      bool
}

type rateRow struct {
	Key, Hours, Fish, Rate, Likely string
	Hidden                         bool
}

func recapPageOf(r Recap, units string) recapPage {
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
	if r.Money.MilesSaved > 0 {
		p.Numbers[3] = milesText(r.Money.MilesSaved, units)
	}
	// Without a chart the page says so in words.
	p.Chart, _ = chart.SeasonSVG(r.Days, nil, units)
	for _, t := range []struct {
		title, head string
		rows        []RecapRate
	}{{"Catch by band", "Band", r.Bands}, {"Catch by stage of the run", "Stage", r.Stages}, {"Catch by flow", "Flow for the date", r.FlowClasses}, {"Catch by weight", "Jig", r.Weights}} {
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

func thousands(x float64) string {
	s := strconv.FormatFloat(math.Round(x), 'f', 0, 64)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

func rateText(fish, hours float64) string {
	if hours <= 0 {
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
		if r.Hidden {
			t.Hidden = true
		} else {
			row.Hours, row.Fish = thousands(r.RodHours), strconv.Itoa(r.Fish)
			row.Rate, row.Likely = rateText(float64(r.Fish), r.RodHours), fmt.Sprintf("%.2f–%.2f", r.Lo, r.Hi)
			if r.RodHours <= 0 || r.Hi <= 0 {
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
	if n := m.DrivesSaved + m.Misses; n > 0 {
		out = append(out, fmt.Sprintf("STAY was right on %d of %d mornings; %d would have been good.", m.DrivesSaved, n, m.Misses))
	}
	if m.MilesSaved > 0 {
		s := thousands(m.MilesSaved) + " miles"
		if units == "metric" {
			s = thousands(m.MilesSaved*1.609344) + " km"
		}
		s += " were not driven on STAY mornings"
		if cur := notify.Clean(m.Currency); cur != "" && m.CostPerMile > 0 {
			s += fmt.Sprintf(", about %s %s at %s %.2f a mile", cur, thousands(m.MilesSaved*m.CostPerMile), cur, m.CostPerMile)
		}
		out = append(out, s+".")
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
	if err != nil {
		return err
	}
	p := recapPageOf(rec, unitsOf(r))
	base := "/season/" + strconv.Itoa(rec.Year)
	p.Links = append(p.Links, link{base, "All rivers"})
	for _, x := range rs {
		p.Links = append(p.Links, link{base + "?river=" + template.URLQueryEscaper(string(x.ID)), notify.Clean(x.River) + ", " + notify.Clean(x.Name)})
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

// RecapHTML writes the recap as one file that stands alone: style inside, no
// links, printable on one page.
func RecapHTML(w io.Writer, club string, r Recap, units string) error {
	f := frame{Title: recapPageOf(r, units).Head, Club: club, Bare: true, Body: recapPageOf(r, units)}
	f = foot(f, []coldseam.Brief{{River: r.River, Rules: r.Rules, Sources: r.Sources}})
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

// RecapText writes the recap for a terminal, at most 72 columns.
func RecapText(w io.Writer, r Recap, units string) error {
	p := recapPageOf(r, units)
	t := &textWriter{w: w}
	t.line(strings.TrimSpace(p.Head + "  " + notify.Clean(r.River)))
	t.line(strings.Repeat("=", 40))
	for _, s := range r.Story {
		t.wrap(notify.Clean(s))
	}
	if len(p.Run) > 0 {
		t.line(strings.Join(p.Run, ", ") + ".")
	}
	t.line("")
	for _, n := range p.Numbers {
		t.line(fmt.Sprintf("%12s  %s", plain(n.Value), n.Words))
	}
	for _, x := range p.Rates {
		t.head(x.Title)
		t.line(fmt.Sprintf("%-26s %9s %6s %6s  %s", x.Head, "rod-hours", "fish", "fish/h", "likely"))
		for _, row := range x.Rows {
			if row.Hidden {
				t.line(fmt.Sprintf("%-26s fewer than 3 anglers, not shown", row.Key))
				continue
			}
			t.line(fmt.Sprintf("%-26s %9s %6s %6s  %s", row.Key, row.Hours, row.Fish, row.Rate, plain(row.Likely)))
		}
	}
	if len(r.Verdicts) > 0 {
		t.head("What we said and what came")
		t.line(fmt.Sprintf("%-10s %9s %7s %6s  %s", "verdict", "mornings", "fished", "good", "came true"))
		for _, v := range r.Verdicts {
			t.line(fmt.Sprintf("%-10s %9d %7s %6s  %s", v.Verdict, v.Mornings, judgedText(v, v.Judged), judgedText(v, v.Good), plain(cameTrue(v))))
		}
	}
	for _, l := range [][]string{p.Money, saidWords(p.Said)} {
		for _, s := range l {
			t.wrap(s)
		}
	}
	t.list("Skill against persistence", skillWords(r.Skill))
	t.list("Stops", countWords(r.Stops))
	t.list("Gauge silences", outageWords(r.Outages))
	t.list("Next year", r.Change)
	before, after := notify.CautionParts()
	t.line("")
	t.wrap(before + rulesText(r) + after)
	for _, a := range r.Sources {
		t.wrap(notify.Clean(a.Text))
	}
	return t.err
}

func rulesText(r Recap) string {
	var s []string
	for _, l := range notify.RuleLinks([]coldseam.Brief{{River: r.River, Rules: r.Rules}}) {
		s = append(s, l.Link+", "+l.Checked+".")
	}
	if len(s) == 0 {
		return "no rules page is on file."
	}
	return strings.Join(s, " ")
}

func saidWords(v *scoreView) []string {
	if v == nil {
		return nil
	}
	return v.Words
}

// cameTrue judges GO, TOSS-UP and STAY only.
func cameTrue(v RecapVerdict) string {
	switch {
	case !v.Verdict.ShowsOdds():
		return "not judged"
	case v.Judged < judged:
		return "too few"
	}
	return tenthsOf(v.Good, v.Judged)
}

func judgedText(v RecapVerdict, n int) string {
	if !v.Verdict.ShowsOdds() {
		return "-"
	}
	return strconv.Itoa(n)
}

func skillWords(ss []RecapSkill) []string {
	var out []string
	for _, s := range ss {
		word := "not shown to be better"
		if s.Lo > 0 {
			word = "better"
		} else if s.Hi < 0 {
			word = "worse"
		}
		out = append(out, fmt.Sprintf("%s, %d days ahead: %s (skill %s, interval %s to %s, %d mornings)", notify.Clean(s.Quantity), s.Lead, word, signed(s.Skill), signed(s.Lo), signed(s.Hi), s.N))
	}
	return out
}

func countWords(cs []RecapCount) []string {
	var out []string
	for _, c := range cs {
		unit := "mornings"
		if c.N == 1 {
			unit = "morning"
		}
		out = append(out, fmt.Sprintf("%s: %d %s", notify.Clean(c.What), c.N, unit))
	}
	return out
}

func outageWords(os []RecapOutage) []string {
	var out []string
	for _, o := range os {
		out = append(out, fmt.Sprintf("%s: %s from %s UTC", notify.Clean(o.Gauge), notify.Age(o.For), o.From.UTC().Format("2 January 15:04")))
	}
	return out
}

// plain folds no-break spaces and dashes for terminals.
func plain(s string) string {
	return strings.NewReplacer("\u00a0", " ", "–", "-", "−", "-").Replace(s)
}

// textWriter keeps the first error.
type textWriter struct {
	w   io.Writer
	err error
}

func (t *textWriter) line(s string) {
	if t.err == nil {
		_, t.err = io.WriteString(t.w, strings.TrimRight(s, " ")+"\n")
	}
}

func (t *textWriter) head(s string) {
	t.line("")
	t.line(s)
	t.line(strings.Repeat("-", len([]rune(s))))
}

func (t *textWriter) list(head string, items []string) {
	if len(items) == 0 {
		return
	}
	t.head(head)
	for _, s := range items {
		t.wrap("- " + plain(notify.Clean(s)))
	}
}

func (t *textWriter) wrap(s string) {
	line := ""
	for _, w := range strings.Fields(plain(s)) {
		if line != "" && len([]rune(line))+1+len([]rune(w)) > 72 {
			t.line(line)
			line = w
			continue
		}
		line = strings.TrimSpace(line + " " + w)
	}
	t.line(line)
}

// RecapCSV writes the recap as one long table: section, item, measure, value,
// unit. Text that a spreadsheet could take for a formula is defused; numbers
// stay numbers.
func RecapCSV(w io.Writer, r Recap) error {
	c := csv.NewWriter(w)
	put := func(section, item, measure, value, unit string) error {
		return c.Write([]string{SafeCell(section), SafeCell(item), SafeCell(measure), value, SafeCell(unit)})
	}
	rows := append([][5]string{{"section", "item", "measure", "value", "unit"}}, recapRows(r)...)
	for _, x := range rows {
		if err := put(x[0], x[1], x[2], x[3], x[4]); err != nil {
			return fmt.Errorf("recap csv: %w", err)
		}
	}
	c.Flush()
	if err := c.Error(); err != nil {
		return fmt.Errorf("recap csv: %w", err)
	}
	return nil
}

// SafeCell defuses text that begins like a formula with a leading apostrophe
// and makes one line of it.
func SafeCell(s string) string {
	s = notify.Clean(s)
	if s != "" && strings.ContainsRune("=+-@|%", rune(s[0])) {
		return "'" + s
	}
	return s
}

func recapRows(r Recap) [][5]string {
	n := strconv.Itoa
	x := func(v float64) string {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return ""
		}
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	day := func(d coldseam.Date) string {
		if d.IsZero() {
			return ""
		}
		return d.String()
	}
	out := [][5]string{
		{"season", r.River, "reach", SafeCell(r.Reach), ""}, {"season", r.River, "year", n(r.Year), ""},
		{"season", r.River, "first_fish", day(r.FirstFish), "date"}, {"season", r.River, "peak", day(r.Peak), "date"}, {"season", r.River, "last_fish", day(r.LastFish), "date"},
		{"season", r.River, "trips", n(r.Trips), "1"}, {"season", r.River, "zero_trips", n(r.ZeroTrips), "1"}, {"season", r.River, "stayed_home", n(r.StayedHome), "1"},
		{"season", r.River, "rod_hours", x(r.RodHours), "h"}, {"season", r.River, "fish", n(r.Fish), "1"},
		{"season", r.River, "weights_held", n(r.Held), "1"}, {"season", r.River, "weights_lifted", n(r.Lifted), "1"},
		{"money", r.River, "good_go", n(r.Money.GoodGo), "1"}, {"money", r.River, "poor_go", n(r.Money.PoorGo), "1"},
		{"money", r.River, "drives_saved", n(r.Money.DrivesSaved), "1"}, {"money", r.River, "misses", n(r.Money.Misses), "1"}, {"money", r.River, "miles_saved", x(r.Money.MilesSaved), "mi"},
	}
	for _, t := range []struct {
		section string
		rows    []RecapRate
	}{{"band", r.Bands}, {"stage", r.Stages}, {"flow_class", r.FlowClasses}, {"weight", r.Weights}} {
		for _, c := range t.rows {
			if c.Hidden {
				out = append(out, [5]string{t.section, c.Key, "hidden", "fewer than 3 anglers", ""})
				continue
			}
			out = append(out, [5]string{t.section, c.Key, "trips", n(c.Trips), "1"}, [5]string{t.section, c.Key, "rod_hours", x(c.RodHours), "h"}, [5]string{t.section, c.Key, "fish", n(c.Fish), "1"},
				[5]string{t.section, c.Key, "fish_per_rod_hour", x(c.Rate()), "1/h"}, [5]string{t.section, c.Key, "fish_per_rod_hour_p10", x(c.Lo), "1/h"}, [5]string{t.section, c.Key, "fish_per_rod_hour_p90", x(c.Hi), "1/h"})
		}
	}
	for _, v := range r.Verdicts {
		out = append(out, [5]string{"verdict", v.Verdict.String(), "mornings", n(v.Mornings), "1"})
		if v.Verdict.ShowsOdds() {
			out = append(out, [5]string{"verdict", v.Verdict.String(), "fished", n(v.Judged), "1"}, [5]string{"verdict", v.Verdict.String(), "good", n(v.Good), "1"})
		}
	}
	for _, s := range r.Skill {
		item := s.Quantity + " lead " + n(s.Lead)
		out = append(out, [5]string{"skill", item, "skill", x(s.Skill), "1"}, [5]string{"skill", item, "lo", x(s.Lo), "1"}, [5]string{"skill", item, "hi", x(s.Hi), "1"}, [5]string{"skill", item, "mornings", n(s.N), "1"})
	}
	for _, s := range r.Stops {
		out = append(out, [5]string{"stop", s.What, "mornings", n(s.N), "1"})
	}
	for _, o := range r.Outages {
		out = append(out, [5]string{"outage", o.Gauge, "hours from " + o.From.UTC().Format(time.RFC3339), x(math.Round(o.For.Hours()*100) / 100), "h"})
	}
	for _, d := range r.Days {
		if !math.IsNaN(d.WaterC) {
			out = append(out, [5]string{"day", d.Day.String(), "water", x(d.WaterC), "degC"})
		}
		if d.Trips > 0 {
			out = append(out, [5]string{"day", d.Day.String(), "trips", n(d.Trips), "1"}, [5]string{"day", d.Day.String(), "fish", n(d.Fish), "1"})
		}
	}
	return out
}
