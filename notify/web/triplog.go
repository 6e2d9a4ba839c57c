package web

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// logPage is the trip log form.
type logPage struct {
	Action                                       string
	River, Reach, Day                            string
	Metric                                       bool
	Answers, Spots, Weights, Held, Because       []option
	Presentations, Bodies, Lines, Clarity, Night []option
	Quick                                        []quickRow        // saved by one tap
	V                                            map[string]string // typed values
	Errs                                         map[string]string
	List                                         []string
	Again                                        bool // a trip of this day is on record
	More                                         bool // open the details
}

// answers are the four links of the mail.
func answers() []option {
	return []option{{Value: "none", Label: "None"}, {Value: "1-3", Label: "1 to 3"}, {Value: "4", Label: "4 or more"},
		{Value: "no", Label: "Did not go"}}
}

func heldOptions() []option {
	return []option{{Value: "yes", Label: "Held bottom"}, {Value: "no", Label: "Lifted off"},
		{Value: "", Label: "Not sure"}}
}

func becauseOptions() []option {
	return []option{{Value: "yes", Label: "Yes, I would have gone anyway"},
		{Value: "no", Label: "No, the mail decided"}}
}

func clarityOptions() []option {
	return []option{{Value: "clear", Label: "clear"}, {Value: "stained", Label: "stained"},
		{Value: "muddy", Label: "muddy"}}
}

// maxNote is the longest note that is kept, in runes.
const maxNote = 600

// quickRow is one line of buttons of the short log: a count of fish, and the hours
// it took.
type quickRow struct {
	Label string
	Taps  []option // value "fish,hours"
}

// quickHours are the hours that one tap can say [common practice].
var quickHours = []string{"1", "2", "3", "4", "5", "6"}

// quickRows are the taps that go with an answer of the mail.
func quickRows(answer string) []quickRow {
	var counts []int
	switch answer {
	case "none":
		counts = []int{0}
	case "1-3":
		counts = []int{1, 2, 3}
	case "4":
		counts = []int{4, 5, 6, 7, 8}
	case "no":
		return []quickRow{{Label: "Did not go", Taps: []option{{Value: "no", Label: "OK"}}}}
	}

	var out []quickRow
	for _, n := range counts {
		row := quickRow{Label: map[bool]string{true: "None, in", false: fmt.Sprintf("%d fish, in", n)}[n == 0]}
		for _, h := range quickHours {
			row.Taps = append(row.Taps, option{Value: fmt.Sprintf("%d,%s", n, h), Label: h + " h"})
		}
		out = append(out, row)
	}
	return out
}

// tap fills the form as its button says; what was logged of the trip before stays.
func (f *form) tap(before map[string]string) {
	button := f.v.Get("tap")
	if button == "" {
		return
	}
	f.v = url.Values{"tap": {button}}
	for k, v := range before {
		f.v.Set(k, v)
	}

	fish, hours, _ := strings.Cut(button, ",")
	n, err := strconv.Atoi(fish)
	answer := answerOf(coldseam.Trip{WentNot: fish == "no", Fish: n})
	f.v.Set("a", answer)
	f.v.Set("hours", hours)
	f.v.Set("fish", fish)
	if err != nil || n == 0 {
		f.v.Set("fish", "")
		f.v.Set("first", "")
	}
	for _, row := range quickRows(answer) {
		for _, o := range row.Taps {
			if o.Value == button {
				return
			}
		}
	}
	f.bad("a", fmt.Sprintf("%q is not one of the choices", short(button)))
}

// visit is what the signed link of a trip log opens.
type visit struct {
	sub   coldseam.Subscriber
	reach coldseam.Reach
	day   coldseam.Date
	loc   *time.Location
}

func (s *site) visit(r *http.Request) (visit, error) {
	c, err := s.claim(r, notify.ForLog)
	if err != nil {
		return visit{}, err
	}
	id, day, err := notify.ParseLogExtra(c.Extra)
	if err != nil {
		return visit{}, err
	}

	sub, err := s.Store.Subscriber(r.Context(), c.Subscriber)
	if err != nil {
		return visit{}, err
	}
	rs, err := s.Store.Reaches(r.Context())
	if err != nil {
		return visit{}, err
	}

	for _, reach := range rs {
		if reach.ID == id {
			loc, err := time.LoadLocation(reach.Zone)
			if err != nil {
				return visit{}, fmt.Errorf("reach %s: zone %q: %w", id, reach.Zone, coldseam.ErrInvalid)
			}
			return visit{sub, reach, day, loc}, nil
		}
	}

	return visit{}, fmt.Errorf("reach of the log: %w", coldseam.ErrNotFound)
}

func (s *site) logForm(w http.ResponseWriter, r *http.Request) error {
	v, err := s.visit(r)
	if err != nil {
		return err
	}

	t, err := s.Store.Trip(r.Context(), v.sub.ID, v.reach.ID, v.day)
	again := err == nil
	if err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		return err
	}
	vals := v.defaults()
	if again {
		vals = v.values(t)
	}

	if a := r.URL.Query().Get("a"); a != "" && vals["a"] != a {
		for _, o := range answers() {
			if o.Value == a {
				vals["a"] = a
				if again || a == "none" || a == "no" {
					vals["fish"] = ""
				}
				if a == "no" {
					vals["hours"] = ""
				}
			}
		}
	}

	p := v.page(vals)
	p.Again = again
	p.Quick = quickRows(vals["a"])
	return s.showLog(w, r, http.StatusOK, p)
}

// defaults presets the form from the preferences.
func (v visit) defaults() map[string]string {
	p := v.sub.Prefs
	out := map[string]string{"anglers": "1", "presentation": p.Presentation, "body": p.Body, "line": p.Line}
	if p.WindowFrom != "" {
		out["start"] = p.WindowFrom
	}
	if len(v.reach.Spots) > 0 {
		out["spot"] = v.reach.Spots[0].ID
	}
	return out
}

