package notify

import (
	"strings"
	"time"

	"example.org/coldseam"
)

// mainMissing is the reason that stands under NO CALL: what is missing first.
func mainMissing(b coldseam.Brief) (coldseam.Reason, bool) {
	for _, r := range b.Reasons {
		if r.Kind == "missing" {
			return r, true
		}
	}
	return coldseam.Reason{}, false
}

func missingText(f format, b coldseam.Brief) string {
	if r, ok := mainMissing(b); ok {
		return f.reason(r)
	}
	for _, in := range b.Inputs {
		if in.Safety && !inputGood(in) {
			return inputText(in)
		}
	}
	if !b.OddsOK && b.Verdict.ShowsOdds() {
		return "odds not computed"
	}
	return "something needed is missing"
}

// inputName names an input; briefs stored before hold the name.
func inputName(in coldseam.Input) string {
	if n := clean(in.Name); n != "" {
		return n
	}
	return upperFirst(keyList(in.Key))
}

// notes says what was made of an input.
func (f format) notes(ns coldseam.Notes) string {
	var s []string
	for _, n := range ns {
		if w := f.words(n); w != "" {
			s = append(s, w)
		}
	}
	return strings.Join(s, "; ")
}

func inputText(in coldseam.Input) string {
	name := inputName(in)
	if in.State == "stale" && in.Age > 0 {
		return name + " silent " + hours(in.Age)
	}
	return name + " " + clean(in.State)
}

// doubt says why the newest readings of an input are not trusted, "" if they
// are.
func (f format) doubt(in coldseam.Input) string {
	if in.Doubt.Code == "" {
		return ""
	}
	return f.reason(in.Doubt)
}

// inputGood: "none" means that the agency was asked and reports nothing, as for
// alerts; "open" is the good state of ice.
func inputGood(in coldseam.Input) bool {
	return in.State == "good" || in.State == "none" || in.State == "open"
}

func gaugeGood(b coldseam.Brief) bool {
	for _, in := range b.Inputs {
		if (in.Key == "discharge" || in.Key == "stage") && in.State == "good" {
			return true
		}
	}
	return false
}

// judgeAlone reports whether a NO CALL may still print water, jig and run: only
// weather, alerts or a season rule are missing, the gauge itself reads. Every
// missing input comes with a reason; a NO CALL without one prints nothing, nor
// does a replay that found a stop.
func judgeAlone(b coldseam.Brief) bool {
	some := false
	for _, r := range b.Reasons {
		if r.Kind != "missing" {
			continue
		}
		some = true
		if !mentions(r.Code, "weather", "alert", "season", "rule", "replay") {
			return false
		}
	}
	return some && gaugeGood(b) && b.Flow.NowOK && len(b.Stops) == 0
}

func mentions(code string, words ...string) bool {
	for _, w := range words {
		if strings.Contains(code, w) {
			return true
		}
	}
	return false
}

// ages is the Sure line where no odds are told: what was read last and when,
// what is missing first, each source once.
func (k *block) ages(f format) fact {
	var parts []part
	seen := map[string]bool{}
	for _, good := range []bool{false, true} {
		for _, in := range k.Brief.Inputs {
			name := shortName(in)
			if inputGood(in) != good || in.At.IsZero() || !in.Safety || in.Key == "season_rule" || seen[name] {
				continue
			}
			seen[name] = true
			if !good {
				name += " last"
			}
			parts = append(parts, part{Text: name + " " + f.dayClock(in.At, k.Brief.Day), Optional: len(parts) > 1})
		}
	}

	if len(parts) == 0 {
		parts = []part{{Text: "no: nothing was read"}}
	}
	return line("Read", parts...)
}

func shortName(in coldseam.Input) string {
	switch in.Key {
	case "discharge", "stage":
		return "gauge"
	case "water_temp":
		return "thermometer"
	case "alerts":
		return "warnings"
	case "season_rule":
		return "season rule"
	}
	return strings.ReplaceAll(clean(in.Key), "_", " ")
}

// gaugeAt is the newest reading the brief rests on.
func gaugeAt(b coldseam.Brief) (t time.Time) {
	for _, in := range b.Inputs {
		if (in.Key == "discharge" || in.Key == "stage") && in.At.After(t) {
			t = in.At
		}
	}
	return t
}
