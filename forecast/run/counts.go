package run

import (
	"fmt"
	"math"
	"slices"

	"example.org/coldseam"
	"example.org/coldseam/forecast/score"
)

// minCounted is the number of fish below which a season says nothing, and
// minSeasons how many seasons leave-years-out needs [proposal].
const (
	minCounted = 60
	minSeasons = 3
)

// CountScore is a species row held against daily counts of fish. RPS is the sum
// over the days of the season of the squared difference between the share
// forecast and the share counted, in days: lower is better. Whatever is fitted
// is fitted on the other years.
type CountScore struct {
	Seasons   int
	Fish      float64
	WaveShare float64       // of the days with 5-95 % arrived
	Lag1      float64       // of the log count about its mean of 13 days
	Timing    []TimingScore // the day of the year first
	Pushes    int           // days with a forecast from the counts up to the day before
	Waves     int           // of them
	Brier     float64       // of those forecasts
	BaseBrier float64       // of the wave share of the other years
	Bins      []score.Bin   // reliability
	Years     []CountedYear
	LeftOut   []CountedYear `json:",omitempty"` // seasons whose counting ended while fish came
}

// TimingScore is one way of knowing the season's shares by day.
type TimingScore struct {
	Name    string
	RPS     float64 // mean of the seasons
	ErrorD  float64 // mean absolute error of the day of half the run, d
	Seasons int
}

// CountedYear is one season counted.
type CountedYear struct {
	Year  int
	Fish  float64
	HalfD int // day of the season on which half had come
	// NotKnown is the first day from which the counter says nothing; zero = it
	// counted until the fish were through.
	NotKnown coldseam.Date `json:",omitzero"`
}

// counted is one season: counts and the shares they sum to by day.
type counted struct {
	CountedYear
	n, share []float64
	blank    []bool    // days not counted, carried forward or outside the counting
	t        []float64 // water from the first day, nil = not known for the season
	first    coldseam.Date
}

// ScoreCounts scores a species row on daily counts (NaN = not counted) from
// first on. days holds the water of the same years; without it only the shape
// of the run and the pushes are scored. ErrUnavailable: too few seasons.
func ScoreCounts(sp Species, days coldseam.Days, first coldseam.Date, counts []float64) (CountScore, error) {
	ys, short := countSeasons(sp, days, first, counts, first.Add(len(counts)).Year+1)
	s := CountScore{Seasons: len(ys), LeftOut: short}
	if len(ys) < minSeasons {
		return s, fmt.Errorf("counts: %d seasons with %d fish or more counted until they were through, want %d; "+
			"%d end while fish came: %w", len(ys), minCounted, minSeasons, len(short), coldseam.ErrUnavailable)
	}

	for _, y := range ys {
		s.Fish += y.Fish
		s.Years = append(s.Years, y.CountedYear)
	}

	s.pushes(&sp, ys)
	all := func(i int) []float64 { return dayOfYear(ys, i, func(int) int { return 0 }) }
	s.timing("day_of_the_year", ys, all)
	if ys = slices.DeleteFunc(ys, func(c counted) bool { return c.t == nil }); len(ys) >= minSeasons {
		s.timing("day_of_the_year_with_water", ys, all)
		s.timing("degree_days", ys, func(i int) []float64 { return degreeDays(ys, i) })
		s.timing("threshold", ys, func(i int) []float64 { return threshold(ys, i) })
		shipped, refit, _ := sp.refits(days.Lat, ys)
		s.timing("clock_as_shipped", ys, shipped)
		s.timing("clock_refitted", ys, refit)
	}

	return s, nil
}

// countSeasons are the counted seasons that began before a year: those counted
// until the fish were through, and those of which only the beginning is known.
func countSeasons(sp Species, days coldseam.Days, first coldseam.Date, counts []float64,
	before int) (whole []counted, short []CountedYear) {
	for y := seasonStart(first, days.Lat).Year; y < before; y++ {
		c := countSeason(sp, days, first, counts, y)
		switch {
		case c.Fish < minCounted:
		case c.NotKnown.IsZero():
			whole = append(whole, c)
		default:
			short = append(short, c.CountedYear)
		}
	}
	return whole, short
}

// throughShare is the most of a season's fish that its last week may hold where
// the counting ends early and the run still counts as over [proposal].
const throughShare = .05

// countSeason lays one season out by day. Blank days are filled as those of the
// water are: up to MaxGap of them by the count before, and from there nothing is
// known. Before the first fish nothing was missed.
func countSeason(sp Species, days coldseam.Days, first coldseam.Date, counts []float64, year int) counted {
	c := counted{CountedYear: CountedYear{Year: year}, first: yearStart(year, days.Lat)}
	c.n, c.share, c.blank = make([]float64, LastDay), make([]float64, LastDay), make([]bool, LastDay)
	for i := range c.n {
		v := coldseam.At(counts, c.first.Add(i).Sub(first))
		c.n[i], c.blank[i] = math.Max(v, 0), math.IsNaN(v)
	}

	carry(c.n, MaxGap, true)
	end := 0
	for ; end < LastDay && !(math.IsNaN(c.n[end]) && c.Fish > 0); end++ {
		if math.IsNaN(c.n[end]) {
			c.n[end] = 0
		}
		c.Fish += c.n[end]
	}
	clear(c.n[end:])

	if end < LastDay && mean(c.n[max(end-7, 0):end])*7 > throughShare*c.Fish {
		c.NotKnown = c.first.Add(end)
	}

	sum := 0.0
	for i, v := range c.n {
		sum += v
		c.share[i] = sum / c.Fish
	}
	c.HalfD = half(c.share)
	if w, err := spring(days, nil, c.first.Add(LastDay), sp.Tb); err == nil && !w.short {
		c.t = w.t
	}
	return c
}

