package forecast

import (
	"example.org/coldseam/forecast/verdict"
)

// good is the odds of a good morning of every trajectory in one window.
func (w *work) good(c verdict.Candidate, lead int) []float64 {
	hold := 1.0
	if c.HoldP != nil {
		hold = *c.HoldP
	}
	var out []float64
	for _, n := range w.out.Run.Index {
		if lead < 0 || lead >= len(n) {
			return nil
		}
		out = append(out, quartileOdds(n[lead])*hold)
	}
	return out
}

// quartileOdds are the odds of a good morning before any trip is logged, by
// the quarter of a usual season that the fishable index lies in [proposal;
// quartiles: reference calculation over 63 modelled lake springs].
func quartileOdds(n float64) float64 {
	switch {
	case n < .214:
		return .20
	case n < .360:
		return .35
	case n < .454:
		return .50
	}
	return .60
}
