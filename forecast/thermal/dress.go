package thermal

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// Constants of the dressing [proposal].
const (
	dressDays     = 45 // days of the year to either side
	dressDaysWide = 90 // when fewer than dressMin qualify
	dressMin      = 50
	dressState    = .25 // scale of G differences
	dressDoy      = 25. // days
	dressDT       = .15
)

// Library holds the out-of-fold errors of one air mode: per entry its day, the
// state it was issued in and its residual path.
type Library struct {
	Day   []int32        `json:"day"`   // days since 1970-01-01
	Donor []int8         `json:"donor"` // 0 = the river itself
	State ensemble.Centi `json:"state"` // 5 per entry: mu1, mu5, mu10, T, change of T
	Res   ensemble.Centi `json:"res"`   // leads per entry

	entries []entry // decoded; never changes once made
}

type entry struct {
	year int
	doy  int
	warp [4]float64
	dt   float64
}

const stateCols = 5

// newLibrary keeps the rows' errors; of a gauge with weight w every 1/w-th.
func newLibrary(rows []row, first []coldseam.Date) *Library {
	l := &Library{}
	share := 0.0
	for k := range rows {
		r := &rows[k]
		if share += r.w; share < 1-1e-9 {
			continue
		}
		share--
		l.Day = append(l.Day, ensemble.DayNumber(first[r.g].Add(int(r.i))))
		l.Donor = append(l.Donor, int8(r.g))
		for _, v := range [stateCols]float64{r.mu[1], r.mu[5], r.mu[10], r.t, clip2(r.dt)} {
			l.State = append(l.State, ensemble.ToCenti(v))
		}
		for h := 1; h <= leads; h++ {
			l.Res = append(l.Res, ensemble.ToCenti(r.r[h]))
		}
	}

	l.decode()
	return l
}

// UnmarshalJSON reads a stored library and indexes it at once, so that one
// model may serve several goroutines. ErrInvalid: columns of unequal length.
func (l *Library) UnmarshalJSON(raw []byte) error {
	type stored Library
	if err := json.Unmarshal(raw, (*stored)(l)); err != nil {
		return err
	}
	if n := len(l.Day); len(l.State) != n*stateCols || len(l.Res) != n*leads {
		return fmt.Errorf("water temperature error library: %d days, %d states, %d errors: %w", n, len(l.State),
			len(l.Res), coldseam.ErrInvalid)
	}
	l.decode()
	return nil
}

// date is the day of entry k.
func (l *Library) date(k int) coldseam.Date { return ensemble.Epoch.Add(int(l.Day[k])) }

// decode prepares the entries for the search.
func (l *Library) decode() {
	l.entries = make([]entry, len(l.Day))
	for k := range l.entries {
		e := &l.entries[k]
		e.doy, e.year = l.date(k).YearDay(), l.date(k).Year
		s := l.State[k*stateCols:]
		for j := range 4 {
			e.warp[j] = warp(float64(s[j]) / 100)
		}
		e.dt = float64(s[4]) / 100
	}
}

// nearest returns the k entries most similar to an issue.
func (l *Library) nearest(doy int, mu *[leads + 1]float64, t, dt float64, k int) []int32 {
	w := [4]float64{warp(mu[1]), warp(mu[5]), warp(mu[10]), warp(t)}
	dt = clip2(dt)
	var c []ensemble.Candidate

	for _, days := range [2]int{dressDays, dressDaysWide} {
		c = c[:0]
		for i := range l.entries {
			e := &l.entries[i]
			g := ensemble.DoyGap(doy, e.doy)
			if g > days {
				continue
			}
			d := 0.0
			for j := range 4 {
				z := (e.warp[j] - w[j]) / dressState
				d += z * z
			}

			z := dressDT * (e.dt - dt) / dressState
			d = (d+z*z)/5 + float64(g*g)/(dressDoy*dressDoy)
			c = append(c, ensemble.Candidate{D: d, K: int32(i)})
		}

		if len(c) >= dressMin {
			break
		}
	}

	c = ensemble.Nearest(c, k)
	out := make([]int32, len(c))
	for i := range out {
		out[i] = c[i].K
	}
	return out
}