// half is the first day on which a share reaches one half.
func half(share []float64) int {
	if i := slices.IndexFunc(share, func(v float64) bool { return v >= .5 }); i >= 0 {
		return i
	}
	return len(share)
}

func (s *CountScore) timing(name string, ys []counted, forecast func(i int) []float64) {
	t := TimingScore{Name: name, Seasons: len(ys)}
	for i, y := range ys {
		f := forecast(i)
		t.RPS += rps(f, y.share) / float64(len(ys))
		t.ErrorD += math.Abs(float64(half(f)-y.HalfD)) / float64(len(ys))
	}
	s.Timing = append(s.Timing, t)
}

func rps(f, share []float64) float64 {
	sum := 0.0
	for d := range share {
		sum += (f[d] - share[d]) * (f[d] - share[d])
	}
	return sum
}

// dayOfYear is the mean of the other years' shares, each moved so that its day
// at(k) falls on that of year i.
func dayOfYear(ys []counted, i int, at func(k int) int) []float64 {
	f := make([]float64, LastDay)
	for k, y := range ys {
		if k == i {
			continue
		}
		for d := range f {
			if from := d - at(i) + at(k); from >= 0 {
				f[d] += y.share[min(from, LastDay-1)] / float64(len(ys)-1)
			}
		}
	}
	return f
}

// degreeDays is a normal curve of the sum of the water temperature since the
// first day, fitted to the fish of the other years.
func degreeDays(ys []counted, i int) []float64 {
	sums := func(t []float64) []float64 {
		out, sum := make([]float64, len(t)), 0.0
		for d, v := range t {
			sum += math.Max(v, 0)
			out[d] = sum
		}
		return out
	}

	w, m, v := 0.0, 0.0, 0.0
	for k, y := range ys {
		if k != i {
			for d, g := range sums(y.t) {
				p := y.n[d] / y.Fish
				w, m, v = w+p, m+p*g, v+p*g*g
			}
		}
	}

	m /= w
	sd := math.Sqrt(math.Max(v/w-m*m, 1))
	f := sums(ys[i].t)
	for d, g := range f {
		f[d] = phi((g - m) / sd)
	}
	return f
}

// threshold moves the other years' curves to the first of three days in a row
// above a temperature, the one that serves the other years best.
func threshold(ys []counted, i int) []float64 {
	others := slices.Delete(slices.Clone(ys), i, i+1)
	cross := func(in []counted, c float64) func(int) int {
		return func(k int) int {
			for d := 2; d < LastDay; d++ {
				if t := in[k].t; t[d] >= c && t[d-1] >= c && t[d-2] >= c {
					return d
				}
			}
			return LastDay
		}
	}

	best, least := 0.0, math.Inf(1)
	for c := 2.0; c <= 16; c++ {
		sum := 0.0
		for k := range others {
			sum += rps(dayOfYear(others, k, cross(others, c)), others[k].share)
		}
		if sum < least {
			best, least = c, sum
		}
	}

	return dayOfYear(ys, i, cross(ys, best))
}

// Refit is what counted seasons make of a row: how much wider its cohorts are
// spread, how much warmer the water in which fish move, from which temperature
// they ripen, and the shift of the whole. Its RPS, and those it must beat, are of
// seasons that had no part in the fit.
type Refit struct {
	Spread, Move, Base, Delta float64
	RPS, ShippedRPS, DayRPS   float64
	coldseam.RunFit
}

// RefitSeasons is how many counted seasons with water temperature a row's
// spread, base and move temperature need [proposal]; fewer change nothing.
const RefitSeasons = 5

// NewRefit fits a row to the counted seasons before year. ErrUnavailable: under
// RefitSeasons of them, or the years left out are served no better than by the
// row as it is, or worse than by the day of the year.
func NewRefit(sp Species, days coldseam.Days, c coldseam.DailyCounts, year int) (Refit, error) {
	ys, _ := countSeasons(sp, days, c.First, c.Fish, year)
	ys = slices.DeleteFunc(ys, func(c counted) bool { return c.t == nil })
	if len(ys) < RefitSeasons {
		return Refit{}, fmt.Errorf("refit %s: %d counted seasons with water temperature, want %d: %w", sp.Key, len(ys),
			RefitSeasons,
			coldseam.ErrUnavailable)
	}
	var s CountScore
	shipped, refitted, best := sp.refits(days.Lat, ys)
	s.timing("", ys, refitted)
	s.timing("", ys, shipped)
	s.timing("", ys, func(i int) []float64 { return dayOfYear(ys, i, func(int) int { return 0 }) })
	best.Seasons, best.RPS, best.ShippedRPS, best.DayRPS = len(ys), s.Timing[0].RPS, s.Timing[1].RPS, s.Timing[2].RPS
	if best.RPS >= best.ShippedRPS || best.RPS > best.DayRPS {
		return best, fmt.Errorf(
			"refit %s: %.2f d in the years left out, %.2f as shipped, %.2f by the day of the year: %w", sp.Key,
			best.RPS,
			best.ShippedRPS, best.DayRPS, coldseam.ErrUnavailable)
	}
	return best, nil
}

