package forecast

import (
	"math"

	"example.org/coldseam/forecast/verdict"
)

// good is the odds of a good morning of every trajectory in one window, from
// the run while there is one, else from the band and flow class of the
// members. factor is the window's own, see verdict.WindowFactors. A lead
// outside the forecast gives none.
func (w *work) good(c verdict.Candidate, lead int, factor float64) []float64 {
	fs := verdict.Factors{Window: factor}
	if c.HoldP != nil {
		fs.Hold, fs.HoldOK = *c.HoldP, true
	}
	if !w.out.Run.State.Active {
		return w.seasonOdds(c, fs)
	}
	index := make([]float64, 0, len(w.out.Run.Index))
	for _, n := range w.out.Run.Index {
		if lead < 0 || lead >= len(n) {
			return nil
		}
		index = append(index, n[lead])
	}
	p, note := verdict.GoodOdds(index, w.catch, fs)
	w.oddsNote = note
	return p
}

// seasonOdds are the odds where there is no run: by band and flow class.
func (w *work) seasonOdds(c verdict.Candidate, fs verdict.Factors) []float64 {
	if len(c.WaterC) == 0 {
		return nil
	}
	pct := make([]float64, len(c.WaterC))
	for i := range pct {
		pct[i] = math.NaN()
		if i < len(c.FlowM3S) && w.enoughYears() {
			pct[i] = w.climate.Pct(c.FlowM3S[i])
		}
	}
	p, note := w.f.Season.Good(w.f.Bands, c.WaterC, pct, w.f.SeasonLog, fs)
	w.oddsNote = note
	return p
}
