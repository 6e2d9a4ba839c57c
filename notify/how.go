package notify

import (
	"cmp"
	"math"
	"strings"
	"unicode/utf8"

	"example.org/coldseam"
	"example.org/coldseam/notify/chart"
)

// How is an advice row in words.
type How struct {
	Line                          string // HOW: band, body, pace, pause, place
	Cadence, Leader, Colour, Bait string
	Others                        []string // other rows that fit
	Notes                         []string
}

// howWidth is the longest HOW line, in characters.
const howWidth = 60

// how words an advice row. A brief stored before holds the words itself.
func (f format) how(h coldseam.Advice) How {
	out := How{
		Line:    cmp.Or(f.either(h.Line, h.LineSI), f.howLine(h)),
		Cadence: f.cadence(f.either(h.Cadence, h.CadenceSI), h.AdviceWay),
		Leader:  cmp.Or(f.either(h.Leader, h.LeaderSI), f.leader(h.AdviceWay)),
		Colour:  keyed(keyWords, h.Colour),
		Bait:    keyed(keyWords, h.Bait),
	}
	if by := keyed(keyWords, h.ClaritySource); out.Colour != "" && by != "" {
		out.Colour += " (clarity: " + by + ")"
	}

	for _, a := range h.Alternatives {
		out.Others = append(out.Others, clean(a))
	}
	for _, w := range h.Others {
		out.Others = append(out.Others, clean(w.Action)+": "+f.cadence(w.Cadence, w)+"; "+clean(w.Hook)+", "+
			f.leader(w))
	}
	for _, n := range h.Notes {
		if s := f.words(n); s != "" {
			out.Notes = append(out.Notes, s)
		}
	}

	return out
}

// BandWord is the band of an advice row as the charts name it.
func BandWord(h coldseam.Advice) string { return clean(chart.BandWord(h.Band, h.Stage != "")) }

// howLine is the HOW line. What no longer fits is left off from the end.
func (f format) howLine(h coldseam.Advice) string {
	if h.Verb == "" {
		return ""
	}
	line := BandWord(h) + ": " + clean(h.Tail)
	parts := []string{clean(h.Verb)}
	if h.LiftM[1] > 0 {
		parts[0] += " " + f.lift(h.LiftM)
	}
	if mid := math.Floor((h.PauseS[0] + h.PauseS[1]) / 2); mid >= 1 {
		parts = append(parts, "hold "+trimmed(mid, 0)+" s")
	}

	if len(h.Where) > 0 {
		parts = append(parts, keyed(keyWords, h.Where[0]))
	}
	for _, p := range parts {
		if utf8.RuneCountInString(line)+2+utf8.RuneCountInString(p) > howWidth {
			break
		}
		line += ", " + p
	}

	return line
}

// cadence fills lift and pause into the row's words.
func (f format) cadence(words string, w coldseam.AdviceWay) string {
	return strings.NewReplacer("{lift}", f.lift(w.LiftM), "{pause}", between(w.PauseS, 1, .1)+" s").Replace(
		clean(words))
}

// lift is in steps of 5 cm: nobody lifts by the centimetre.
func (f format) lift(m [2]float64) string {
	if f.metric {
		return between(m, 100, 5) + " cm"
	}
	return between(m, 12/coldseam.MetrePerFoot, .1) + " in"
}

// leader writes a leader; metric adds kilograms to the trade's pounds of test.
func (f format) leader(w coldseam.AdviceWay) string {
	if w.LeaderLB[1] == 0 {
		return ""
	}
	lb := between(w.LeaderLB, 1, .1) + " lb"
	if f.metric {
		lb += " (" + between(w.LeaderLB, coldseam.KgPerOunce*16, .1) + " kg)"
	}
	return lb + " fluorocarbon, " + f.leaderLength(w.LeaderM)
}

func (f format) leaderLength(m [2]float64) string {
	if f.metric {
		return between(m, 1, .05) + " m"
	}
	return between(m, 1/coldseam.MetrePerFoot, .1) + " ft"
}

// between writes a range in another unit, in steps; two ends that read the same
// are one.
func between(r [2]float64, unit, step float64) string {
	a, b := trimmed(math.Round(r[0]*unit/step)*step, 2), trimmed(math.Round(r[1]*unit/step)*step, 2)
	if a == b {
		return a
	}
	return a + "-" + b
}
