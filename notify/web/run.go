package web

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// runView is the run clock.
type runView struct {
	Species string
	SVG     template.HTML
	Stages  []stage
	Notes   []string
	Row     string // where the species row comes from, of the calibrated one too
}

type stage struct {
	Name, Odds string
	On         bool
}

// stageOrder are the stages of the run in their order.
func stageOrder() []string {
	return []string{"not yet", "staging", "moving", "spawning", "dropping back", "done"}
}

// runOf is nil outside the run's season.
func runOf(b coldseam.Brief, w notify.Words) *runView {
	r := b.Run
	if !r.Active {
		return nil
	}
	v := &runView{Species: notify.Clean(r.Species), SVG: clockSVG(r), Row: cmp.Or(notify.RowMark(r), "row as shipped")}
	for _, n := range stageOrder() {
		s := stage{Name: n, Odds: "·", On: n == r.Stage}
		if p, ok := r.StageProbs[n]; ok && p >= .05 {
			s.Odds = notify.Odds(p)
		} else if s.On {
			s.Odds = notify.Odds(r.StageP)
		}
		v.Stages = append(v.Stages, s)
	}

	if holes := w.Maybe(r.Holes); holes != "" {
		v.Notes = append(v.Notes, sentence(holes))
	}
	if r.PRefill >= .05 {
		v.Notes = append(v.Notes, "Refill after a gap within three days: "+notify.Odds(r.PRefill)+".")
	}
	v.Notes = append(v.Notes, "A wave, twice the daily fish of the week before: today "+notify.Odds(r.PWave)+
		"; within three days "+
		notify.Odds(r.PWave3d)+". "+waveWorth(r.Counted))

	if len(r.MostLike) > 0 {
		var ys []string
		for _, y := range r.MostLike {
			ys = append(ys, strconv.Itoa(y))
		}
		v.Notes = append(v.Notes, "Most like spring "+strings.Join(ys, ", ")+".")
	}

	if !r.HatchFrom.IsZero() {
		v.Notes = append(v.Notes, "Eggs laid now hatch about "+dayShort(r.HatchFrom)+" to "+dayShort(r.HatchTo)+
			". Stay off the gravel.")
	}
	if note := w.Notes(r.Note); note != "" {
		v.Notes = append(v.Notes, sentence(note))
	}
	return v
}

// waveMark is the mark of a species row after its wave odds.
func waveMark(r coldseam.RunState) string {
	if m := notify.RowMark(r); m != "" {
		return ", " + m
	}
	return ""
}

// waveWorth says what the odds of a wave rest on.
func waveWorth(c coldseam.FishCounted) string {
	if c.Day.IsZero() {
		return "These odds are worth little beyond what was caught yesterday: please log your trips."
	}
	from := ""
	if c.Seasons > 0 {
		from = fmt.Sprintf(" %d seasons of it say how far to trust that.", c.Seasons)
	}
	return fmt.Sprintf("Today's follow the fish counter: %.0f on %s, %.0f a day in the week to it.%s", c.Fish,
		dayShort(c.Day), c.WeekMean, from)
}

// clockSVG is two bars from 0 to 100 %: arrived and spawned, the likely range
// filled, the middle a tick. Positions across are percent: the text keeps its
// size at any width.
func clockSVG(r coldseam.RunState) template.HTML {
	var w strings.Builder
	say := func(q [3]float64) string {
		return fmt.Sprintf("%d percent, likely %d to %d", pct(q[1]), pct(q[0]), pct(q[2]))
	}
	fmt.Fprintf(&w, `<svg class="clock" height="112" role="img" aria-labelledby="rc-t rc-d"><title id="rc-t">Share of the run</title><desc id="rc-d">Arrived %s; spawned %s</desc>`, say(r.Arrived), say(r.Spawned))
	bar := func(y int, name, class string, q [3]float64) {
		fmt.Fprintf(&w, `<text x="0" y="%d" class="b">%s %d %%</text><text x="100%%" y="%d" text-anchor="end">likely %d–%d %%</text>`, y, name, pct(q[1]), y, pct(q[0]), pct(q[2]))
		fmt.Fprintf(&w, `<rect class="bed" x="0" y="%d" width="100%%" height="18"/><rect class="%s" x="%d%%" y="%d" width="%d%%" height="18"/>`, y+7, class, pct(q[0]), y+7, max(pct(q[2])-pct(q[0]), 1))
		fmt.Fprintf(&w, `<line class="md" x1="%d%%" x2="%d%%" y1="%d" y2="%d"/>`, pct(q[1]), pct(q[1]), y+4, y+28)
	}
	bar(13, "Arrived", "a80", r.Arrived)
	bar(63, "Spawned", "s80", r.Spawned)

	for _, x := range []int{0, 25, 50, 75, 100} {
		anchor, label := "middle", strconv.Itoa(x)
		switch x {
		case 0:
			anchor = "start"
		case 100:
			anchor, label = "end", "100 %"
		}
		fmt.Fprintf(&w, `<line class="tk" x1="%d%%" x2="%d%%" y1="88" y2="92"/><text x="%d%%" y="107" text-anchor="%s">%s</text>`, x, x, x, anchor, label)
	}

	w.WriteString(`</svg>`)
	return template.HTML(w.String())
}

// pct is a share as whole percent; what is not known counts as none.
func pct(x float64) int {
	if math.IsNaN(x) {
		return 0
	}
	return int(math.Round(100 * min(max(x, 0), 1)))
}