// Apply is the row refitted to its river, unchanged under RefitSeasons. A row
// without a clock gets one: its own fish have shown it right.
func (r Refit) Apply(s Species) Species {
	if r.Seasons < RefitSeasons {
		return s
	}
	s = r.row(s)
	for c := range s.Cohorts {
		s.Cohorts[c].Theta *= math.Exp(r.Delta)
		s.lnTheta[c] += r.Delta
	}
	s.setFirst()
	s.NoClock, s.Calibrated, s.DeltaSD = false, true, math.Min(s.DeltaSD, deltaYearSD)
	s.Fit = r.RunFit
	return s
}

// row is the refitted row but for its shift.
func (r Refit) row(s Species) Species {
	s.Cohorts = slices.Clone(s.Cohorts)
	for c := range s.Cohorts {
		s.Cohorts[c].S *= r.Spread
	}
	s.TMove, s.Tb, s.Tcap = s.TMove+r.Move, r.Base, math.Max(s.Tcap, 16)
	s.setFirst()
	return s
}

// refits runs the row over a grid of shift, move temperature, base and spread;
// refitted is the setting that serves the other years best, best the one that
// serves all.
func (s *Species) refits(lat float64, ys []counted) (shipped, refitted func(i int) []float64, best Refit) {
	run := func(sp *Species, y counted, delta float64) []float64 {
		f := make([]float64, LastDay)
		p := sp.defaults()
		p.delta = delta
		for d, c := range sp.quiet(p, sp.drives(lat, y.first, y.t, nil, nil, 0), season{first: y.first, t: y.t}) {
			f[d] = c.Arrived
		}
		return f
	}
	var settings []Refit
	var curves [][][]float64 // [setting][year]

	for _, spread := range []float64{1, 1.7, 3} {
		for _, move := range []float64{0, 3, 6} {
			for _, base := range []float64{s.Tb, 0.5} {
				r := Refit{Spread: spread, Move: move, Base: base}
				sp := r.row(*s)
				for r.Delta = -1.5; r.Delta <= 3.5; r.Delta += 0.25 {
					set := make([][]float64, len(ys))
					for k, y := range ys {
						set[k] = run(&sp, y, r.Delta)
					}
					settings, curves = append(settings, r), append(curves, set)
				}
			}
		}
	}

	without := func(i int) int { // the setting that serves all years but i best
		at, least := 0, math.Inf(1)
		for c, set := range curves {
			sum := 0.0
			for k, y := range ys {
				if k != i {
					sum += rps(set[k], y.share)
				}
			}
			if sum < least {
				at, least = c, sum
			}
		}

		return at
	}

	shipped = func(i int) []float64 { return run(s, ys[i], 0) }
	refitted = func(i int) []float64 { return curves[without(i)][i] }
	return shipped, refitted, settings[without(-1)]
}

// pushes scores the odds of a wave from the counts up to the day before, moved
// by what the other years teach, against the share of waves in the other years.
func (s *CountScore) pushes(sp *Species, ys []counted) {
	days := make([][]pushDay, len(ys))
	xy, xx, inside, waves := 0.0, 0.0, 0, 0
	for k, y := range ys {
		days[k] = sp.pushDays(y)
		for i, d := range days[k] {
			inside++
			if d.Wave {
				waves++
			}
			if i > 0 && days[k][i-1].at == d.at-1 {
				xy, xx = xy+d.dev*days[k][i-1].dev, xx+d.dev*d.dev
			}
		}
	}
	s.WaveShare, s.Lag1 = float64(waves)/float64(max(inside, 1)), xy/math.Max(xx, 1e-9)

	var pairs, base []score.Pair

	for k := range days {
		others := slices.Concat(slices.Delete(slices.Clone(days), k, k+1)...)
		r, n, hits := counterRecal(others), 0, 0
		for _, o := range others {
			if o.P > 0 {
				n++
			}
			if o.P > 0 && o.Wave {
				hits++
			}
		}

		for _, d := range days[k] {
			if d.P == 0 || n == 0 {
				continue
			}
			if d.Wave {
				s.Waves++
			}
			pairs = append(pairs, score.Pair{P: logistic(r.A + r.B*logit(d.P)), Hit: d.Wave})
			base = append(base, score.Pair{P: float64(hits) / float64(n), Hit: d.Wave})
		}
	}

	s.Pushes = len(pairs)
	s.Brier, s.BaseBrier, s.Bins = score.Brier(pairs), score.Brier(base), score.Reliability(pairs, 5)
}
