package web

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"example.org/coldseam"
)

// trip reads the form. Times belong to the day of the trip.
func (f *form) trip(v visit, now time.Time) coldseam.Trip {
	t := coldseam.Trip{
		Reach:      v.reach.ID,
		Subscriber: v.sub.ID,
		Date:       v.day,
		EnteredAt:  now,
		Source:     "form",
		Ice:        f.v.Get("ice") == "1",
	}
	if v.day.Sub(coldseam.DateOf(now.In(v.loc))) > 0 {
		f.bad("a", "This morning is still to come. Log it when you are back.")
	}
	a := f.choice("a", answers())
	switch a {
	case "":
		f.bad("a", "How many fish? Pick one of the four.")
	case "no":
		if n := f.whole("fish", 0, 500, 0); n > 0 {
			f.bad("fish", fmt.Sprintf("You picked did not go, and wrote %d fish.", n))
		}
		if h := f.number("hours", 0, 24, 0); h > 0 {
			f.bad("hours", fmt.Sprintf("You picked did not go, and wrote %g hours.", h))
		}
		t.WentNot = true
		t.BecauseMail = f.because()
		t.Note = f.note()
		return t
	}

	if len(v.reach.Species) > 0 {
		t.Species = v.reach.Species[0]
	}
	if v.sub.Prefs.Species != "" {
		t.Species = v.sub.Prefs.Species
	}
	t.Start = f.instant("start", v.day, v.loc)

	t.Hours = f.number("hours", .25, 24, 0)
	if f.text("hours") == "" {
		f.bad("hours", "How many hours did you fish? Without them a trip cannot be counted.")
	}
	t.Anglers = f.whole("anglers", 1, 20, 1)
	t.Lines = f.whole("lines", 1, 60, t.Anglers)
	t.Fish = f.fish(a)
	t.LookedAt = f.whole("looked", 0, 200, 0)
	t.Ripe, t.Spent, t.Released = f.whole("ripe", 0, 200, 0), f.whole("spent", 0, 200, 0),
		f.whole("released", 0, 500, 0)

	if t.Ripe+t.Spent > t.LookedAt {
		if f.text("looked") != "" {
			f.bad("looked", fmt.Sprintf("Ripe %d and spent %d are more than the %d looked at.", t.Ripe, t.Spent,
				t.LookedAt))
		}
		t.LookedAt = t.Ripe + t.Spent
	}

	if t.Released > t.Fish {
		f.bad("released", fmt.Sprintf("Released %d, but landed %d.", t.Released, t.Fish))
	}
	f.rig(v, &t)
	f.water(v, &t)
	f.happened(v, t, now)
	t.BecauseMail, t.Night, t.Note = f.because(), f.v.Get("night") == "1", f.note()
	return t
}

// happened refuses what lies ahead, and a first fish before the trip.
func (f *form) happened(v visit, t coldseam.Trip, now time.Time) {
	begin := t.Start
	if begin.IsZero() {
		begin = v.day.At(0, v.loc)
	}
	end := begin.Add(time.Duration(t.Hours * float64(time.Hour)))
	if end.After(now.Add(clockSlack)) {
		f.bad("hours", fmt.Sprintf("%g hours from %s end at %s, and it is %s now. Log the trip when you are back.", t.Hours,
			begin.In(v.loc).Format("15:04"), end.In(v.loc).Format("15:04"), now.In(v.loc).Format("15:04")))
	}

	for field, at := range map[string]time.Time{"start": t.Start, "held_at": t.HeldAt, "first": t.FirstFish,
		"water_at": t.WaterAt} {
		if at.After(now.Add(clockSlack)) {
			f.bad(field, fmt.Sprintf("%s is still to come; it is %s now.", at.In(v.loc).Format("15:04"),
				now.In(v.loc).Format("15:04")))
		}
	}
	if !t.FirstFish.IsZero() && t.FirstFish.Before(t.Start) {
		f.bad("first", fmt.Sprintf("A first fish at %s, but you began at %s?", t.FirstFish.In(v.loc).Format("15:04"),
			t.Start.In(v.loc).Format("15:04")))
	}
}

// clockSlack is how far a phone's clock or a rounded hour may run ahead [proposal].
const clockSlack = 15 * time.Minute

// fish is the exact count, which must agree with the answer.
func (f *form) fish(a string) int {
	n := f.whole("fish", 0, 500, -1)
	switch {
	case f.errs["fish"] != "" || a == "":
		return 0
	case a == "none" && n > 0:
		f.bad("fish", fmt.Sprintf("You picked none, and wrote %d.", n))
	case a == "none":
		return 0
	case n < 0:
		f.bad("fish", "How many exactly?")
	case a == "1-3" && (n < 1 || n > 3):
		f.bad("fish", fmt.Sprintf("You picked 1 to 3, and wrote %d.", n))
	case a == "4" && n < 4:
		f.bad("fish", fmt.Sprintf("You picked 4 or more, and wrote %d.", n))
	}
	return max(n, 0)
}

func (f *form) rig(v visit, t *coldseam.Trip) {
	var spots []option
	for _, s := range v.reach.Spots {
		spots = append(spots, option{Value: s.ID})
	}
	t.SpotID = f.choice("spot", spots)
	t.Presentation, t.Body, t.Line = f.choice("presentation", presentations()), f.choice("body", bodies()),
		f.choice("line", lines())
	t.WeightOz = ozOf(f.choice("weight", sizes()))

	if h := f.choice("held", heldOptions()); h != "" {
		held := h == "yes"
		t.Held = &held
		if t.WeightOz == 0 || t.SpotID == "" {
			f.bad("weight", "Held or not teaches nothing without the spot and the weight.")
		}
	}

	t.HeldAt = f.instant("held_at", v.day, v.loc)
	if f.text("angle") != "" {
		x := f.number("angle", 0, 90, 0)
		t.AngleDeg = &x
	}
}

func (f *form) water(v visit, t *coldseam.Trip) {
	t.Clarity = f.choice("clarity", clarityOptions())
	t.FirstFish = f.instant("first", v.day, v.loc)
	if !t.FirstFish.IsZero() && t.Fish == 0 {
		f.bad("first", "A first fish, but none landed?")
	}
	if f.text("water") == "" {
		return
	}

	lo, hi := 31., 90.
	metric := v.sub.Prefs.Units == "metric"
	if metric {
		lo, hi = -.5, 32
	}
	x := f.number("water", lo, hi, math.NaN())
	if math.IsNaN(x) {
		return
	}

	if !metric {
		x = coldseam.C(x)
	}
	t.WaterC = &x
	t.WaterAt = f.instant("water_at", v.day, v.loc)
	if t.WaterAt.IsZero() {
		f.bad("water_at", "At what hour did you read the water temperature?")
	}
}

// because answers "would you have gone without the mail": no means that the
// mail decided.
func (f *form) because() *bool {
	var b bool
	switch f.choice("because", becauseOptions()) {
	case "yes":
		b = false
	case "no":
		b = true
	default:
		return nil
	}
	return &b
}

func (f *form) note() string {
	s := strings.TrimSpace(f.text("note"))
	if n := utf8.RuneCountInString(s); n > maxNote {
		f.bad("note", fmt.Sprintf("The note has %d letters; %d fit.", n, maxNote))
	}
	return s
}
