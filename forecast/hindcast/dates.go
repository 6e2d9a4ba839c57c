package hindcast

import (
	"math"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/score"
)

// The look-ahead of crossing scores, days [proposal]: a weekend, a week and what the
// daily stack reaches.
var (
	aheadDays  = []int{3, 7, 10}
	withinDays = []int{3, 7, 10}
)

// datesMethods are scored by their paths' crossing dates.
var datesMethods = []string{Coldseam, Dressed, AnomalyAR, ClimateDay}

// edge gathers one direction.
type edge struct {
	up     bool
	dates  map[int]int // year -> index of the observed crossing
	abs    map[string][]float64
	crps   map[string][]float64
	n      map[string][]int
	pairs  map[string][][]score.Pair
	issues int
}

// dateScores gathers crossing dates and their Brier scores.
type dateScores struct {
	theta float64
	run   []float64
	edges [2]*edge // spring, autumn
}

func newDateScores(h *replay) *dateScores {
	s := &dateScores{theta: h.o.EdgeC, run: ensemble.Bridge(h.obs, 5)}
	for k := range s.edges {
		e := &edge{
			up:    k == 0,
			abs:   map[string][]float64{},
			crps:  map[string][]float64{},
			n:     map[string][]int{},
			pairs: map[string][][]score.Pair{},
		}
		for _, m := range datesMethods {
			e.abs[m], e.crps[m] = make([]float64, len(aheadDays)), make([]float64, len(aheadDays))
			e.pairs[m], e.n[m] = make([][]score.Pair, len(withinDays)), make([]int, len(aheadDays))
		}
		e.dates = ObservedCrossings(h.d.First, h.obs, h.o.EdgeC, e.up)
		s.edges[k] = e
	}
	return s
}

// ObservedCrossings finds the crossing of theta in each year of x, as index by
// year. Spring: the first of five days above theta after the coldest ten-day
// mean before mid-March, to 31 July; autumn: the first of five days at or below
// it after the warmest ten-day mean from July on. Gaps up to five days are
// bridged; a year with less than 90 % of the months, or that starts within 0.3
// degC of the edge, has none [proposal].
func ObservedCrossings(first coldseam.Date, x []float64, theta float64, up bool) map[int]int {
	out := map[int]int{}
	y := ensemble.Bridge(x, 5)
	last := first.Add(len(x) - 1)

	for year := first.Year; year <= last.Year; year++ {
		a, b, lim := day(first, year, 1, 1), day(first, year, 7, 31), day(first, year, 3, 15)
		if !up {
			a, b, lim = day(first, year, 7, 1), day(first, year, 12, 31), day(first, year, 12, 31)
		}
		if observed(x, a, b) < .9 {
			continue
		}

		s := extreme(y, a, lim, up)
		if s < 0 {
			continue
		}
		m := meanOf(y, s, s+4)
		if up && !(m < theta-.3) || !up && !(m > theta+.3) {
			continue
		}

		for i := s; i <= b; i++ {
			if runFrom(y, i, theta, up) {
				out[year] = i
				break
			}
		}
	}

	return out
}

func day(first coldseam.Date, y, m, d int) int {
	return coldseam.Date{Year: y, Month: time.Month(m), Day: d}.Sub(first)
}

func observed(x []float64, a, b int) float64 {
	n := 0
	for i := a; i <= b; i++ {
		if v := coldseam.At(x, i); !math.IsNaN(v) {
			n++
		}
	}
	return float64(n) / float64(b-a+1)
}

func meanOf(x []float64, a, b int) float64 {
	s := 0.0
	for i := a; i <= b; i++ {
		s += coldseam.At(x, i)
	}
	return s / float64(b-a+1)
}

// extreme is the start of the coldest (up) or warmest ten-day mean that ends by lim.
func extreme(x []float64, a, lim int, up bool) int {
	best, at := math.Inf(1), -1
	for i := a; i+9 <= lim; i++ {
		m := meanOf(x, i, i+9)
		if !up {
			m = -m
		}
		if m < best {
			best, at = m, i
		}
	}
	return at
}

