package verdict

import (
	"fmt"
	"strings"
	"time"

	"example.org/coldseam"
)

// ThresholdValue is one row of the table as a club runs it.
type ThresholdValue struct {
	Threshold
	Value  float64
	Reason string // the admin's, for a changed value
}

// List returns every limit with its value, default, source and reason.
func (t Table) List() []ThresholdValue {
	rows := Thresholds()
	out := make([]ThresholdValue, len(rows))
	for i, r := range rows {
		out[i] = ThresholdValue{Threshold: r, Value: *r.at(&t), Reason: t.Reasons[r.Key]}
	}
	return out
}

// Why lists what a brief rests on, for `brief --why`: every input with its
// age, every rule that fired in the order of the decision, every limit with
// its source. Times are in loc.
func Why(b coldseam.Brief, t Table, loc *time.Location) []string {
	out := []string{fmt.Sprintf("%s %s, %s: %s", b.River, b.ReachName, b.Day, b.Verdict), "", "Inputs"}
	for _, i := range b.Inputs {
		out = append(out, "  "+inputLine(i, loc))
	}
	out = append(out, "", "Rules that fired")
	n := len(out)
	for _, list := range [][]coldseam.Reason{b.Stops, b.Reasons, b.Cautions} {
		for _, r := range list {
			out = append(out, fmt.Sprintf("  %s %s: %s (%s)", r.Kind, r.Code, r.Text, r.Source))
		}
	}
	if len(out) == n {
		out = append(out, "  none")
	}
	out = append(out, "", "Windows")
	for i, w := range b.Windows {
		out = append(out, "  "+windowLine(w, i == b.WindowI, loc))
	}
	out = append(out, "", "Limits")
	for _, r := range t.List() {
		line := fmt.Sprintf("  %s = %s: %s %s", r.Key, withUnit(r.Value, r.Unit), r.Name, r.Source)
		if r.Value != r.Default {
			line += fmt.Sprintf("; default %g", r.Default)
		}
		if r.Reason != "" {
			line += "; reason: " + r.Reason
		}
		out = append(out, line)
	}
	return out
}

func inputLine(i coldseam.Input, loc *time.Location) string {
	s := i.Key + ": " + i.State
	if !i.At.IsZero() {
		s += ", " + i.At.In(loc).Format("2 Jan 15:04") + ", age " + ageWords(i.Age)
	}
	if i.Limit > 0 {
		s += ", limit " + ageWords(i.Limit)
	}
	if i.Safety {
		s += ", safety"
	}
	if i.Note != "" {
		s += ", " + i.Note
	}
	return s
}

func windowLine(w coldseam.Window, best bool, loc *time.Location) string {
	s := w.Start.In(loc).Format("15:04") + "-" + w.End.In(loc).Format("15:04")
	switch {
	case len(w.Stops) > 0:
		var c []string
		for _, r := range w.Stops {
			c = append(c, r.Code)
		}
		s += ": stopped by " + strings.Join(c, ", ")
	case w.OddsOK:
		s += fmt.Sprintf(": odds %.3f, p10-p90 %.2f-%.2f", w.Odds, w.Spread[0], w.Spread[1])
	default:
		s += ": no odds"
	}
	for _, r := range w.Caps {
		s += ", held at TOSS-UP by " + r.Code
	}
	if best {
		s += ", the best window"
	}
	return s
}

// withUnit writes a limit; plain shares and switches have no unit.
func withUnit(v float64, unit string) string {
	if unit == "" || unit == "1" {
		return fmt.Sprintf("%g", v)
	}
	return fmt.Sprintf("%g %s", v, unit)
}

// ThresholdsText is the table of all limits as Markdown, kept beside the code
// as thresholds.md.
func ThresholdsText() string {
	var b strings.Builder
	b.WriteString("# Limits of the morning decision\n\nEvery limit is a row a club may change: stricter freely, looser only with a written reason. ")
	b.WriteString("`coldseam brief --why` prints them with the values in use.\n\n| key | what | default | stricter | allowed | source |\n|---|---|---|---|---|---|\n")
	for _, r := range Thresholds() {
		way := map[int]string{-1: "lower", 1: "higher"}[r.Tighter]
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %g to %g | %s |\n", r.Key, r.Name, withUnit(r.Default, r.Unit), way, r.Min, r.Max, r.Source)
	}
	return b.String()
}
