package hindcast

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/flow"
	"example.org/coldseam/forecast/score"
	"example.org/coldseam/forecast/thermal"
)

var zeroDay = coldseam.Date{Year: 2000, Month: 1, Day: 1}

// forecaster issues with one fitted model.
type forecaster interface {
	Forecast(ensemble.Request) (ensemble.Result, error)
}

// fold is one part of the test: its years and what may be learnt from.
type fold struct {
	years    map[int]bool
	training ensemble.Training
}

// Run replays the record d. It refuses a record that is too short to leave a
// year out with ErrInvalid.
func Run(d coldseam.Days, opt Options) (Report, error) {
	o, err := opt.filled(d)
	if err != nil {
		return Report{}, err
	}
	h := newReplay(d, o)
	folds, err := h.folds()
	if err != nil {
		return Report{}, err
	}

	for i, f := range folds {
		if err := h.fold(f); err != nil {
			return Report{}, fmt.Errorf("hindcast %s %s: %w", o.Site, o.Quantity, err)
		}
		if o.Progress != nil {
			o.Progress(i+1, len(folds))
		}
	}

	return h.report(), nil
}

// replay is the state of one run.
type replay struct {
	o     Options
	d     coldseam.Days
	obs   []float64 // degC floored at 0, or ln m3/s
	cal   *ensemble.Calendar
	from  int // first index scored
	rep   Report
	dates *dateScores

	airErrs []ensemble.AirError
	cache   *thermal.Cache
}

func newReplay(d coldseam.Days, o Options) *replay {
	h := &replay{o: o, d: d, cache: o.Fits}
	if h.cache == nil {
		h.cache = thermal.NewCache()
	}
	n := d.Len()
	h.cal = ensemble.NewCalendar(d.First, n+ensemble.CrossingHorizon+2)
	h.obs = make([]float64, n)
	for i := range h.obs {
		h.obs[i] = h.value(i)
	}
	if o.LastYears > 0 {
		h.from = max(0, n-int(float64(o.LastYears)*ensemble.YearDays))
	}
	h.rep = Report{Site: o.Site, Quantity: o.Quantity, Air: o.Air, Leads: o.Leads, Step: o.Step, Seed: o.Seed,
		Members: o.Members,
		sums:    map[string]*tally{}}
	if o.Quantity == Temperature && !o.NoDates {
		h.dates = newDateScores(h)
	}
	return h
}

// value is the observation that is scored.
func (h *replay) value(i int) float64 {
	if h.o.Quantity == Flow {
		if q := coldseam.At(h.d.FlowM3S, i); q > 0 {
			return math.Log(q)
		}
		return math.NaN()
	}
	if v := coldseam.At(h.d.WaterC, i); !math.IsNaN(v) {
		return max(v, 0)
	}
	return math.NaN()
}

// minYears is the number of years with data that leave-years-out needs.
const minYears = 2

// folds splits the years that hold data.
func (h *replay) folds() ([]fold, error) {
	x := slices.Clone(h.obs)
	for i := range h.from {
		x[i] = math.NaN()
	}
	years := h.cal.Years(x, 1)
	full := h.cal.Years(x, 120)
	if len(full) < minYears {
		return nil, fmt.Errorf("hindcast %s: %d years with at least 120 days of %s, want %d or more: %w",
			h.o.Site, len(full), h.o.Quantity, minYears, coldseam.ErrInvalid)
	}

	var base ensemble.Training
	if h.from > 0 {
		base.First = h.d.Day(h.from)
	}
	var out []fold
	if h.o.Expanding {
		for _, y := range years[1:] {
			t := base
			t.Last = coldseam.Date{Year: y - 1, Month: time.December, Day: 31}
			out = append(out, fold{map[int]bool{y: true}, t})
		}
		return out, nil
	}

	k := min(h.o.Folds, len(full))
	h.rep.Folds = k

	for f := range k {
		in := map[int]bool{}
		for _, y := range years {
			if y%k == f {
				in[y] = true
			}
		}
		if len(in) > 0 {
			out = append(out, fold{in, base.Without(keys(in)...)})
		}
	}

	return out, nil
}

