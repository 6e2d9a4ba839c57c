package web

import (
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"

	"example.org/coldseam"
)

// Scorecard is what was said of one reach and what came, over resolved
// mornings frozen as sent.
type Scorecard struct {
	Since    coldseam.Date
	Bins     []ScoreBin
	Mornings int     // resolved, all bins
	Brier    float64 // of the issued odds
	Climate  float64 // Brier of the date alone
	Gain     [2]float64
	GainOK   bool // the interval of the gain could be computed
}

// ScoreBin is one class of issued odds, in tenths: From 5 To 6 holds "5 or 6 in
// 10".
type ScoreBin struct {
	From, To       int
	Mornings, Good int
	Hidden         bool // fewer than three anglers, or one could tell by subtraction
}

// judged is the least number of mornings of a class that earns a share
// [proposal]; with fewer the table prints that they are too few.
const judged = 10

// claimed is the least number of resolved mornings for a word on skill
// [proposal].
const claimed = 30

type scoreView struct {
	Since string
	Rows  []scoreRow
	Words []string
}

type scoreRow struct {
	Said, Came     string
	Mornings, Good int
	Hidden         bool
}

// addScore shows what we said and what came. A scorecard that cannot be read is
// no reason to withhold the call: it is logged and left out.
func (s *site) addScore(r *http.Request, b coldseam.Brief, p *riverPage) {
	sc, err := s.Store.Scorecard(r.Context(), b.Reach)
	if err != nil {
		s.Log.Warn("scorecard left out", "reach", string(b.Reach), "err", err.Error())
		return
	}
	if sc.Mornings > 0 {
		p.Score = scoreOf(sc)
	}
}

func scoreOf(sc Scorecard) *scoreView {
	v := &scoreView{}
	if !sc.Since.IsZero() {
		v.Since = sc.Since.UTC().Format("2 January 2006")
	}
	var best *ScoreBin

	for i, b := range sc.Bins {
		row := scoreRow{
			Said:     strconv.Itoa(b.From) + "–" + strconv.Itoa(b.To) + "\u00a0in\u00a010",
			Mornings: b.Mornings,
			Good:     b.Good,
			Came:     "too few",
			Hidden:   b.Hidden,
		}
		if b.From == b.To {
			row.Said = strconv.Itoa(b.From) + "\u00a0in\u00a010"
		}
		if b.Mornings >= judged {
			row.Came = tenthsOf(b.Good, b.Mornings)
			if best == nil || b.Mornings > best.Mornings {
				best = &sc.Bins[i]
			}
		}
		v.Rows = append(v.Rows, row)
	}

	if best != nil {
		said := strconv.Itoa(best.From) + " to " + strconv.Itoa(best.To)
		if best.From == best.To {
			said = strconv.Itoa(best.From)
		}
		v.Words = append(v.Words, fmt.Sprintf("Of %d mornings we said %s in 10, %d came true.", best.Mornings, said,
			best.Good))
	}

	switch {
	case sc.Mornings < claimed:
		v.Words = append(v.Words,
			fmt.Sprintf("%d mornings are too few to say whether the odds beat the usual share of good mornings.",
				sc.Mornings))
	case !finite(sc.Brier) || !finite(sc.Climate):
		v.Words = append(v.Words, fmt.Sprintf("%d mornings, not scored.", sc.Mornings))
	case !sc.GainOK || !finite(sc.Gain[0]) || !finite(sc.Gain[1]):
		v.Words = append(v.Words,
			fmt.Sprintf("Brier score %.2f, against %.2f for always saying the usual share of good mornings; %d mornings, smaller is better.", sc.Brier, sc.Climate, sc.Mornings))
	case sc.Gain[0] > 0:
		v.Words = append(v.Words,
			fmt.Sprintf("Better than always saying the usual share of good mornings: Brier score %.2f against %.2f on %d mornings, the gain likely %.2f to %.2f.", sc.Brier, sc.Climate, sc.Mornings, sc.Gain[0], sc.Gain[1]))
	default:
		v.Words = append(v.Words,
			fmt.Sprintf("Not shown to be better than always saying the usual share of good mornings: Brier score %.2f against %.2f on %d mornings, the gain likely %s to %.2f.", sc.Brier, sc.Climate, sc.Mornings, signed(sc.Gain[0]), sc.Gain[1]))
	}

	return v
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

func signed(x float64) string {
	if !finite(x) {
		return "not known"
	}
	return strings.Replace(fmt.Sprintf("%.2f", x), "-", "−", 1)
}

// tenthsOf writes a share as tenths with one decimal: "6.4 in 10".
func tenthsOf(n, of int) string {
	if of == 0 {
		return "too few"
	}
	return fmt.Sprintf("%.1f\u00a0in\u00a010", 10*float64(n)/float64(of))
}
