package web

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"example.org/coldseam/notify"
)

// RecapText writes the recap for a terminal, at most 72 columns.
func RecapText(w io.Writer, r Recap, units string) error {
	p := recapPageOf(r, units)
	t := &textWriter{w: w}
	t.line(strings.TrimSpace(p.Head + "  " + notify.Clean(r.River)))
	t.line(strings.Repeat("=", 40))
	for _, s := range p.R.Story {
		t.wrap(notify.Clean(s))
	}

	if len(p.Run) > 0 {
		t.line(strings.Join(p.Run, ", ") + ".")
	}
	t.line("")
	for _, n := range p.Numbers {
		t.line(fmt.Sprintf("%12s  %s", plain(n.Value), n.Words))
	}

	for _, x := range p.Rates {
		t.head(x.Title)
		if x.Rates {
			t.line(fmt.Sprintf("%-26s %9s %7s %6s", x.Head, "trips", "anglers", "fish/h"))
		} else {
			t.line(fmt.Sprintf("%-26s %9s %6s %6s  %s", x.Head, "rod-hours", "fish", "fish/h", "likely"))
		}

		for _, row := range x.Rows {
			if row.Hidden {
				t.line(fmt.Sprintf("%-26s fewer than 3 anglers, not shown", row.Key))
				continue
			}
			if x.Rates {
				t.line(fmt.Sprintf("%-26s %9s %7s %6s", row.Key, row.Trips, row.Anglers, row.Rate))
				continue
			}
			t.line(fmt.Sprintf("%-26s %9s %6s %6s  %s", row.Key, row.Hours, row.Fish, row.Rate, plain(row.Likely)))
		}
	}

	if len(r.Verdicts) > 0 {
		t.head("What we said and what came")
		t.line(fmt.Sprintf("%-10s %9s %7s %6s  %s", "verdict", "mornings", "fished", "good", "came true"))
		for _, v := range r.Verdicts {
			t.line(fmt.Sprintf("%-10s %9d %7s %6s  %s", v.Verdict, v.Mornings, judgedText(v, v.Judged),
				judgedText(v, v.Good), plain(cameTrue(v))))
		}
	}

	for _, l := range [][]string{p.Money, saidWords(p.Said)} {
		for _, s := range l {
			t.wrap(s)
		}
	}

	t.list("Skill against persistence", skillWords(r.Skill))
	t.list("Stops", countWords(r.Stops))
	t.list("Gauge silences", outageWords(r.Outages))
	t.list("Next year", r.Change)
	water, season, after := notify.CautionParts()
	t.line("")
	t.wrap(water + season + rulesText(r) + after)
	for _, a := range r.Sources {
		t.wrap(notify.Clean(a.Text))
	}
	if r.Seal != "" {
		t.wrap(sealWords(r.Seal))
	}
	return t.err
}

// sealWords say what the seal is good for.
func sealWords(seal string) string {
	return "Seal of all that was told so far: " + notify.ShortSeal(notify.Clean(seal)) + ". The mails carry it too; coldseam verify holds the record against it."
}

func rulesText(r Recap) string {
	var s []string
	for _, l := range notify.RuleLinks(r.ruled()) {
		s = append(s, l.Link+", "+l.Checked+".")
	}
	if len(s) == 0 {
		return notify.NoRules
	}
	return strings.Join(s, " ")
}

func saidWords(v *scoreView) []string {
	if v == nil {
		return nil
	}
	return v.Words
}

// cameTrue judges GO, TOSS-UP and STAY only.
func cameTrue(v RecapVerdict) string {
	switch {
	case v.Hidden:
		return "fewer than 3 anglers"
	case !v.Verdict.ShowsOdds():
		return "not judged"
	case v.Judged < judged:
		return "too few"
	}
	return tenthsOf(v.Good, v.Judged)
}

func judgedText(v RecapVerdict, n int) string {
	if v.Hidden || !v.Verdict.ShowsOdds() {
		return "-"
	}
	return strconv.Itoa(n)
}

func skillWords(ss []RecapSkill) []string {
	var out []string
	for _, s := range ss {
		word := "not shown to be better"
		if s.Lo > 0 {
			word = "better"
		} else if s.Hi < 0 {
			word = "worse"
		}
		out = append(out, fmt.Sprintf("%s, %d days ahead: %s (skill %s, interval %s to %s, %d mornings)",
			notify.Clean(s.Quantity), s.Lead, word, signed(s.Skill), signed(s.Lo), signed(s.Hi), s.N))
	}
	return out
}

func countWords(cs []RecapCount) []string {
	var out []string
	for _, c := range cs {
		unit := "mornings"
		if c.N == 1 {
			unit = "morning"
		}
		out = append(out, fmt.Sprintf("%s: %d %s", c.words(), c.N, unit))
	}
	return out
}

func (c RecapCount) words() string {
	if c.NoCall {
		return "no call: " + notify.Clean(c.What)
	}
	return notify.Clean(c.What)
}

func outageWords(os []RecapOutage) []string {
	var out []string
	for _, o := range os {
		out = append(out, fmt.Sprintf("%s: %s from %s UTC", notify.Clean(o.Gauge), notify.Age(o.For),
			o.From.UTC().Format("2 January 15:04")))
	}
	return out
}

// plain folds no-break spaces and dashes for terminals.
func plain(s string) string {
	return strings.NewReplacer("\u00a0", " ", "–", "-", "−", "-").Replace(s)
}

// textWriter keeps the first error.
type textWriter struct {
	w   io.Writer
	err error
}

func (t *textWriter) line(s string) {
	if t.err == nil {
		_, t.err = io.WriteString(t.w, strings.TrimRight(s, " ")+"\n")
	}
}

func (t *textWriter) head(s string) {
	t.line("")
	t.line(s)
	t.line(strings.Repeat("-", len([]rune(s))))
}

func (t *textWriter) list(head string, items []string) {
	if len(items) == 0 {
		return
	}
	t.head(head)
	for _, s := range items {
		t.wrap("- " + plain(notify.Clean(s)))
	}
}

func (t *textWriter) wrap(s string) {
	line := ""
	for _, w := range strings.Fields(plain(s)) {
		if line != "" && len([]rune(line))+1+len([]rune(w)) > 72 {
			t.line(line)
			line = w
			continue
		}
		line = strings.TrimSpace(line + " " + w)
	}
	t.line(line)
}
