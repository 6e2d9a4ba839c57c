package web

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

type prefsPage struct {
	Action                                      string
	Reaches, Units, Presentations, Bodies       []option
	Lines, Metals, Box, Costs, Days, SpeciesOps []option
	Crafts                                      []option
	Zones                                       []string
	P                                           coldseam.Preferences
	Errs                                        map[string]string
	List                                        []string
	Saved                                       bool
	Off                                         string // why no mail is sent now
	Gone                                        bool   // has left: no settings to change
	Stop, Data, Erase                           string
	Calendar                                    string
}

// allCosts are the costs of a wasted trip that a member may set, in hundredths of
// a good one: the club's, said by 0, and own ones, also the one already held.
func (s *site) allCosts(held float64) []option {
	out := []option{{Value: "0", Label: costShare(s.Cost) + ", as the club"}}
	own := []float64{.2, .3, .4, .5, .6, .7}
	if held > 0 && !slices.Contains(own, held) {
		own = append(own, held)
	}
	for _, c := range own {
		out = append(out, option{Value: costValue(c), Label: costShare(c)})
	}
	return out
}

func costShare(c float64) string { return fmt.Sprintf("%.0f%% of a good trip", 100*c) }

func costValue(c float64) string { return strconv.FormatFloat(c, 'f', -1, 64) }

// crafts are what a member may fish from.
func crafts() []option {
	var out []option
	for _, c := range coldseam.Crafts {
		out = append(out, option{Value: string(c), Label: notify.Craft(c)})
	}
	return out
}

func weekdays() []option {
	var out []option
	for d := time.Monday; d <= time.Saturday; d++ {
		out = append(out, option{Value: strconv.Itoa(int(d)), Label: d.String()[:3]})
	}
	return append(out, option{Value: "0", Label: "Sun"})
}

func (s *site) prefsForm(w http.ResponseWriter, r *http.Request) error {
	c, err := s.claim(r, notify.ForPrefs)
	if err != nil {
		return err
	}
	sub, err := s.Store.Subscriber(r.Context(), c.Subscriber)
	if err != nil {
		return err
	}
	rs, err := s.Store.Reaches(r.Context())
	if err != nil {
		return err
	}
	page := s.prefsOf(sub.Prefs, rs)
	page.Off, page.Gone = offList(sub.State), sub.State == "unsubscribed"
	return s.showPrefs(w, r, http.StatusOK, c, page)
}

// prefsOf fills the form.
func (s *site) prefsOf(p coldseam.Preferences, rs []coldseam.Reach) prefsPage {
	if p.Zone == "" {
		p.Zone = zoneOf(rs, p.Reaches)
	}
	if p.SendAt == "" {
		p.SendAt = defaultSendAt
	}
	if p.Units == "" {
		p.Units = "us"
	}

	page := prefsPage{
		P:             p,
		Units:         chosen(unitOptions(), p.Units),
		Presentations: chosen(presentations(), p.Presentation),
		Bodies:        chosen(bodies(), p.Body),
		Lines:         chosen(lines(), p.Line),
		Metals:        chosen(metals(), p.Metal),
		Crafts:        chosen(crafts(), string(p.Craft)),
		Costs:         chosen(s.allCosts(p.Cost), costValue(p.Cost)),
	}
	var ids, oz, days []string
	for _, id := range p.Reaches {
		ids = append(ids, string(id))
	}

	for _, o := range p.BoxOz {
		oz = append(oz, coldseam.OzName(o))
	}
	for _, d := range p.Weekdays {
		days = append(days, strconv.Itoa(d))
	}
	box := sizes()
	for i := range box {
		box[i].Label = box[i].Value // the heading holds the unit
	}
	page.Reaches, page.Box, page.Days = chosen(reachOptions(rs), ids...), chosen(box, oz...),
		chosen(weekdays(), days...)

	if len(p.Weekdays) == 0 {
		for i := range page.Days {
			page.Days[i].On = true
		}
	}

	page.SpeciesOps = chosen(species(rs), p.Species)
	for _, r := range rs {
		if !contains(page.Zones, r.Zone) {
			page.Zones = append(page.Zones, r.Zone)
		}
	}

	return page
}

func species(rs []coldseam.Reach) []option {
	var out []option
	var seen []string
	for _, r := range rs {
		for _, k := range r.Species {
			if !contains(seen, k) {
				seen = append(seen, k)
				out = append(out, option{Value: k, Label: strings.ReplaceAll(notify.Clean(k), "_", " ")})
			}
		}
	}
	return out
}

func contains(xs []string, s string) bool {
	for _, x := range xs {
		if x == s {
			return true
		}
	}
	return false
}

