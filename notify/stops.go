package notify

import (
	"slices"
	"strings"

	"example.org/coldseam"
)

// mainStop is the stop that stands in the subject and under the verdict word: a
// warning in force says more to an angler than a limit of ours; else the first.
func mainStop(b coldseam.Brief) (coldseam.Reason, bool) {
	for _, r := range b.Stops {
		if r.Kind == "safety" && !r.Until.IsZero() {
			return r, true
		}
	}
	if len(b.Stops) == 0 {
		return coldseam.Reason{}, false
	}
	return b.Stops[0], true
}

// stops is the line for verdicts that no stop decides: what there is, or none,
// with the life-jacket line for cold water.
func (k *block) stops(f format, none string) []fact {
	if len(k.Brief.Stops) > 0 {
		return []fact{k.stopList(f)}
	}
	parts := []part{{Text: none}}
	if l := k.lifeLine(f); l != "" {
		parts = append(parts, part{Text: l, Sep: " "})
	}
	return []fact{line("Stops", parts...)}
}

// lifeLine is the fixed line for cold water.
func (k *block) lifeLine(f format) string {
	if k.Brief.Life.Code != "" {
		return f.reason(k.Brief.Life)
	}
	return f.either(k.Brief.LifeLine, k.Brief.LifeLineSI)
}

// stopList lists all stops, the main one first.
func (k *block) stopList(f format) fact {
	stops := append([]coldseam.Reason(nil), k.Brief.Stops...)
	if main, ok := mainStop(k.Brief); ok {
		i := slices.IndexFunc(stops, func(r coldseam.Reason) bool { return r.Same(main) })
		copy(stops[1:i+1], stops[:i])
		stops[0] = main
	}

	s := fact{Label: "Stops"}
	for _, r := range stops {
		text := f.reason(r)
		if k.Replay {
			text = "would have stopped: " + text
		}
		parts := []part{{Text: text}}
		if says := f.reasonLine(r, k.Brief.Day); says != "" {
			parts = append(parts, part{Text: "(" + says + ")", Sep: " ", Optional: true})
		}
		s.Items = append(s.Items, parts)
	}

	if len(s.Items) == 0 {
		s.Items = [][]part{{{Text: clubRule}}}
	}
	return s
}

// care holds the first two cautions; all of them stand below the fold.
func (k *block) care(f format) []fact {
	out := fact{Label: "Care"}
	for i, r := range k.Brief.Cautions {
		if i == 2 {
			break
		}
		out.Items = append(out.Items, []part{{Text: f.reason(r)}})
	}
	if len(out.Items) == 0 {
		return nil
	}
	return []fact{out}
}

// clubRule is the source of what the club itself set: worth a word beside a
// stop, not beside every caution.
const clubRule = "club rule"

// reasonLine names who says so and until when.
func (f format) reasonLine(r coldseam.Reason, d coldseam.Date) string {
	s := clean(r.Source)
	if _, host, ok := strings.Cut(s, "@"); ok {
		s = host // the sender field of an alert is an address
	}
	if s == clubRule && r.Kind == "caution" {
		s = ""
	}
	if !r.Until.IsZero() && !f.tellsEnd(r, d) {
		if s != "" {
			s += ", "
		}
		s += "until " + f.dayClock(r.Until, d)
	}
	return s
}

// tellsEnd reports whether the words of a reason name its end already.
func (f format) tellsEnd(r coldseam.Reason, d coldseam.Date) bool {
	if onlyWords(r) {
		return strings.Contains(f.reason(r), f.dayClock(r.Until, d))
	}
	code := r.Code
	if stop, ok := r.Names["stop"]; ok {
		code = stop
	}
	return strings.Contains(reasonWords[code], "{until}")
}

// onlyWords reports a reason of a brief that was stored before reasons carried
// values: it is told in the words it was issued with.
func onlyWords(r coldseam.Reason) bool {
	return r.Text != "" && len(r.Values) == 0 && len(r.Names) == 0 && r.At.IsZero()
}

// words is reason for one that may be none: no code and no text give "".
func (f format) words(r coldseam.Reason) string {
	if r.Code == "" && r.Text == "" {
		return ""
	}
	return f.reason(r)
}

// reason words a reason in the reader's units.
func (f format) reason(r coldseam.Reason) string {
	if t, ok := f.sentence(r); ok && !onlyWords(r) {
		return t
	}
	if t := f.either(r.Text, r.TextSI); t != "" {
		return t
	}
	if c := clean(r.Code); c != "" {
		return strings.ReplaceAll(c, "_", " ")
	}
	return "a rule of the club" // never an empty line: a stop or caution is not dropped
}