func keys(m map[int]bool) []int {
	var out []int
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// fit fits the models of a fold and returns the runner.
func (h *replay) fit(f fold) (forecaster, error) {
	if h.o.Quantity == Flow {
		m, err := flow.Fit(h.d, flow.Options{
			Training: f.training,
			Seed:     h.o.Seed,
			Pool:     h.o.Pool,
			Upstream: h.o.Upstream,
		})
		if err != nil {
			return nil, err
		}
		h.rep.Tier = string(m.Tier)
		return m.NewPredictor(h.d, h.o.Upstream, h.o.Pool...), nil
	}
	m, err := thermal.Fit(h.d, thermal.Options{Training: f.training, Seed: h.o.Seed, Pool: h.o.Pool, Cache: h.cache})
	if err != nil {
		return nil, err
	}
	h.rep.Tier = string(m.Tier)
	return m.NewPredictor(h.d, h.o.Pool...), nil
}

// fold scores all issues of one fold.
func (h *replay) fold(f fold) error {
	model, err := h.fit(f)
	if err != nil {
		return err
	}
	masked := f.training.Mask(coldseam.Days{First: h.d.First, WaterC: h.obs})
	floor := 0.
	if h.o.Quantity == Flow {
		floor = math.Inf(-1)
	}
	ref := newReference(h.obs, masked.WaterC, h.cal, floor)

	for t := h.from; t < len(h.obs); t++ {
		if !f.years[h.cal.Year[t]] {
			continue
		}
		if (t-max(h.from, 1))%h.o.Step == 0 && h.whole(f, t) {
			if err := h.issue(model, ref, t); err != nil {
				return err
			}
		}

		if h.dates != nil {
			if err := h.dates.issue(h, f, model, ref, t); err != nil {
				return err
			}
		}
	}

	return nil
}

// whole reports whether the path of an issue is observed and stays in the test
// years. One whose air is not on record is counted as dropped.
func (h *replay) whole(f fold, t int) bool {
	if !ensemble.Complete(h.obs, t-1, t+ensemble.DefaultHorizon) || !f.years[h.cal.Year[t+ensemble.DefaultHorizon]] {
		return false
	}
	known := h.o.Air != Perfect || h.airKnown(t) >= minAirKnown
	if !known {
		h.rep.DroppedAir++
	}
	return known
}

// minAirKnown is the number of the ten days after an issue whose air must be
// observed for mode perfect; the models bridge the others.
const minAirKnown = 7

func (h *replay) airKnown(t int) int {
	n := 0
	for k := 1; k <= ensemble.DefaultHorizon; k++ {
		if v := coldseam.At(h.d.AirC, t+k); !math.IsNaN(v) {
			n++
		}
	}
	return n
}

// ask is the issue for index t.
func (h *replay) ask(t, horizon int) ensemble.Request {
	q := ensemble.Request{View: h.d, Day: h.d.Day(t), Members: h.o.Members, Horizon: horizon, Seed: h.o.Seed,
		Pool: h.o.Pool, Upstream: h.o.Upstream}
	switch h.o.Air {
	case Perfect:
		air := make([]float64, 0, ensemble.DefaultHorizon)
		for k := 1; k <= ensemble.DefaultHorizon; k++ {
			air = append(air, coldseam.At(h.d.AirC, t+k))
		}
		if h.airKnown(t) >= minAirKnown {
			q.Air, q.AirPerfect = [][]float64{air}, true
		}
	case Archived:
		q.Air = h.o.Archive[q.Day]
		q.AirErrors = h.errorsUpTo(t)
	}
	return q
}

// airErrorIssues bounds the archived issues behind one forecast.
const airErrorIssues = 730

// errorsUpTo are the archived errors known at index t: of issues whose whole
// path had happened by then.
func (h *replay) errorsUpTo(t int) []ensemble.AirError {
	if h.airErrs == nil {
		h.airErrs = make([]ensemble.AirError, 0, len(h.o.Archive))
		for i := range h.obs {
			rows := h.o.Archive[h.d.Day(i)]
			if len(rows) == 0 {
				continue
			}
			e := ensemble.AirError{Issued: h.d.Day(i)}
			for k, f := range rows[0] {
				e.Err = append(e.Err, f-coldseam.At(h.d.AirC, i+1+k))
			}
			h.airErrs = append(h.airErrs, e)
		}
	}

	n := sort.Search(len(h.airErrs), func(k int) bool {
		return h.d.Index(h.airErrs[k].Issued)+len(h.airErrs[k].Err) > t
	})
	return h.airErrs[max(0, n-airErrorIssues):n]
}

// issue scores one issue of all methods.
func (h *replay) issue(model forecaster, ref *reference, t int) error {
	r, err := model.Forecast(h.ask(t, ensemble.DefaultHorizon))
	if err != nil {
		return fmt.Errorf("issue %s: %w", h.d.Day(t), err)
	}

	if err := finite(r.Members); err != nil {
		return fmt.Errorf("issue %s: %w", h.d.Day(t), err)
	}

	paths := map[string][][]float64{Coldseam: r.Members}
	for k, m := range Methods[1:] {
		p := ref.paths(m, t, ensemble.DefaultHorizon, h.o.Members, ensemble.Stream(h.o.Seed, h.d.Day(t), 100+uint64(k)))
		if len(p) == 0 {
			return nil // no trace of the season in training: nothing to compare with
		}
		paths[m] = p
	}
	cold := h.cold(t)
	x := make([]float64, 0, h.o.Members)

	for l, lead := range h.o.Leads {
		y := h.obs[t+lead]
		for _, m := range Methods {
			x = x[:0]
			for _, p := range paths[m] {
				x = append(x, p[lead-1])
			}

			if m == Coldseam {
				if err := h.emit(t, lead, x); err != nil {
					return err
				}
				if h.o.Quantity == Flow {
					for i := range x {
						x[i] = math.Log(x[i])
					}
				}
			}

			h.score(m, t, l, x, y, cold)
		}
	}

	return nil
}

// finite refuses members that are no numbers: they have no score.
func finite(members [][]float64) error {
	for i, m := range members {
		for l, v := range m {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return fmt.Errorf("member %d is %g on day %d, want a number: %w", i, v, l+1, coldseam.ErrInvalid)
			}
		}
	}
	return nil
}

