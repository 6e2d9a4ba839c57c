package web

import (
	"errors"
	"fmt"
	"net/http"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// claim reads the signed link of the request for one purpose.
func (s *site) claim(r *http.Request, p notify.Purpose) (notify.Claim, error) {
	token := strings.TrimSuffix(r.PathValue("token"), ".ics")
	c, err := s.Links.Tokens.Verify(token, p, s.Now())
	if errors.Is(err, coldseam.ErrInvalid) {
		// A forged or broken link is told nothing: it names no page.
		return c, fmt.Errorf("signed link: %w", coldseam.ErrNotFound)
	}
	return c, err
}

// ask is a page of one button: what it will do, and nothing done yet.
type ask struct {
	Text   []string
	Button string
	Action string
	Note   string
}

func (s *site) confirmForm(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.claim(r, notify.ForConfirm); err != nil {
		return err
	}
	return s.showBare(w, r, http.StatusOK, "ask", "Start the morning mail", ask{
		Text:   []string{"One short mail before daylight: go or not, what to tie, where the run stands. You can change or stop it from every mail."},
		Button: "Yes, send me the morning mail", Action: r.URL.Path,
		Note: "Opening this page starts nothing. Only the button does. Not you? Close the page; the request is deleted after 14 days."})
}

func (s *site) confirm(w http.ResponseWriter, r *http.Request) error {
	c, err := s.claim(r, notify.ForConfirm)
	if err != nil {
		return err
	}

	if err := s.Store.Confirm(r.Context(), c.Subscriber, s.Now()); err != nil {
		return err
	}
	sub, err := s.Store.Subscriber(r.Context(), c.Subscriber)
	if err != nil {
		return err
	}

	if why := offList(sub.State); why != "" && sub.State != "paused" {
		// An old link, pressed again after leaving, starts nothing.
		return s.showBare(w, r, http.StatusOK, "done", "No mail is on its way", done{
			Text: []string{why}, Links: []link{{"/signup", "Sign up again"}, {notify.PathBoard, "Today's rivers"}}})
	}

	return s.showBare(w, r, http.StatusOK, "done", "You are on the list", done{
		Text: []string{"The next morning mail comes at the time you chose. A welcome mail follows now with the links to your settings.",
			"Two minutes well spent now: set your fishing window, your line and the weights you carry. The weight in the mail depends on them."},
		Links: []link{{s.path(s.Links.Prefs(c.Subscriber, s.Now())), "Set window, line and weights"},
			{notify.PathHow, "What the words mean"}}})
}

// offList says in words why a subscriber in this state gets no mail; "" when
// the mail runs.
func offList(state string) string {
	switch state {
	case "unsubscribed":
		return "You have left the list. To get the morning mail again, sign up again."
	case "suppressed":
		return "Mail to your address came back, so we stopped. Ask the club's admin to try it again."
	case "pending":
		return "Your sign-up is not confirmed yet: press the button in the confirm mail."
	case "paused":
		return "The mail rests until the season begins. It starts again by itself."
	}
	return ""
}

// path cuts the public URL off one of our own links, so that a reader who came
// by another name stays there.
func (s *site) path(url string) string {
	return strings.TrimPrefix(url, strings.TrimRight(s.Links.PublicURL, "/"))
}

func (s *site) unsubscribeForm(w http.ResponseWriter, r *http.Request) error {
	if _, err := s.claim(r, notify.ForUnsubscribe); err != nil {
		return err
	}
	return s.showBare(w, r, http.StatusOK, "ask", "Stop the morning mail", ask{
		Text:   []string{"One tap and no further mail is sent, from the next minute on."},
		Button: "Stop all mail", Action: r.URL.Path,
		Note: "Opening this page stops nothing. Only the button does. To leave out days or rivers instead, use the settings link in the mail."})
}

// unsubscribe is the one-click target of RFC 8058: a POST without cookies, 200
// without a redirect, again and again.
func (s *site) unsubscribe(w http.ResponseWriter, r *http.Request) error {
	c, err := s.claim(r, notify.ForUnsubscribe)
	if err != nil {
		return err
	}
	if err := s.Store.Unsubscribe(r.Context(), c.Subscriber, s.Now()); err != nil &&
		!errors.Is(err, coldseam.ErrNotFound) {
		return err
	}
	return s.showBare(w, r, http.StatusOK, "done", "No more mail", done{
		Text: []string{"You are off the list. A mail that is already on its way may still arrive.",
			"Want your address erased altogether? The settings link in any of our mails leads to it."},
		Links: []link{{notify.PathBoard, "Today's rivers"}}})
}

// ownData hands a member the file of all that is kept of him.
func (s *site) ownData(w http.ResponseWriter, r *http.Request) error {
	c, err := s.claim(r, notify.ForPrefs)
	if err != nil {
		return err
	}
	data, err := s.Store.Data(r.Context(), c.Subscriber)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Disposition", `attachment; filename="river-mail.json"`)
	w.Header().Set("X-Robots-Tag", "noindex")
	w.Header().Set("Cache-Control", "no-store")
	_, err = w.Write(data)
	return err
}

func (s *site) eraseForm(w http.ResponseWriter, r *http.Request) error {
	c, err := s.claim(r, notify.ForPrefs)
	if err != nil {
		return err
	}
	if _, err := s.Store.Subscriber(r.Context(), c.Subscriber); err != nil {
		return err
	}
	return s.showBare(w, r, http.StatusOK, "ask", "Erase my data", ask{
		Text: []string{"Your address, your settings, your notes and the record of your mails go, and all mail stops.",
			"Your trips stay in the club's totals, of nobody. Backups hold the rest for up to 12 months."},
		Button: "Erase my data", Action: r.URL.Path,
		Note: "There is no way back. Opening this page erases nothing. Only the button does."})
}

func (s *site) erase(w http.ResponseWriter, r *http.Request) error {
	c, err := s.claim(r, notify.ForPrefs)
	if err != nil {
		return err
	}
	if err := s.Store.Forget(r.Context(), c.Subscriber); err != nil && !errors.Is(err, coldseam.ErrNotFound) {
		return err
	}
	return s.showBare(w, r, http.StatusOK, "done", "Erased", done{
		Text:  []string{"Nothing of you is left on our list. A mail that is already on its way may still arrive."},
		Links: []link{{notify.PathBoard, "Today's rivers"}}})
}