// member fills path[0..leads-1] with the centre dressed by the errors of entry k.
func (l *Library) member(path []float64, mu *[leads + 1]float64, k int32, spread *[leads + 1]float64) {
	r := l.Res[int(k)*leads:]
	for h := 1; h <= leads && h <= len(path); h++ {
		path[h-1] = clampC(mu[h] + spread[h]*float64(r[h-1])/100)
	}
}

const (
	calibrateN = 500 // entries looked at
	spreadMin  = .85
	spreadMax  = 1.5
	spreadPull = 100. // entries' worth of the recipe's own factor
	coverage   = .8
	flatCenti  = 5 // hundredths of a degree between the 10 and 90 % errors
)

// calibrate finds, per lead, the factor on the residuals with which the 80 %
// interval of the nearest entries of other years holds 80 % of the entries'
// own residuals, drawn towards the recipe's factor. What the neighbours miss
// in the training years they miss in service.
func (l *Library) calibrate(rc recipe, stepC float64) [leads + 1]float64 {
	var out [leads + 1]float64
	step := max(1, len(l.Day)/calibrateN)
	var need [leads + 1][]float64
	x, sorted := make([]float64, rc.k), make([]int16, 0, rc.k)

	for i := step / 2; i < len(l.Day); i += step {
		if l.Donor[i] != 0 {
			continue
		}
		near := l.like(i, rc.k)
		if len(near) < dressMin/2 {
			continue
		}

		for h := 1; h <= leads; h++ {
			sorted = sorted[:0]
			for _, k := range near {
				sorted = append(sorted, l.Res[int(k)*leads+h-1])
			}
			slices.Sort(sorted) // of whole numbers: twice as fast
			x = x[:len(near)]
			for k, v := range sorted {
				x[k] = float64(v)
			}
			lo, hi := stat.Quantile((1-coverage)/2, stat.LinInterp, x, nil),
				stat.Quantile((1+coverage)/2, stat.LinInterp, x, nil)
			if hi-lo < flatCenti {
				continue // under ice: a factor on nothing is nothing
			}
			need[h] = append(need[h], needed(float64(l.Res[i*leads+h-1]), lo, hi, 100*stepC/2))
		}
	}

	for h := 1; h <= leads; h++ {
		out[h] = rc.spread
		if n := float64(len(need[h])); n > 0 {
			f := min(max(rc.unseen*coldseam.Quantile(need[h], coverage), spreadMin), spreadMax)
			out[h] = (n*f + spreadPull*rc.spread) / (n + spreadPull)
		}
	}

	return out
}

// needed is the factor on lo..hi that just holds r, give or take half a reading
// step.
func needed(r, lo, hi, half float64) float64 {
	switch {
	case math.Abs(r) <= half:
		return 0
	case r > 0:
		r -= half
	default:
		r += half
	}
	switch {
	case r > 0 && hi > 0:
		return r / hi
	case r < 0 && lo < 0:
		return r / lo
	}
	return spreadMax
}

// like returns the k entries nearest to entry i that are of other years.
func (l *Library) like(i, k int) []int32 {
	e := &l.entries[i]
	s := l.State[i*stateCols:]
	var mu [leads + 1]float64
	mu[1], mu[5], mu[10] = float64(s[0])/100, float64(s[1])/100, float64(s[2])/100
	year := e.year
	var out []int32
	for _, j := range l.nearest(e.doy, &mu, float64(s[3])/100, e.dt, 2*k) {
		if l.Donor[j] != 0 || l.entries[j].year != year {
			if out = append(out, j); len(out) == k {
				break
			}
		}
	}
	return out
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
