package forecast

import (
	"maps"
	"slices"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
)

// replay turns the brief of a past morning that nobody lived through into what
// it may honestly say: today's archive is not what was known then, and stops
// whose inputs were not kept cannot be judged. The word is NO CALL; beside it
// stands what the odds alone would have said.
func (w *work) replay(b *coldseam.Brief) {
	missing := slices.Clone(w.f.NotReplayed)
	for i, in := range b.Inputs {
		if slices.Contains(missing, in.Key) { // what was assumed is no input that was read
			b.Inputs[i].State, b.Inputs[i].At, b.Inputs[i].Age, b.Inputs[i].Note = verdict.StateMissing, time.Time{}, 0,
				nil
		}
		if in.Safety && in.State != "good" && in.State != "none" && !slices.Contains(missing, in.Key) {
			missing = append(missing, in.Key)
		}
	}

	why := coldseam.Reason{Code: "replay", Kind: verdict.KindMissing}
	if len(missing) > 0 {
		why.Names = map[string]string{"inputs": strings.Join(missing, ",")}
	}
	b.Replay, b.Verdict, b.OddsOK, b.Odds = true, coldseam.NoCall, false, 0 // the stops that were found stay
	b.Reasons = []coldseam.Reason{why}
	b.ReplayOdds = w.oddsAlone()
	for i := range b.Windows {
		b.Windows[i].OddsOK = false
	}
	for i := range b.Next {
		b.Next[i].OddsOK, b.Next[i].Verdict = false, coldseam.NoCall
	}
}

// alone keeps what the odds of the best window come to without any stop.
func (w *work) alone() {
	for _, c := range w.cands {
		if p := meanF(c.PGood); len(c.PGood) > 0 && (!w.out.aloneOK || p > w.out.aloneOdds) {
			w.out.aloneOdds, w.out.aloneOK = p, true
			w.out.aloneWord = w.odds.rank.Line(w.out.Decision.Cost, w.f.Table.Margin).Word(p)
		}
	}
}

// OddsAlone is what the odds of the best window would have said without any stop
// or cap; ok is false where there are none.
func (m Morning) OddsAlone() (odds float64, word coldseam.Verdict, ok bool) {
	return m.aloneOdds, m.aloneWord, m.aloneOK
}

// oddsAlone is the reason that says it.
func (w *work) oddsAlone() coldseam.Reason {
	r := w.odds.note
	r.Code, r.Names = "replay_no_odds", map[string]string{"rests_on": r.Code}
	odds, word, ok := w.out.OddsAlone()
	if !ok {
		return r
	}
	r.Values = maps.Clone(r.Values)
	if r.Values == nil {
		r.Values = map[string]float64{}
	}
	r.Code, r.Values["alone_in10"] = "replay_odds", odds
	if w.odds.rank.Only() {
		r.Code, r.Values = "replay_rank", map[string]float64{"third_of3": float64(w.odds.rank.Third(odds))}
	}
	r.Names["word"] = word.String()
	return r
}

func meanF(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(max(len(x), 1))
}
