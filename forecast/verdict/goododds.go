package verdict

import (
	"math"
	"slices"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// DefaultTarget is a good morning's rate in fish a rod hour until the club has
// logged enough of its own [proposal].
const DefaultTarget = 0.5

// markMornings are the logged mornings that a club's own mark of a good morning
// rests on at least, and goodQuantile what it is of their rates [proposal].
const (
	markMornings = 10
	goodQuantile = .6
)

// LogMorning is what a reach gave on one logged morning, all trips together: five
// anglers on one morning are one.
type LogMorning struct {
	Day   coldseam.Date
	Fish  float64
	Hours float64 // rod hours
	Trips int
}

// LogMornings joins the trips of each morning, oldest first, and counts who logged
// them. A trip without a name counts as one more angler with others of its kind.
func LogMornings(trips []coldseam.Trip) (out []LogMorning, anglers int) {
	at, who := map[coldseam.Date]int{}, map[string]bool{}
	for _, t := range trips {
		h := LineHours(t)
		if t.WentNot || !(h > 0) {
			continue
		}
		who[t.Angler] = true
		i, ok := at[t.Date]
		if !ok {
			i = len(out)
			at[t.Date] = i
			out = append(out, LogMorning{Day: t.Date})
		}
		out[i].Fish, out[i].Hours, out[i].Trips = out[i].Fish+float64(t.Fish), out[i].Hours+h, out[i].Trips+1
	}
	slices.SortFunc(out, func(a, b LogMorning) int { return a.Day.UTC().Compare(b.Day.UTC()) })
	return out, len(who)
}

// Good reports whether the morning reached a rate, with a fish a trip at least.
func (m LogMorning) Good(rate float64) bool {
	return m.Fish >= rate*m.Hours-1e-9 && m.Fish >= float64(m.Trips)
}

// GoodRate is the club's mark of a good morning in fish a rod hour: the 60th
// percentile of its mornings before the season that began on season, so that it
// stands still while the season is judged. In its first season it is that of the
// first ten mornings.
func GoodRate(mornings []LogMorning, season coldseam.Date) (rate float64, ok bool) {
	n := 0
	for n < len(mornings) && mornings[n].Day.Before(season) {
		n++
	}
	if n = max(n, markMornings); n > len(mornings) {
		return 0, false
	}
	rates := make([]float64, n)
	for i, m := range mornings[:n] {
		rates[i] = m.Fish / m.Hours
	}
	return coldseam.Quantile(rates, goodQuantile), true
}

// TargetOf is the mark that mornings of a season are held to on a reach: the
// admin's, else the club's own, else the default.
func TargetOf(r coldseam.Reach, mornings []LogMorning, season coldseam.Date) float64 {
	if r.TargetRate > 0 {
		return r.TargetRate
	}
	if rate, ok := GoodRate(mornings, season); ok {
		return rate
	}
	return DefaultTarget
}

// SeasonOf is the first day of the season that a day belongs to: 1 January, south
// of the equator 1 July.
func SeasonOf(day coldseam.Date, lat float64) coldseam.Date {
	first := coldseam.Date{Year: day.Year, Month: 1, Day: 1}
	if lat < 0 {
		first.Month = 7
		if day.Before(first) {
			first.Year--
		}
	}
	return first
}

// DailyRates are the fish a line hour of the days fished.
func DailyRates(trips []coldseam.Trip) map[coldseam.Date]float64 {
	fish, effort := map[coldseam.Date]float64{}, map[coldseam.Date]float64{}
	for _, t := range trips {
		if t.WentNot || t.Hours <= 0 {
			continue
		}
		fish[t.Date] += float64(t.Fish)
		effort[t.Date] += LineHours(t)
	}
	for d, h := range effort {
		fish[d] /= h
	}
	return fish
}

// LineHours is the effort of a trip. A line without hours counts none; an
// unstated number of lines is one an angler, unstated anglers are one.
func LineHours(t coldseam.Trip) float64 {
	lines := t.Lines
	if lines <= 0 {
		lines = max(t.Anglers, 1)
	}
	return t.Hours * float64(lines)
}

// Logged is a morning of the log as the odds learn from it.
type Logged struct {
	S     float64
	Phase Phase
	Good  bool
}

// Spread of the beliefs [proposal]: of the level, of the share by which conditions
// move it, and of what each phase adds.
const (
	levelSD = .8
	shapeSD = .5
	phaseSD = .4
	terms   = 2 + int(Phases)
)

// A log of so many trips may show that its own rate does better than the rules
// [proposal]; that rate counts the base rate as ten trips.
const (
	rateTrips  = 80
	rateWeight = 10
)

// Learnt is what a log says of the odds: logit p = A + B .8 s + c_phase.
type Learnt struct {
	N            int
	Level, Shape float64 // weight of the log in A and B, 0-1
	RateOnly     bool    // B is 0: the log's own rate does better
	b            [terms]float64
	cov          [terms][terms]float64
}

// Learn fits the log by its most probable values; oldest mornings first. Without
// one the beliefs stand.
func (c Centre) Learn(log []Logged) Learnt {
	l := c.fit(log, false)
	if len(log) >= rateTrips && c.rateIsBetter(log) {
		l = c.fit(log, true)
	}
	return l
}

// fit finds the most probable values by Newton's method.
func (c Centre) fit(log []Logged, rateOnly bool) Learnt {
	l := Learnt{N: len(log), RateOnly: rateOnly}
	prior, sd := l.b, [terms]float64{levelSD, shapeSD}
	prior[0], prior[1] = c.A, 1
	for k := 2; k < terms; k++ {
		sd[k] = phaseSD
	}
	if rateOnly {
		prior[1], sd[1] = 0, 1e-6
	}
	l.b = prior

	var h []float64
	for range 25 {
		h = make([]float64, terms*terms)
		g := make([]float64, terms)
		for k := range terms {
			h[k*terms+k] = 1 / (sd[k] * sd[k])
			g[k] = (prior[k] - l.b[k]) * h[k*terms+k]
		}
		for _, m := range log {
			x := row(m.S, m.Phase)
			p := logistic(dot(x, l.b))
			miss := -p
			if m.Good {
				miss++
			}
			for i := range terms {
				g[i] += miss * x[i]
				for j := range terms {
					h[i*terms+j] += p * (1 - p) * x[i] * x[j]
				}
			}
		}

		if !ensemble.Cholesky(h, terms) {
			return Learnt{b: prior}
		}
		ensemble.CholeskySolve(h, terms, g)
		moved := 0.0
		for k := range terms {
			l.b[k] += g[k]
			moved += math.Abs(g[k])
		}
		if moved < 1e-9 {
			break
		}
	}

	for k := range terms {
		e := make([]float64, terms)
		e[k] = 1
		ensemble.CholeskySolve(h, terms, e)
		copy(l.cov[k][:], e)
	}
	l.Level, l.Shape = 1-l.cov[0][0]/(levelSD*levelSD), 1-l.cov[1][1]/(shapeSD*shapeSD)
	return l
}

// rateIsBetter holds one-step forecasts of the log against its own rate so far,
// by the Brier score.
func (c Centre) rateIsBetter(log []Logged) bool {
	rules, rate, good := 0.0, 0.0, rateWeight*baseRate
	for i, m := range log {
		y := 0.0
		if m.Good {
			y = 1
		}
		p, _ := c.fit(log[:i], false).logit(m.S, m.Phase)
		q := good / float64(rateWeight+i)
		rules += (logistic(p) - y) * (logistic(p) - y)
		rate += (q - y) * (q - y)
		good += y
	}
	return rate < rules
}

// A log is said to give the level from ChanceMornings on, wholly from levelOwn; the
// shape is the club's own from shapeOwn [proposal: weights .81 and about .5 in
// simulated clubs].
const (
	levelOwn = 40
	shapeOwn = 130
)

// Note says what the odds rest on, with the weights of the log.
func (l Learnt) Note() coldseam.Reason {
	r := because(KindNote, "odds_level", "", map[string]float64{"log_mornings": float64(l.N),
		"level_share": l.Level, "shape_share": l.Shape})
	switch {
	case l.RateOnly:
		r.Code = "odds_rate"
	case l.N >= shapeOwn:
		r.Code = "odds_own"
	case l.N >= levelOwn:
		r.Code = "odds_level_own"
	}
	return r
}

// logit is the log-odds of a morning and how well they are known.
func (l Learnt) logit(s float64, p Phase) (mean, sd float64) {
	x := row(s, p)
	v := 0.0
	for i := range terms {
		for j := range terms {
			v += x[i] * l.cov[i][j] * x[j]
		}
	}
	return dot(x, l.b), math.Sqrt(max(v, 0))
}

// Odds are the odds of a morning for a draw z of what the log leaves open; z of a
// rank is 0.
func (l *Learnt) Odds(s float64, p Phase, z float64) float64 {
	mean, sd := l.logit(s, p)
	return logistic(mean + z*sd)
}

func row(s float64, p Phase) (x [terms]float64) {
	x[0], x[1], x[2+int(p)] = 1, beliefShare*s, 1
	return x
}

func dot(a, b [terms]float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}