// emit hands the members on in their own unit.
func (h *replay) emit(t, lead int, x []float64) error {
	if h.o.Member == nil {
		return nil
	}
	y := h.obs[t+lead]
	if h.o.Quantity == Flow {
		y = math.Exp(y)
	}
	return h.o.Member(MemberRow{Issued: h.d.Day(t), Lead: lead, Observed: y, Members: slices.Clone(x)})
}

func (h *replay) score(m string, t, l int, x []float64, y float64, cold bool) {
	c := score.FairCRPS(x, y)
	med := coldseam.Quantile(x, .5)
	cov, pit := score.Covered(x, y, .8), score.PIT(x, y)
	h.rep.add(seasonAll, m, h.cal.Year[t], l, len(h.o.Leads), c, (med-y)*(med-y), cov, pit)
	if cold {
		h.rep.add(seasonCold, m, h.cal.Year[t], l, len(h.o.Leads), c, (med-y)*(med-y), cov, pit)
	}
}

// cold is the season the trade fishes: February-May, water below 10 degC.
func (h *replay) cold(t int) bool {
	m := h.d.Day(t).Month
	return m >= time.February && m <= time.May && (h.o.Quantity == Flow || h.obs[t] < 10)
}

func (h *replay) report() Report {
	h.rep.All = h.rep.block(seasonAll, h.o.Intervals)
	h.rep.Cold = h.rep.block(seasonCold, h.o.Intervals)
	h.rep.N = h.rep.All.N
	if h.dates != nil {
		h.dates.report(&h.rep)
	}
	return h.rep
}
