package web

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// bankPage is a member's word from the bank: one tap on a button.
type bankPage struct {
	Action, River, Reach string
	Groups               []quickRow
}

// says are the words that can be said; those that are on are dangers.
func says() []option {
	var out []option
	for _, list := range [][]string{coldseam.BankDangers, coldseam.BankColours, coldseam.BankFish} {
		for _, k := range list {
			out = append(out, option{Value: k, Label: notify.BankWords[k], On: slices.Contains(coldseam.BankDangers, k)})
		}
	}
	return out
}

// onTheRiver is what a signed link of this morning opens to a member; where it may
// not, the page of why is written and ok is false.
func (s *site) onTheRiver(w http.ResponseWriter, r *http.Request) (v visit, ok bool, err error) {
	if v, err = s.visit(r); err != nil {
		return v, false, err
	}
	if why := offList(v.sub.State); why != "" && v.sub.State != "paused" {
		s.message(w, r, http.StatusForbidden, "Members only", why)
		return v, false, nil
	}
	if v.day != coldseam.DateOf(s.Now().In(v.loc)) {
		s.message(w, r, http.StatusGone, "Not this morning's link",
			"This link spoke for "+longDay(v.day)+". Today's mail has its own.")
		return v, false, nil
	}
	return v, true, nil
}

// saidAt is the time of an entry by the phone that kept it; now without one.
// ErrInvalid: a time to come, or not of the link's day.
func (s *site) saidAt(f *form, v visit) (time.Time, error) {
	now := s.Now()
	if f.v.Get("at") == "" {
		return now, nil
	}
	ms, err := strconv.ParseInt(f.v.Get("at"), 10, 64)
	at := time.UnixMilli(ms).UTC()
	if err != nil || at.After(now.Add(clockSlack)) || coldseam.DateOf(at.In(v.loc)) != v.day {
		return now, fmt.Errorf("time of the entry: want one of %s, not to come: %w", v.day, coldseam.ErrInvalid)
	}
	if at.After(now) {
		at = now
	}
	return at, nil
}

// entry is what a member sent by such a link, and when it was said; where it may
// not, what was wrong has been answered or is err, and ok is false.
func (s *site) entry(w http.ResponseWriter, r *http.Request) (v visit, f *form, at time.Time, ok bool, err error) {
	if v, ok, err = s.onTheRiver(w, r); !ok {
		return v, nil, at, false, err
	}
	if f, err = readForm(r); err != nil {
		return v, nil, at, false, err
	}
	at, err = s.saidAt(f, v)
	return v, f, at, err == nil, err
}

// entryKey is the key under which a phone keeps an entry.
func entryKey(f *form) string {
	if k := f.text("key"); len(k) <= 64 {
		return k
	}
	return ""
}

func (s *site) bankForm(w http.ResponseWriter, r *http.Request) error {
	v, ok, err := s.onTheRiver(w, r)
	if !ok {
		return err
	}
	p := bankPage{Action: r.URL.Path, River: notify.Clean(v.reach.River), Reach: notify.Clean(v.reach.Name)}
	all := says()
	for i, label := range []string{"Danger: closes the reach today", "Colour of the water", "Fish in the hand"} {
		p.Groups = append(p.Groups, quickRow{Label: label, Taps: all[3*i : 3*i+3]})
	}
	return s.showBare(w, r, http.StatusOK, "bank", "From the bank", p)
}

func (s *site) saveBank(w http.ResponseWriter, r *http.Request) error {
	v, f, at, ok, err := s.entry(w, r)
	if !ok {
		return err
	}
	say := f.choice("say", says())
	if say == "" {
		return fmt.Errorf("word from the bank %q: %w", short(f.v.Get("say")), coldseam.ErrInvalid)
	}

	err = s.Store.SaveBankWord(r.Context(), coldseam.BankWord{Reach: v.reach.ID, Subscriber: v.sub.ID, At: at, Say: say,
		Entry: entryKey(f)})
	if errors.Is(err, coldseam.ErrRejected) {
		s.message(w, r, http.StatusTooManyRequests, "That is enough for a day", "Call the club's admin if there is more.")
		return nil
	}
	if err != nil {
		return err
	}
	text := []string{notify.BankWords[say] + ", noted with its time and no name."}
	if slices.Contains(coldseam.BankDangers, say) {
		text = append(text, "The reach is closed by it: who was told otherwise gets a correction.")
	}
	return s.showBare(w, r, http.StatusOK, "done", "Thank you", done{
		Text: text, Links: []link{{r.URL.Path, "Say more"}, {riverPath(v.reach.ID), notify.Clean(v.reach.River) + " today"}}})
}
