package web

import (
	"context"
	"net/http"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

type signUpPage struct {
	Email   string
	Reaches []option
	SendAt  string
	Costs   []option
	Units   []option
	Errs    map[string]string
	List    []string
}

// defaultSendAt is when briefs are ready [proposal].
const defaultSendAt = "04:55"

// costs are the three answers of the sign-up; the preferences have more.
func (s *site) costs() []option {
	out := []option{{Value: "0.2", Label: "Next to nothing"}, {Value: "0.4", Label: "A fair drive"},
		{Value: "0.7", Label: "Half a night’s sleep"}}
	for i, c := range []float64{.2, .4, .7} {
		out[i].Hint = costShare(c)
	}
	return out
}

func unitOptions() []option {
	return []option{{Value: "us", Label: "°F, cfs, feet, ounces"}, {Value: "metric", Label: "°C, m³/s, metres, grams"}}
}

func (s *site) signUpForm(w http.ResponseWriter, r *http.Request) error {
	rs, err := s.Store.Reaches(r.Context())
	if err != nil {
		return err
	}
	p := signUpPage{SendAt: defaultSendAt, Costs: chosen(s.costs(), "0.4"), Units: chosen(unitOptions(), unitsOf(r))}
	p.Reaches = reachOptions(rs)
	if len(p.Reaches) > 0 {
		p.Reaches[0].On = true
	}
	return s.show(w, http.StatusOK, "signup", s.clubFoot(r, frame{Title: "The morning mail", Body: p}))
}

// signUp answers every well-formed request alike: the same page, status and
// time, whether the address is new, known, paused or suppressed.
func (s *site) signUp(w http.ResponseWriter, r *http.Request) error {
	begun := time.Now()
	f, err := readForm(r)
	if err != nil {
		return err
	}
	rs, err := s.Store.Reaches(r.Context())
	if err != nil {
		return err
	}

	email := strings.TrimSpace(f.v.Get("email"))
	if notify.ValidAddress(email) != nil {
		f.bad("email", "This is not a mail address we can write to. Want name@host.domain.")
	}
	p := coldseam.Preferences{Reaches: f.reaches(rs), SendAt: f.clock("send_at"),
		Units: f.choice("units", unitOptions())}
	p.Cost, _ = strconv.ParseFloat(f.choice("cost", s.costs()), 64)
	p.Zone = zoneOf(rs, p.Reaches)

	if !f.ok() {
		page := signUpPage{
			Email:   notify.Clean(email),
			SendAt:  f.text("send_at"),
			Reaches: chosen(reachOptions(rs), f.v["reach"]...),
			Costs:   chosen(s.costs(), f.v.Get("cost")),
			Units:   chosen(unitOptions(), f.v.Get("units")),
			Errs:    f.errs,
			List:    f.problems(),
		}
		return s.show(w, http.StatusUnprocessableEntity, "signup",
			s.clubFoot(r, frame{Title: "The morning mail", Body: page, NoIndex: true}))
	}

	for _, l := range []struct {
		key string
		n   int
	}{{"signup " + s.client(r), s.Limits.SignUpsPerHour}, {"signup all", s.Limits.SignUpsAllHour}} {
		if wait, ok := s.clients.take(l.key, l.n, time.Hour); !ok {
			s.busy(w, r, wait)
			return nil
		}
	}

	if err := s.Store.SignUp(r.Context(), email, p, s.Now()); err != nil {
		return err
	}
	if err := waitUntil(r.Context(), begun.Add(s.SignUpFloor)); err != nil {
		return err
	}
	return s.show(w, http.StatusOK, "done", s.clubFoot(r, frame{Title: "Look in your mail", NoIndex: true, Body: done{
		Text: []string{"If this address can get mail from us, a confirm mail is on its way. Its link is good for 7 days.",
			"Nothing more is sent until you answer it. No mail after ten minutes: look in the junk folder, or ask the club."},
		Links: []link{{notify.PathBoard, "Today's rivers"}}}}))
}

// waitUntil hides in a fixed time how long the store took.
func waitUntil(ctx context.Context, t time.Time) error {
	timer := time.NewTimer(time.Until(t))
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// zoneOf is the zone of the first chosen reach.
func zoneOf(rs []coldseam.Reach, ids []coldseam.ReachID) string {
	for _, r := range rs {
		for _, id := range ids {
			if r.ID == id {
				return r.Zone
			}
		}
	}
	return ""
}

// done is the page after a button: what happened and where to go on.
type done struct {
	Text  []string
	Links []link
}

type link struct{ URL, Text string }
