package web

import (
	"errors"
	"fmt"
	"net/http"
	"slices"

	"example.org/coldseam"
)

// saveFloat takes a float timing from the trip card.
func (s *site) saveFloat(w http.ResponseWriter, r *http.Request) error {
	v, f, at, ok, err := s.entry(w, r)
	if !ok {
		return err
	}

	t := coldseam.FloatTiming{Reach: v.reach.ID, Subscriber: v.sub.ID, At: at, Spot: f.text("spot"), Entry: entryKey(f),
		LengthM: f.number("length", 3, 100, 0), Wind: f.choice("wind", []option{{Value: "calm"}, {Value: "light"},
			{Value: "strong"}})}
	low, high := 600., 0.
	for i := range t.Seconds {
		t.Seconds[i] = f.number(fmt.Sprintf("s%d", i+1), 2, 600, 0)
		low, high = min(low, t.Seconds[i]), max(high, t.Seconds[i])
	}
	switch place := f.v.Get("place"); {
	case place != "bank" && place != "moored" || f.v.Get("water") != "steady":
		f.bad("place", "Floats are timed from the bank or a moored boat, never wading or on rising water.")
	case !slices.ContainsFunc(v.reach.Spots, func(x coldseam.Spot) bool { return x.ID == t.Spot }):
		f.bad("spot", "That spot is not one of the reach.")
	case t.LengthM == 0 || t.Wind == "" || low == 0:
		f.bad("length", "Length, wind and three times are wanted.")
	case high > floatSpread*low:
		f.bad("s1", "The three floats differ too much to be one current.")
	}
	if !f.ok() {
		for _, why := range f.errs {
			s.message(w, r, http.StatusUnprocessableEntity, "Not taken", why)
			return nil
		}
	}

	err = s.Store.SaveTiming(r.Context(), t)
	if errors.Is(err, coldseam.ErrRejected) {
		s.message(w, r, http.StatusTooManyRequests, "That is enough for a day", "The spot is timed well.")
		return nil
	}
	if err != nil {
		return err
	}
	return s.showBare(w, r, http.StatusOK, "done", "Saved", done{
		Text: []string{"The next morning weighs that spot by it, for everyone."},
	})
}

// floatSpread is how far the slowest of three floats may lag behind the fastest;
// the card asks for the same [proposal].
const floatSpread = 1.5
