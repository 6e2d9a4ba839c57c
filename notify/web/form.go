package web

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"sort"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// form reads posted fields and gathers what is wrong with them, by field, in
// the reader's words.
type form struct {
	v    url.Values
	errs map[string]string
}

func readForm(r *http.Request) (*form, error) {
	if err := r.ParseForm(); err != nil {
		var big *http.MaxBytesError
		if errors.As(err, &big) {
			return nil, fmt.Errorf("form: %w", err)
		}
		return nil, fmt.Errorf("form: %w: %w", err, coldseam.ErrInvalid)
	}
	return &form{v: r.PostForm, errs: map[string]string{}}, nil
}

func (f *form) ok() bool { return len(f.errs) == 0 }

func (f *form) bad(field, text string) {
	if f.errs[field] == "" {
		f.errs[field] = text
	}
}

// text is one line of the field, cleaned.
func (f *form) text(field string) string { return notify.OneLine(f.v.Get(field)) }

// number reads a number within [lo, hi]; an empty field is def.
func (f *form) number(field string, lo, hi, def float64) float64 {
	s := strings.ReplaceAll(f.text(field), ",", ".")
	if s == "" {
		return def
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(x) || x < lo || x > hi {
		f.bad(field, fmt.Sprintf("%q: want a number from %g to %g", short(s), lo, hi))
		return def
	}
	return x
}

func (f *form) whole(field string, lo, hi, def int) int {
	x := f.number(field, float64(lo), float64(hi), float64(def))
	if x != math.Trunc(x) {
		f.bad(field, fmt.Sprintf("%q: want a whole number", short(f.text(field))))
		return def
	}
	return int(x)
}

// clock reads HH:MM; empty stays empty.
func (f *form) clock(field string) string {
	s := f.text(field)
	if s == "" {
		return ""
	}
	if len(s) == 8 && strings.HasSuffix(s, ":00") { // some browsers send seconds
		s = s[:5]
	}
	if _, _, err := notify.ParseClock(s); err != nil {
		f.bad(field, fmt.Sprintf("%q: want a time such as 05:00", short(s)))
		return ""
	}
	return s
}

// instant is the clock field on day d in a zone; zero when empty.
func (f *form) instant(field string, d coldseam.Date, loc *time.Location) time.Time {
	s := f.clock(field)
	if s == "" {
		return time.Time{}
	}
	t, err := notify.SendAt(d, s, loc)
	if err != nil {
		f.bad(field, "want a time such as 05:00")
	}
	return t
}

// choice reads one of a list; empty is allowed and stays empty.
func (f *form) choice(field string, of []option) string {
	s := f.v.Get(field)
	if s == "" {
		return ""
	}
	for _, o := range of {
		if o.Value == s {
			return s
		}
	}
	f.bad(field, fmt.Sprintf("%q is not one of the choices", short(s)))
	return ""
}

func short(s string) string {
	s = notify.Clean(s)
	if utf8.RuneCountInString(s) > 24 {
		return string([]rune(s)[:24]) + "..."
	}
	return s
}

// option is one choice of a form.
type option struct {
	Value, Label, Hint string
	On                 bool
}

func chosen(of []option, values ...string) []option {
	out := append([]option(nil), of...)
	for i := range out {
		for _, v := range values {
			if out[i].Value == v {
				out[i].On = true
			}
		}
	}
	return out
}

func presentations() []option {
	var out []option
	for _, k := range []string{"quartering", "anchored", "vertical", "drift", "wading"} {
		out = append(out, option{Value: k, Label: presentationWords(k)})
	}
	return out
}

func bodies() []option {
	return []option{{Value: "slim", Label: "slim"}, {Value: "flutter", Label: "flutter tail"},
		{Value: "paddle", Label: "paddle tail"},
		{Value: "bulky", Label: "bulky paddle tail"}, {Value: "bucktail", Label: "bucktail"}}
}

// lines are the main lines that the club's anglers use [proposal].
func lines() []option {
	var out []option
	for _, k := range []string{"braid-0.10", "braid-0.12", "braid-0.14", "braid-0.16", "braid-0.18", "braid-0.20",
		"nylon-0.20", "nylon-0.23", "nylon-0.26", "nylon-0.30"} {
		out = append(out, option{Value: k, Label: lineWords(k)})
	}
	return out
}

func metals() []option {
	return []option{{Value: "lead", Label: "lead"}, {Value: "tungsten", Label: "tungsten"}}
}

func sizes() []option {
	var out []option
	for _, oz := range coldseam.TradeSizesOz {
		out = append(out, option{Value: coldseam.OzName(oz), Label: coldseam.OzName(oz) + " oz"})
	}
	return out
}

func ozOf(name string) float64 {
	for _, oz := range coldseam.TradeSizesOz {
		if coldseam.OzName(oz) == name {
			return oz
		}
	}
	return 0
}

// reachOptions are the club's reaches.
func reachOptions(rs []coldseam.Reach) []option {
	var out []option
	for _, r := range rs {
		out = append(out, option{Value: string(r.ID), Label: notify.Clean(r.River) + ", " + notify.Clean(r.Name)})
	}
	return out
}

// reaches reads the ticked reaches, in the club's order.
func (f *form) reaches(rs []coldseam.Reach) []coldseam.ReachID {
	var out []coldseam.ReachID
	for _, r := range rs {
		for _, v := range f.v["reach"] {
			if v == string(r.ID) {
				out = append(out, r.ID)
				break
			}
		}
	}
	if len(out) == 0 {
		f.bad("reach", "Pick at least one river.")
	}
	return out
}

// problems are the errors in the order of their fields' names, for the summary
// at the head of the form.
func (f *form) problems() []string {
	var keys []string
	for k := range f.errs {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	var out []string
	for _, k := range keys {
		out = append(out, f.errs[k])
	}
	return out
}