func runFrom(x []float64, i int, theta float64, up bool) bool {
	for k := range ensemble.RunDays {
		if v := coldseam.At(x, i+k); math.IsNaN(v) || !ensemble.Beyond(v, theta, up) {
			return false
		}
	}
	return true
}

// issue scores the dates of the issue at index t, if it is one.
func (s *dateScores) issue(h *replay, f fold, model forecaster, ref *reference, t int) error {
	if v := h.obs[t]; math.IsNaN(v) || !ensemble.Complete(h.obs, t-1, t) {
		return nil
	}

	for _, e := range s.edges {
		ahead := e.ahead(h.cal.Year[t], t)
		brier := (t-max(h.from, 1))%h.o.Step == 0 && s.brierDay(h, f, e, t)
		if ahead < 0 && !brier {
			continue
		}
		r, err := model.Forecast(h.ask(t, ensemble.CrossingHorizon))
		if err != nil {
			return err
		}

		paths := map[string][][]float64{Coldseam: r.Members}
		for k, m := range []string{Dressed, AnomalyAR} {
			paths[m] = ref.paths(m, t, ensemble.CrossingHorizon, h.o.Members,
				ensemble.Stream(h.o.Seed, h.d.Day(t), 200+uint64(k)))
			if len(paths[m]) == 0 {
				return nil
			}
		}

		for _, m := range datesMethods {
			days := passages(paths[m], s.theta, e.up, ensemble.Since(h.obs, t, s.theta, e.up))
			if m == ClimateDay {
				days = e.calendar(h, f, t)
			}
			if ahead >= 0 && len(days) > 0 { // the first years have no climatological date
				e.date(m, days, ahead)
			}
			if brier {
				s.odds(e, m, s.chances(h, f, e, m, days, t), t)
			}
		}

		if brier {
			e.issues++
		}
	}

	return nil
}

// calendar are the crossing dates of the training years as days from t: the
// climatological date.
func (e *edge) calendar(h *replay, f fold, t int) []float64 {
	var out []float64
	for y := h.d.First.Year; y <= h.d.First.Year+len(h.obs)/365+1; y++ {
		if i, ok := e.dates[y]; ok && !f.years[y] && f.training.Allows(h.d.Day(i)) {
			out = append(out, float64(h.cal.Doy[i]-h.cal.Doy[t]))
		}
	}
	return out
}

// chances are the probabilities of a run that begins within each of
// withinDays: of the members, or for the climatology the frequency among the
// training days of the season that were before the edge. Without any of them the
// probabilities are not known: nil.
func (s *dateScores) chances(h *replay, f fold, e *edge, m string, days []float64, t int) []float64 {
	out := make([]float64, len(withinDays))
	if m != ClimateDay {
		for k, w := range withinDays {
			for _, d := range days {
				if d <= float64(w) {
					out[k] += 1 / float64(len(days))
				}
			}
		}
		return out
	}

	n := 0.0
	for i := range s.run {
		if ensemble.DoyGap(h.cal.Doy[i], h.cal.Doy[t]) > ensemble.TraceWindow || f.years[h.cal.Year[i]] ||
			!f.training.Allows(h.d.Day(i)) ||
			ensemble.Beyond(s.run[i], s.theta, e.up) || !ensemble.Complete(s.run, i, i+ensemble.DefaultHorizon+ensemble.RunDays-1) {
			continue
		}
		n++
		for k, w := range withinDays {
			if s.begins(i, w, e.up) {
				out[k]++
			}
		}
	}

	if n == 0 {
		return nil
	}
	for k := range out {
		out[k] /= n
	}
	return out
}

// begins reports whether a run begins within w days after index t.
func (s *dateScores) begins(t, w int, up bool) bool {
	for d := 1; d <= w; d++ {
		if runFrom(s.run, t+d, s.theta, up) {
			return true
		}
	}
	return false
}

// passages is the crossing day of each path, one beyond the horizon for none.
func passages(paths [][]float64, theta float64, up bool, before int) []float64 {
	out := make([]float64, len(paths))
	for i, p := range paths {
		d := ensemble.Passed(p, theta, up, before)
		if d < 0 {
			d = len(p) + 1
		}
		out[i] = float64(d)
	}
	return out
}

