package notify

import (
	"slices"
	"time"

	"example.org/coldseam"
)

// Card is what the trip card tells of a reach: it must read right where no signal
// comes, hours after it was made. All of it but the river goes when its time is
// over.
type Card struct {
	Word          string
	Class         coldseam.Verdict
	Issued, Until time.Time
	Head          string
	Facts         [][2]string // label and text
	Weights       []CardWeight
	NoWeight      string // why there is none
	Leave         string // the admin's own landmark
}

// CardWeight is one spot.
type CardWeight struct{ Spot, Depth, Tie, Pack string }

// The fixed words of the card.
const (
	CardLeave  = "Leaving earlier is always right; below this mark is not clearance."
	CardRising = "Rising: leave"
)

// ColdLine is one line of cold water, with the agency that says it.
type ColdLine struct{ Text, Agency, Link string }

const (
	coastGuard = "US Coast Guard"
	boating    = "https://uscgboating.org/"
)

// ColdLines are what to do before and after a fall into cold water
// [source: the agencies' pages behind the links, from memory; wording ours].
var ColdLines = []ColdLine{
	{"Clip the engine's cut-off lanyard to you before the engine starts.", coastGuard, boating},
	{"Dress for the water, not for the air: you may have to swim in it.", "US National Weather Service",
		"https://www.weather.gov/safety/coldwater"},
	{"Phone in a dry pouch on your body, not in the boat.", coastGuard, boating},
	{"In the water: the first minute is for breathing. Float, keep the mouth clear, wait until it calms.",
		"Transport Canada", "https://tc.canada.ca/en/marine-transportation/marine-safety"},
	{"Know how you get back in, and try it once: ladder, step or a loop of rope.", coastGuard, boating},
}

// CardOf tells b to the reader with the preferences p. A regulated reach has no
// mark, a rising river and every word but those with odds no weight.
func CardOf(b coldseam.Brief, r coldseam.Reach, p coldseam.Preferences) Card {
	k, f := blockOf(b, p), formatFor(p, b.Zone)
	c := Card{Word: k.Verdict.String(), Class: k.Verdict, Issued: b.Issued, Until: b.GoodUntil,
		Head: plainParts(k.Head)}
	if end := b.Day.Add(1).At(0, f.zone); c.Until.IsZero() || c.Until.After(end) {
		c.Until = end
	}
	for _, x := range k.Facts {
		switch x.Label {
		case "Stops", "Care", "Window", "Why", "Water":
			for _, item := range x.Items {
				c.Facts = append(c.Facts, [2]string{x.Label, plainParts(item)})
			}
		}
	}

	if !k.Verdict.ShowsOdds() {
		c.NoWeight = "No weight on a " + c.Word + "."
		return c
	}
	if r.LeaveMark != "" && !r.Regulated && !b.Flow.Regulated {
		c.Leave = clean(r.LeaveMark)
	}
	if b.Flow.Trend == "rising" || b.Flow.Trend == "rising_fast" {
		c.NoWeight = "The gauge is rising: no weight from this card."
		return c
	}
	for _, j := range b.Jig {
		if !(j.TieOz > 0) || !(j.PackOz > 0) || j.Withheld.Code != "" {
			continue
		}
		w := CardWeight{clean(j.Spot), f.depth(j.DepthM), f.weight(j.TieOz), f.weight(j.PackOz)}
		if j.MayNeedOz != [2]float64{} {
			w.Tie, w.Pack = f.sizes(j.MayNeedOz), "not timed: start light"
		}
		c.Weights = append(c.Weights, w)
	}
	if len(c.Weights) == 0 {
		c.NoWeight = "No spot has a weight today."
	}
	return c
}

func plainParts(ps []part) string {
	out := ""
	for _, p := range pieces(ps) {
		out += p.Text
	}
	return out
}

// BankWords are what a member can say from the bank, by its code.
var BankWords = map[string]string{
	"ice": "Ice running", "wood": "Wood running", "launch": "Launch closed", "clear": "Water clear",
	"stained": "Water stained", "muddy": "Water muddy", "green": "Fish green", "ripe": "Fish ripe",
	"spent": "Fish spent",
}

// FromBank lists what members saw, the newest word of each kind, with its time;
// with its age too where now is given. Beside a STOP or NO CALL it tells nothing of
// fish.
func (w Words) FromBank(list []coldseam.BankWord, beside coldseam.Verdict, now time.Time) []string {
	var out []string
	kinds := [][]string{coldseam.BankDangers, coldseam.BankColours}
	if beside.ShowsOdds() {
		kinds = append(kinds, coldseam.BankFish)
	}
	for _, kind := range kinds {
		told := map[string]bool{}
		for _, b := range list { // newest first
			if !slices.Contains(kind, b.Say) || told[b.Say] || len(told) > 0 && kind[0] != "ice" {
				continue
			}
			told[b.Say] = true
			s := BankWords[b.Say] + ", seen at " + w.DayClock(b.At, coldseam.DateOf(now.In(w.f.zone)))
			if !now.IsZero() {
				s += ", " + Age(now.Sub(b.At)) + " ago"
			}
			out = append(out, s)
		}
	}
	return out
}
