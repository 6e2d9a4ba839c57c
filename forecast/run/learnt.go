package run

import (
	"math"

	"example.org/coldseam"
)

// The catchability grid: fish a line hour at index 1, even in logarithms, and
// the sizes of the negative binomial [proposal].
const (
	qPoints    = 15
	qMin, qMax = 0.3, 12.0
)

var kGrid = [...]float64{0.6, 1.2, 2.5}

const cells = qPoints * len(kGrid)

// QGrid is the catchability grid, fish a line hour at fishable index 1.
func QGrid() []float64 {
	q := make([]float64, qPoints)
	for i := range q {
		q[i] = math.Exp(math.Log(qMin) + (math.Log(qMax)-math.Log(qMin))*float64(i)/(qPoints-1))
	}
	return q
}

// Learnt is the state of the particle filter after the trips so far: the
// particles with their weights, spun up to the day of the last trip, each with
// its own posterior of the catchability. Only catchability times run size is
// learnt, never abundance; wave skill hardly changes (see the package test).
type Learnt struct {
	par    []draw
	st     []state
	weight []float64        // sums to 1
	grid   [][cells]float64 // each sums to 1
	days   int              // days since 1 January that st has seen
	year   int
	past   []float64 // mean share spawned by day

	Trips       int // trips that counted
	BecauseMail int // of them made because of the mail: not a random sample
	LineHours   float64
	ESS         float64 // effective number of particles
	Resampled   int
}

// Delta is the posterior of the season's shift.
func (l *Learnt) Delta() (mean, sd float64) {
	return l.moment(func(p *draw) float64 { return p.delta })
}

func (l *Learnt) moment(get func(*draw) float64) (mean, sd float64) {
	for j := range l.par {
		mean += l.weight[j] * get(&l.par[j])
	}
	for j := range l.par {
		d := get(&l.par[j]) - mean
		sd += l.weight[j] * d * d
	}
	return mean, math.Sqrt(sd)
}

// Catch is the posterior of the catchability on QGrid, and the mean size of
// the negative binomial.
func (l *Learnt) Catch() (w []float64, k float64) {
	w = make([]float64, qPoints)
	for j := range l.grid {
		for c, v := range l.grid[j] {
			w[c/len(kGrid)] += l.weight[j] * v
			k += l.weight[j] * v * kGrid[c%len(kGrid)]
		}
	}
	return w, k
}

// qWeights is the posterior of one particle's catchability.
func (l *Learnt) qWeights(j int) []float64 {
	w := make([]float64, qPoints)
	for c, v := range l.grid[j] {
		w[c/len(kGrid)] += v
	}
	return w
}

// Memory is what one season leaves to the next.
type Memory struct {
	Year    int
	Trips   int
	Delta   float64 // posterior mean of the season's shift
	DeltaSD float64
	Q       []float64 // posterior on QGrid
}

// Memory returns what is kept of the season.
func (l *Learnt) Memory() Memory {
	m, sd := l.Delta()
	q, _ := l.Catch()
	return Memory{Year: l.year, Trips: l.Trips, Delta: m, DeltaSD: sd, Q: q}
}

// The spread of a river's own shift and of its years about it [proposal].
const (
	deltaRiverSD = 0.45
	deltaYearSD  = 0.25
)

// Carry turns the seasons that were logged into the next one's prior:
//
//	delta_year ~ N(delta_river, .25^2), delta_river ~ N(0, .45^2)
//
// so that n seasons weigh n/(n + (.25/.45)^2): .76 at one, .91 at three. The
// catchability carries over at four parts in five, the rest is flat
// [proposal]: club, gear and run size change.
func Carry(past []Memory) (Prior, []float64) {
	n, sum := 0.0, 0.0
	q := make([]float64, qPoints)
	logged := 0.0
	for _, m := range past {
		if m.Trips == 0 {
			continue
		}
		n++
		sum += m.Delta
		if len(m.Q) == qPoints {
			for i, v := range m.Q {
				q[i] += v * float64(m.Trips)
			}
			logged += float64(m.Trips)
		}
	}

	for i := range q {
		if logged > 0 {
			q[i] = 0.8*q[i]/logged + 0.2/qPoints
		} else {
			q[i] = 1.0 / qPoints
		}
	}

	if n == 0 {
		return Prior{SD: deltaRiverSD}, q
	}
	ratio := (deltaYearSD / deltaRiverSD) * (deltaYearSD / deltaRiverSD)
	river := 1 / (1/(deltaRiverSD*deltaRiverSD) + n/(deltaYearSD*deltaYearSD))
	return Prior{Mean: sum / n * n / (n + ratio), SD: math.Sqrt(river + deltaYearSD*deltaYearSD)}, q
}

// counts reports whether a trip says something: it was made, had hours, and
// belongs to the species.
func counts(t coldseam.Trip, species string) bool {
	return !t.WentNot && t.Hours > 0 && t.Fish >= 0 && (t.Species == "" || t.Species == species)
}

// lineHours is the effort of a trip; unstated lines are one an angler.
func lineHours(t coldseam.Trip) float64 {
	lines := t.Lines
	if lines <= 0 {
		lines = max(t.Anglers, 1)
	}
	return t.Hours * float64(lines)
}