// ahead is the position in aheadDays of an issue before the observed date, -1
// for none.
func (e *edge) ahead(year, t int) int {
	c, ok := e.dates[year]
	if !ok {
		return -1
	}
	for k, a := range aheadDays {
		if t == c-a {
			return k
		}
	}
	return -1
}

func (e *edge) date(m string, days []float64, k int) {
	y := float64(aheadDays[k])
	e.n[m][k]++
	e.abs[m][k] += math.Abs(coldseam.Quantile(days, .5) - y)
	e.crps[m][k] += score.FairCRPS(days, y)
}

// brierDay reports whether the unconditional score counts day t: the season,
// the river before the edge, the next fifteen days observed and in the test.
func (s *dateScores) brierDay(h *replay, f fold, e *edge, t int) bool {
	m := h.d.Day(t).Month
	if e.up && (m < time.February || m > time.June || h.obs[t] >= s.theta) {
		return false
	}
	if !e.up && (m < time.August || h.obs[t] <= s.theta) {
		return false
	}
	end := t + ensemble.DefaultHorizon + ensemble.RunDays - 1
	return ensemble.Complete(h.obs, t-1, end) && f.years[h.cal.Year[end]] &&
		(h.o.Air != Perfect || h.airKnown(t) >= minAirKnown)
}

// odds keeps the probabilities of a method beside what came; those not known are
// left out.
func (s *dateScores) odds(e *edge, m string, p []float64, t int) {
	if p == nil {
		return
	}
	for k, w := range withinDays {
		e.pairs[m][k] = append(e.pairs[m][k], score.Pair{P: min(p[k], 1), Hit: s.begins(t, w, e.up)})
	}
}

func (s *dateScores) report(r *Report) {
	var c [2]*CrossingScore
	var b [2]*BrierScore
	for k, e := range s.edges {
		c[k], b[k] = e.crossing(s.theta), e.brier()
	}
	r.Crossing, r.Brier = c[0], b[0]
	r.Autumn = &AutumnScore{Crossing: c[1], Brier: b[1]}
}

func (e *edge) crossing(theta float64) *CrossingScore {
	c := &CrossingScore{
		ThresholdC: theta,
		AheadDays:  aheadDays,
		N:          e.n[Coldseam],
		NBy:        e.n,
		MAEBy:      map[string]Scores{},
		CRPSBy:     map[string]Scores{},
	}
	for _, m := range datesMethods {
		mae, crps := make([]float64, len(aheadDays)), make([]float64, len(aheadDays))
		for k, n := range e.n[m] {
			mae[k], crps[k] = round(e.abs[m][k]/float64(n)), round(e.crps[m][k]/float64(n))
		}
		c.MAEBy[m], c.CRPSBy[m] = mae, crps
	}
	c.MAE, c.CRPS = c.MAEBy[Coldseam], c.CRPSBy[Coldseam]
	return c
}

// brierOf is NaN where nothing was judged: 0 would be the best there is.
func brierOf(p []score.Pair) float64 {
	if len(p) == 0 {
		return math.NaN()
	}
	return round(score.Brier(p))
}

func (e *edge) brier() *BrierScore {
	b := &BrierScore{WithinDays: withinDays, N: e.issues, NClimatology: len(e.pairs[ClimateDay][0])}
	for k := range withinDays {
		hits := 0.0
		for _, p := range e.pairs[Coldseam][k] {
			if p.Hit {
				hits++
			}
		}
		b.BaseRate = append(b.BaseRate, round(hits/float64(e.issues)))
		b.Coldseam = append(b.Coldseam, brierOf(e.pairs[Coldseam][k]))
		b.Dressed = append(b.Dressed, brierOf(e.pairs[Dressed][k]))
		b.AnomalyAR = append(b.AnomalyAR, brierOf(e.pairs[AnomalyAR][k]))
		b.Climatology = append(b.Climatology, brierOf(e.pairs[ClimateDay][k]))
		b.Reliability = append(b.Reliability, score.Reliability(e.pairs[Coldseam][k], 10))
	}
	return b
}