func (s *site) showPrefs(w http.ResponseWriter, r *http.Request, code int, c notify.Claim, p prefsPage) error {
	p.Action = r.URL.Path
	p.Stop = s.path(s.Links.Unsubscribe(c.Subscriber))
	p.Data, p.Erase = r.URL.Path+"/data.json", r.URL.Path+"/erase"
	p.Calendar = s.Links.Calendar(c.Subscriber)
	return s.showBare(w, r, code, "prefs", "Your settings", p)
}

func (s *site) savePrefs(w http.ResponseWriter, r *http.Request) error {
	c, err := s.claim(r, notify.ForPrefs)
	if err != nil {
		return err
	}
	f, err := readForm(r)
	if err != nil {
		return err
	}

	sub, err := s.Store.Subscriber(r.Context(), c.Subscriber)
	if err != nil {
		return err
	}
	rs, err := s.Store.Reaches(r.Context())
	if err != nil {
		return err
	}

	p := f.prefs(rs, s.allCosts(sub.Prefs.Cost))
	if !f.ok() {
		page := s.prefsOf(p, rs)
		page.P.SendAt, page.P.WindowFrom, page.P.WindowTo, page.P.Zone = f.text("send_at"), f.text("window_from"),
			f.text("window_to"), f.text("zone")
		page.Errs, page.List = f.errs, f.problems()
		return s.showPrefs(w, r, http.StatusUnprocessableEntity, c, page)
	}

	if err := s.Store.SavePreferences(r.Context(), sub.ID, p, s.Now()); err != nil {
		return err
	}
	page := s.prefsOf(p, rs)
	page.Saved, page.Off, page.Gone = true, offList(sub.State), sub.State == "unsubscribed"
	return s.showPrefs(w, r, http.StatusOK, c, page)
}

// prefs reads the whole form.
func (f *form) prefs(rs []coldseam.Reach, costs []option) coldseam.Preferences {
	p := coldseam.Preferences{
		Reaches:      f.reaches(rs),
		Zone:         f.text("zone"),
		SendAt:       f.clock("send_at"),
		WindowFrom:   f.clock("window_from"),
		WindowTo:     f.clock("window_to"),
		Species:      f.choice("species", species(rs)),
		Units:        f.choice("units", unitOptions()),
		Presentation: f.choice("presentation", presentations()),
		Body:         f.choice("body", bodies()),
		Craft:        coldseam.Craft(f.choice("craft", crafts())),
		Line:         f.choice("line", lines()),
		Metal:        f.choice("metal", metals()),
		FlipNotice:   f.v.Get("flip") == "1",
		Outlook:      f.v.Get("outlook") == "1",
		InBook:       f.v.Get("book") == "1",
	}
	p.Cost, _ = strconv.ParseFloat(f.choice("cost", costs), 64)
	if err := zone(p.Zone); err != nil {
		f.bad("zone", fmt.Sprintf("%q is not a time zone. Want one such as America/Chicago.", short(p.Zone)))
	}

	switch {
	case (p.WindowFrom == "") != (p.WindowTo == "") && f.errs["window_from"] == "" && f.errs["window_to"] == "":
		f.bad("window_from", "Give both ends of the fishing window, or none.")
	case p.WindowFrom != "" && p.WindowTo != "" && p.WindowFrom >= p.WindowTo:
		f.bad("window_from", "The fishing window ends before it begins.")
	case p.WindowFrom != "" && p.SendAt > p.WindowFrom:
		f.bad("send_at", "The mail would come after your window has begun.")
	}

	for _, v := range f.v["box"] {
		oz := ozOf(v)
		if oz == 0 {
			f.bad("box", fmt.Sprintf("%q is not a trade size", short(v)))
			continue
		}
		p.BoxOz = append(p.BoxOz, oz)
	}

	for _, v := range f.v["day"] {
		d, err := strconv.Atoi(v)
		if err != nil || d < 0 || d > 6 {
			f.bad("day", fmt.Sprintf("%q is not a day of the week", short(v)))
			continue
		}
		p.Weekdays = append(p.Weekdays, d)
	}

	switch len(p.Weekdays) {
	case 0:
		f.bad("day", "Pick at least one day, or stop the mail altogether below.")
	case 7:
		p.Weekdays = nil
	}

	return p
}

// zone refuses names that are no IANA zone; "Local" is the server's own.
func zone(name string) error {
	if name == "" || name == "Local" {
		return fmt.Errorf("zone %q: %w", name, coldseam.ErrInvalid)
	}
	if _, err := time.LoadLocation(name); err != nil {
		return errors.Join(err, coldseam.ErrInvalid)
	}
	return nil
}