// values shows a recorded trip.
func (v visit) values(t coldseam.Trip) map[string]string {
	num := func(x float64) string {
		if x == 0 {
			return ""
		}
		return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64)
	}
	clock := func(at time.Time) string {
		if at.IsZero() {
			return ""
		}
		return at.In(v.loc).Format("15:04")
	}

	flag := func(b *bool) string {
		switch {
		case b == nil:
			return ""
		case *b:
			return "yes"
		}
		return "no"
	}

	out := map[string]string{
		"a": answerOf(t), "hours": num(t.Hours), "anglers": num(float64(t.Anglers)), "lines": num(float64(t.Lines)),
		"fish":   num(float64(t.Fish)),
		"looked": num(float64(t.LookedAt)), "ripe": num(float64(t.Ripe)), "spent": num(float64(t.Spent)),
		"released": num(float64(t.Released)),
		"spot":     t.SpotID, "presentation": t.Presentation, "body": t.Body, "line": t.Line, "held": flag(t.Held),
		"held_at": clock(t.HeldAt),
		"start":   clock(t.Start), "water_at": clock(t.WaterAt), "first": clock(t.FirstFish), "clarity": t.Clarity,
		"note": t.Note,
	}
	if t.WeightOz > 0 {
		out["weight"] = coldseam.OzName(t.WeightOz)
	}

	if t.WaterC != nil {
		x := *t.WaterC
		if v.sub.Prefs.Units != "metric" {
			x = coldseam.F(x)
		}
		out["water"] = strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64)
	}

	if t.AngleDeg != nil {
		out["angle"] = num(*t.AngleDeg)
	}
	if t.BecauseMail != nil {
		// Asked the other way round: would you have gone without the mail?
		out["because"] = map[bool]string{true: "no", false: "yes"}[*t.BecauseMail]
	}

	if t.Night {
		out["night"] = "1"
	}
	return out
}

func answerOf(t coldseam.Trip) string {
	switch {
	case t.WentNot:
		return "no"
	case t.Fish == 0:
		return "none"
	case t.Fish <= 3:
		return "1-3"
	}
	return "4"
}

func (v visit) page(vals map[string]string) logPage {
	p := logPage{
		River:         notify.Clean(v.reach.River),
		Reach:         notify.Clean(v.reach.Name),
		Day:           longDay(v.day),
		Metric:        v.sub.Prefs.Units == "metric",
		V:             vals,
		Answers:       chosen(answers(), vals["a"]),
		Held:          chosen(heldOptions(), vals["held"]),
		Because:       chosen(becauseOptions(), vals["because"]),
		Weights:       chosen(sizes(), vals["weight"]),
		Presentations: chosen(presentations(), vals["presentation"]),
		Bodies:        chosen(bodies(), vals["body"]),
		Lines:         chosen(lines(), vals["line"]),
		Clarity:       chosen(clarityOptions(), vals["clarity"]),
	}
	var spots []option
	for _, s := range v.reach.Spots {
		spots = append(spots, option{Value: s.ID, Label: notify.Clean(s.Name)})
	}
	p.Spots = chosen(spots, vals["spot"])
	for _, k := range []string{"looked", "ripe", "spent", "water", "first", "note", "clarity", "released", "angle",
		"night", "ice"} {
		p.More = p.More || vals[k] != ""
	}
	return p
}

func (s *site) showLog(w http.ResponseWriter, r *http.Request, code int, p logPage) error {
	p.Action = r.URL.Path
	return s.showBare(w, r, code, "log", "How did it go?", p)
}

func (s *site) saveLog(w http.ResponseWriter, r *http.Request) error {
	v, err := s.visit(r)
	if err != nil {
		return err
	}
	f, err := readForm(r)
	if err != nil {
		return err
	}
	if f.v.Get("tap") != "" {
		before := map[string]string{"anglers": "1"}
		old, err := s.Store.Trip(r.Context(), v.sub.ID, v.reach.ID, v.day)
		switch {
		case err == nil:
			before = v.values(old)
		case !errors.Is(err, coldseam.ErrNotFound):
			return err
		}
		f.tap(before)
	}
	t := f.trip(v, s.Now())
	t.Entry = entryKey(f)

	if !f.ok() {
		vals := map[string]string{}
		for k := range f.v {
			vals[k] = f.text(k)
		}
		p := v.page(vals)
		p.Errs, p.List = f.errs, f.problems()
		for _, k := range []string{"looked", "ripe", "spent", "released", "water", "water_at", "first", "angle",
			"held_at", "clarity"} {
			p.More = p.More || f.errs[k] != ""
		}
		return s.showLog(w, r, http.StatusUnprocessableEntity, p)
	}

	if err := s.Store.SaveTrip(r.Context(), t); err != nil {
		return err
	}
	return s.showBare(w, r, http.StatusOK, "done", "Saved", done{
		Text: savedWords(t, v), Links: []link{{r.URL.Path, "Change it"},
			{riverPath(v.reach.ID), notify.Clean(v.reach.River) + " today"}}})
}

func savedWords(t coldseam.Trip, v visit) []string {
	head := notify.Clean(v.reach.River) + ", " + longDay(v.day) + ": "
	switch {
	case t.WentNot:
		return []string{head + "did not go.", "That counts too: it tells us which calls keep people home."}
	case t.Fish == 0:
		return []string{head + "no fish.", "Zeros teach the model as much as fish do."}
	}
	return []string{fmt.Sprintf("%s%d fish.", head, t.Fish),
		"It goes into the run clock, the weights and the season's recap. Names never do."}
}
