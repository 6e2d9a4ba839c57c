package recap

import (
	"fmt"
	"strings"

	"example.org/coldseam"
)

// Limits for advice on the next season [proposal].
const (
	adviseLogs     = 4   // weight logs below which a spot is not calibrated
	adviseMornings = 10  // judged mornings before the odds are held against the outcome
	adviseOff      = .15 // odds told against share that came
	adviseStops    = 1. / 3
)

// change lists what to do before the next season, most useful first.
func (m *recapMaker) change() error {
	var out []string
	out = append(out, m.changeCalls()...)
	out = append(out, m.changeStops()...)
	out = append(out, m.changeWeights()...)
	rules, err := m.changeRules()
	if err != nil {
		return err
	}
	out = append(out, rules...)
	m.r.Change = append(out, m.r.Change...)
	return nil
}

// changeCalls holds odds against outcome, and asks for the log.
func (m *recapMaker) changeCalls() []string {
	var out []string
	for _, b := range m.r.Said {
		if b.Mornings < adviseMornings {
			continue
		}
		mid, came := float64(b.From+b.To)/20, float64(b.Good)/float64(b.Mornings)
		switch {
		case came-mid > adviseOff:
			out = append(out, fmt.Sprintf(
				"Mornings told %d to %d in 10 were good %d times of %d: the odds are too low there.", b.From, b.To,
				b.Good, b.Mornings))
		case mid-came > adviseOff:
			out = append(out, fmt.Sprintf(
				"Mornings told %d to %d in 10 were good only %d times of %d: the odds are too high there.", b.From,
				b.To, b.Good, b.Mornings))
		}
	}

	if x := m.r.Money; x.Misses > x.RightStay && x.Misses+x.RightStay >= adviseMornings {
		out = append(out, "STAY was wrong more often than right: lower odds.cost, or look why.")
	}
	fished, told := 0, 0
	for _, d := range m.days {
		if d.Verdict.ShowsOdds() {
			told++
			if d.Known {
				fished++
			}
		}
	}

	if told >= adviseMornings && 2*fished < told {
		out = append(out, fmt.Sprintf(
			"%d of %d mornings with odds have a logged trip. Ask for logs, zeros too: the rest teach nothing.", fished,
			told))
	}
	return out
}

// changeStops names what stopped or silenced the mornings most.
func (m *recapMaker) changeStops() []string {
	var out []string
	mornings := 0
	for _, v := range m.r.Verdicts {
		mornings += v.Mornings
	}
	for _, s := range m.r.Stops {
		switch {
		case s.NoCall:
			out = append(out, fmt.Sprintf("%s had no call for this: %s.", mornings1(s.N), s.What))
		case s.Rule == "max_flow" && float64(s.N) > adviseStops*float64(mornings):
			out = append(out, fmt.Sprintf(
				"The flow limit stopped %d of %d mornings. Look at the water at that flow and confirm the limit.", s.N,
				mornings))
		}
	}
	return out
}

func mornings1(n int) string {
	if n == 1 {
		return "1 morning"
	}
	return fmt.Sprintf("%d mornings", n)
}

// changeWeights asks for soundings and for the outcome that is missing, and
// names a weight that did not hold.
func (m *recapMaker) changeWeights() []string {
	var out, oneSided []string

	for _, r := range m.reaches {
		for _, s := range r.Spots {
			where := s.Name
			if m.reach == "" {
				where += " (" + r.River + ")"
			}
			if s.DepthRefM == nil {
				out = append(out, fmt.Sprintf("Sound the %s: it had no weight all season.", where))
				continue
			}

			held, lifted, heavier := 0, 0, false
			for _, c := range m.held {
				if c.Reach != string(r.ID) || c.Spot != s.ID {
					continue
				}
				h := int(c.Share*float64(c.Logs) + .5)
				held, lifted = held+h, lifted+c.Logs-h
				if c.Logs >= adviseLogs && 2*h < c.Logs {
					heavier = true
					out = append(out, fmt.Sprintf("At the %s, %s oz held %d of %d times: go heavier there.", where,
						coldseam.OzName(c.Oz), h, c.Logs))
				}
			}

			if n := held + lifted; n > 0 && !heavier && (n < adviseLogs || held == 0 || lifted == 0) {
				oneSided = append(oneSided, where)
			}
		}
	}

	if len(oneSided) > 0 {
		out = append(out, "Log what held and what lifted, one alone does not calibrate a spot: "+
			strings.Join(oneSided, "; ")+".")
	}
	return out
}

// changeRules lists the rules whose check runs out before the next season.
func (m *recapMaker) changeRules() ([]string, error) {
	n, err := m.DB.RulesToCheck(m.ctx, m.reach, m.r.To.Add(365))
	if err != nil || n == 0 {
		return nil, err
	}
	what := "1 local rule runs out"
	if n > 1 {
		what = fmt.Sprintf("%d local rules run out", n)
	}
	return []string{"Check the rules before the first morning: " + what +
		" by then, and without a check there is no call."}, nil
}
