package coldseam

import (
	"encoding/json"
	"maps"
	"time"
)

// Reason is one rule that fired, as data: a stable code and the numbers it
// compared, in SI. Package notify makes the words, in US or metric units.
type Reason struct {
	Code   string             // flood_stage, thunder, season_unverified ...
	Kind   string             // safety, legal, missing, odds, cap, caution, note
	Values map[string]float64 `json:",omitempty"` // SI; each name ends in its unit: stage_m, limit_m, share
	Names  map[string]string  `json:",omitempty"` // codes and foreign words: event, quantity, spot
	At     time.Time          `json:",omitzero"`  // the moment it speaks of; zero = none
	From   time.Time          `json:",omitzero"`  // start of the window it belongs to; zero = none
	Source string             // agency or the club rule
	Until  time.Time          // zero = not said

	// Text is the words as they were issued, in US units, for the season's record.
	// It is read only where an older brief has no Values.
	Text   string
	TextSI string `json:",omitempty"` // the metric words of older briefs; "" = same as Text
}

// UnmarshalJSON also reads a string, which briefs stored before held in the
// place of some reasons: it becomes the text as issued.
func (r *Reason) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] == '"' {
		return json.Unmarshal(b, &r.Text)
	}
	type fields Reason
	return json.Unmarshal(b, (*fields)(r))
}

// Notes are remarks beside a value. Briefs stored before held them as one text or
// as a list of texts.
type Notes []Reason

// UnmarshalJSON also reads a string: it becomes one remark, or none.
func (n *Notes) UnmarshalJSON(b []byte) error {
	if len(b) == 0 || b[0] != '"' {
		return json.Unmarshal(b, (*[]Reason)(n))
	}
	var r Reason
	err := r.UnmarshalJSON(b)
	if r.Text != "" {
		*n = Notes{r}
	}
	return err
}

// Same reports whether r and o say the same thing.
func (r Reason) Same(o Reason) bool {
	return r.Code == o.Code && r.Kind == o.Kind && r.Source == o.Source && r.Text == o.Text &&
		r.At.Equal(o.At) && r.From.Equal(o.From) && r.Until.Equal(o.Until) && maps.Equal(r.Values, o.Values) &&
		maps.Equal(r.Names, o.Names)
}
