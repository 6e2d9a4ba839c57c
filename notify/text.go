package notify

import (
	"strings"
	"unicode/utf8"

	"example.org/coldseam"
)

// The measure of the text part: what a phone shows before the fold without
// breaking a line itself.
const (
	textWidth  = 60
	labelWidth = 7
	foldLines  = 12
	foldWords  = 115 // read in twenty seconds [proposal]
)

// Text writes one brief as the lines of the mail's text part that stand before
// the fold: at most 12 of at most 60 characters, always in the same order,
// units on every number. Units and send time come from the preferences; the
// brief must already be the subscriber's own (forecast/verdict). STOP and NO
// CALL print no odds.
func Text(b coldseam.Brief, p coldseam.Preferences) []string {
	return foldText(blockOf(b, p))
}

// foldText lays the facts out. When there are more lines or words than these the log line
// goes first, whose links stand below in any case, then Look, then the fourth
// and further stops (all stand below the fold), then the sky, whose dangers stand
// among the cautions, the run, the next days, what has changed and how to fish.
func foldText(k block) []string {
	facts, stops := k.Facts, 5
	for _, give := range []string{"", "Log", "Look", "stops", "stops", "Sky", "Run", "Next", "Since", "How", "stops", "stops"} {
		if give == "stops" {
			stops--
		} else {
			facts = without(facts, give)
		}
		if out := layout(k, facts, stops); len(out) <= foldLines && words(out) <= foldWords {
			return out
		}
	}
	return layout(k, facts, 1)[:foldLines]
}

func words(lines []string) int { return len(strings.Fields(strings.Join(lines, " "))) }

func without(facts []fact, label string) []fact {
	var out []fact
	for _, f := range facts {
		if f.Label != label {
			out = append(out, f)
		}
	}
	return out
}

// layout writes head line and facts; of a fact with several items at most n,
// each on at most two lines.
func layout(k block, facts []fact, n int) []string {
	out := append(head(k), wrap(plain(k.Gist), textWidth)...)
	for _, f := range facts {
		label := f.Label
		for i, item := range f.Items {
			if i == n {
				out[len(out)-1] = clip(out[len(out)-1], textWidth-13) + " (more below)"
				break
			}
			out = append(out, itemLines(label, item)...)
			label = ""
		}
	}
	return out
}

// head is verdict, river, reach and day. A replay says so first.
func head(k block) []string {
	place := k.River
	if k.Reach != "" && utf8.RuneCountInString(k.River+k.Reach) < 34 {
		place += ", " + k.Reach
	}
	s := clip(k.Verdict.String()+" "+place+", "+k.Day, textWidth)
	if k.Replay {
		return []string{"REPLAY, REVISED DATA", s}
	}
	return []string{s}
}

// itemLines writes one item beside its label. Optional parts are left out from
// the back until one line suffices; a mandatory text that is still too long
// goes on in a second line.
func itemLines(label string, item []part) []string {
	width := textWidth - labelWidth
	for {
		s := plain(joinParts(item))
		if utf8.RuneCountInString(s) <= width || !dropOptional(&item) {
			return labelled(label, wrap(s, width))
		}
	}
}

// dropOptional removes the last optional part from a copy of the item.
func dropOptional(item *[]part) bool {
	for i := len(*item) - 1; i >= 0; i-- {
		if (*item)[i].Optional {
			rest := append([]part(nil), (*item)[:i]...)
			*item = append(rest, (*item)[i+1:]...)
			return true
		}
	}
	return false
}

func joinParts(item []part) string {
	var b strings.Builder
	for i, p := range item {
		if i > 0 {
			if p.Sep == "" {
				b.WriteString(", ")
			}
			b.WriteString(p.Sep)
		}
		b.WriteString(p.Text)
	}
	return b.String()
}

// labelled puts the label before the first of at most two lines.
func labelled(label string, lines []string) []string {
	if len(lines) > 2 {
		lines = []string{lines[0], clip(strings.Join(lines[1:], " "), textWidth-labelWidth)}
	}
	for i, l := range lines {
		lead := strings.Repeat(" ", labelWidth)
		if i == 0 {
			lead = strings.ToUpper(label) + lead[min(len(label), labelWidth-1):]
		}
		lines[i] = clip(lead+l, textWidth)
	}
	return lines
}
