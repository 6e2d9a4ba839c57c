package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
	"example.org/coldseam/notify"
)

// whyLines lists what a brief rests on, for `brief --why`: every input with its
// age, every rule that fired in the order of the decision, every limit with
// its source. Times are in loc.
func whyLines(b coldseam.Brief, t verdict.Table, loc *time.Location) []string {
	out := []string{fmt.Sprintf("%s %s, %s: %s", b.River, b.ReachName, b.Day, b.Verdict), "", "Inputs"}
	for _, i := range b.Inputs {
		out = append(out, "  "+inputLine(i, loc))
	}
	out = append(out, "", "Rules that fired")
	n := len(out)

	for _, list := range [][]coldseam.Reason{b.Stops, b.Reasons, b.Cautions} {
		for _, r := range list {
			out = append(out, fmt.Sprintf("  %s %s: %s (%s)",
				r.Kind, r.Code, notify.ReasonText(r, "", b.Zone), r.Source))
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
		s += ", " + i.At.In(loc).Format("2 Jan 15:04") + ", age " + whyAge(i.Age)
	}
	if i.Limit > 0 {
		s += ", limit " + whyAge(i.Limit)
	}
	if i.Safety {
		s += ", safety"
	}
	if i.Doubt.Code != "" {
		s += ", " + i.Doubt.Names["doubt"] + " since " + i.Doubt.At.In(loc).Format("2 Jan 15:04")
	}
	if note := notify.Plain(notify.WordsFor("", loc.String()).Notes(i.Note)); note != "" {
		s += ", " + note
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

// whyAge writes an age: "7 h", "40 min", "3 d".
func whyAge(d time.Duration) string {
	switch {
	case d >= 72*time.Hour:
		return fmt.Sprintf("%.0f d", d.Hours()/24)
	case d >= 100*time.Minute:
		if d%time.Hour == 0 || d > 10*time.Hour {
			return fmt.Sprintf("%.0f h", d.Hours())
		}
		return strconv.FormatFloat(math.Round(d.Hours()*10)/10, 'f', -1, 64) + " h"
	case d >= time.Hour && d%time.Hour == 0:
		return "1 h"
	}
	return fmt.Sprintf("%.0f min", d.Minutes())
}
