package notify

import (
	"fmt"
	"sort"
	"strings"
	"unicode/utf8"

	"example.org/coldseam"
)

// SortBriefs is the order of rivers in every mail and on the board: stops first,
// then the best first, by odds over what a wasted trip costs, and NO CALL last.
func SortBriefs(briefs []coldseam.Brief) {
	sort.SliceStable(briefs, func(i, j int) bool {
		if r, s := place(briefs[i]), place(briefs[j]); r != s {
			return r < s
		}
		return better(briefs[i], briefs[j])
	})
}

func place(b coldseam.Brief) int {
	switch {
	case b.Verdict == coldseam.Stop:
		return 0
	case hasWord(b):
		return 5 - int(b.Verdict)
	}
	return 5
}

// hasWord reports whether a brief reads GO, TOSS-UP or STAY: without odds it reads
// NO CALL.
func hasWord(b coldseam.Brief) bool { return b.Verdict.ShowsOdds() && b.OddsOK && finite(b.Odds) }

func better(a, b coldseam.Brief) bool {
	if x, y := a.Odds-a.Cost, b.Odds-b.Cost; x != y {
		return x > y
	}
	return a.River < b.River
}

// inFull are the n briefs that a mail has room for: those one could fish, the
// best first, before stops and NO CALL.
func inFull(briefs []coldseam.Brief, n int) map[int]bool {
	order := make([]int, len(briefs))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool {
		return hasWord(briefs[order[i]]) && !hasWord(briefs[order[j]])
	})
	in := map[int]bool{}
	for _, i := range order[:min(n, len(order))] {
		in[i] = true
	}
	return in
}

// boardLine is one river of the overview that stands on top of a mail of several.
type boardLine struct {
	Verdict, River, Tail string
	Text                 string // the line of the text part
	Link                 string // of a river that the mail does not tell in full
}

// boardOf is the overview of a mail of several rivers, in their order; nil of one.
func boardOf(briefs []coldseam.Brief, p coldseam.Preferences) []boardLine {
	if len(briefs) < 2 {
		return nil
	}
	var out []boardLine
	for _, b := range briefs {
		k := blockOf(b, p)
		tail := strings.Join(cause(k), " ")
		if k.Verdict.ShowsOdds() {
			tail = goodMorning(k)
			if b.Rank.Only() {
				tail = chance(b, b.Odds)
			}
			if len(b.Jig) > 0 && b.Jig[0].TieOz > 0 {
				tail += ", tie " + formatFor(p, b.Zone).weight(b.Jig[0].TieOz)
			}
		}
		out = append(out, boardLine{Verdict: k.Verdict.String(), River: k.River, Tail: tail})
	}

	width := 0
	for _, l := range out {
		width = max(width, min(utf8.RuneCountInString(l.River), 16))
	}
	for i, l := range out {
		out[i].Text = clip(plain(fmt.Sprintf("%-7s %-*s  %s", l.Verdict, width, l.River, l.Tail)), textWidth)
	}
	return out
}
