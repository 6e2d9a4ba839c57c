package thermal

import (
	"fmt"
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// Options of a fit. The zero value fits on everything.
type Options struct {
	Training ensemble.Training
	Seed     uint64
	Pool     []coldseam.Days // similar gauges, for short records
	Cache    *Cache          // shared by the fits of one job; may be nil
	NoAir    bool            // nothing is learnt for issues with an air forecast: the model meets none
}

// Model is a fitted model of one river. It is plain data: it marshals to JSON
// and back without loss, and forecasts need the record itself only through the
// issue.
type Model struct {
	Version  int               `json:"version"`
	Training ensemble.Training `json:"training"`
	From     coldseam.Date     `json:"from"` // first and last observed training day
	To       coldseam.Date     `json:"to"`
	Years    float64           `json:"years"` // observed training days / 365.25
	Tier     ensemble.Tier     `json:"tier"`
	Seed     uint64            `json:"seed"`
	// mean absolute out-of-fold error at lead 5 without air forecast, degC; 0 = not measured
	Score float64 `json:"score"`

	StepC float64 `json:"step_c"` // reading step of the record, which members are rounded to; 0 = none

	Core  *Core      `json:"core"`
	ByAir [2]*AirFit `json:"mode"` // without and with an air forecast; nil = not enough rows
}

// AirFit is what stacking learnt for one air mode.
type AirFit struct {
	Stack   *Stack             `json:"stack"`
	Library *Library           `json:"library"`
	Spread  [leads + 1]float64 `json:"spread"` // by lead: widens the dressing so that 80 % intervals hold 80 %
}

// minRows is the number of out-of-fold issues below which nothing is stacked in an
// air mode. Without air a stack of some 200 errs a quarter to a third more in
// spring than dressed persistence does [measured by hindcast on pieces of three
// years of public records].
var minRows = [2]int{withoutAir: 300, withAir: 120}

// version changes when stored models can no longer be read.
const version = 1

// Fit learns a model from the training days of d. A record of less than a year
// gives a model of the cold tier; no water at all and no pool is ErrInvalid.
func Fit(d coldseam.Days, opt Options) (*Model, error) {
	r := newRecord(d, opt.Training)
	m := &Model{Version: version, Training: opt.Training, Seed: opt.Seed}
	a, b := 0, ensemble.Last(r.Obs, r.n-1)
	for a < r.n && math.IsNaN(r.Obs[a]) {
		a++
	}
	if b < 0 && len(opt.Pool) == 0 {
		return nil, fmt.Errorf(
			"fit water temperature: no water temperature on any training day and no similar gauge: %w",
			coldseam.ErrInvalid)
	}

	if b >= 0 {
		m.From, m.To = d.Day(a), d.Day(b)
	}
	m.Years = ensemble.Span(r.Obs)
	m.StepC = step(r.Obs)
	m.Tier = ensemble.TierOf(m.Years)
	if b < 0 || m.Tier == ensemble.TierCold {
		return m, nil
	}

	kinds := shortKinds
	if m.long() {
		kinds = longKinds
	}
	m.Core = opt.Cache.core(d, r, opt.Training, kinds, opt.Seed)
	m.stack(d, opt, kinds)
	return m, nil
}

// stack learns the stacked regressions and their error libraries from
// out-of-fold rows, those of similar gauges included on short records.
func (m *Model) stack(d coldseam.Days, opt Options, kinds []heatKind) {
	all := []coldseam.Days{d}
	if !m.long() {
		all = append(all, opt.Pool...)
	}
	var rows [2][]row
	first := make([]coldseam.Date, len(all))

	for g, x := range all {
		first[g] = x.First
		for mode, rs := range opt.Cache.outOfFold(x, kinds, opt) {
			n := len(rows[mode])
			rows[mode] = append(rows[mode], rs...)
			for k := n; k < len(rows[mode]); k++ {
				rows[mode][k].g, rows[mode][k].w = int32(g), 1
				if g > 0 {
					rows[mode][k].w = m.poolWeight()
				}
			}
		}
	}

	for mode := range rows {
		if len(rows[mode]) < minRows[mode] || mode == withAir && (opt.NoAir || !m.Core.HasAir) {
			continue
		}
		rc := m.recipe(mode)
		s := fitStack(rows[mode], rc)
		s.finish(rows[mode])
		md := &AirFit{Stack: s, Library: newLibrary(rows[mode], first)}
		md.Spread = md.Library.calibrate(rc, m.StepC)
		m.ByAir[mode] = md
		if mode == withoutAir {
			m.Score = ownScore(rows[mode])
		}
	}
}

// longYears is the observed length from which a record carries the recipe of
// long records on its own; below, similar gauges join. The reference tested 3-4
// and 9 and more years, nothing between.
const (
	longYears = 4
	poolYears = 3
)

// poolWeight is the weight of a similar gauge's row.
func (m *Model) poolWeight() float64 {
	return min(max((longYears-m.Years)/(longYears-poolYears), 0), 1)
}

func (m *Model) long() bool { return m.Years >= longYears }

// ownScore is the mean absolute out-of-fold error at lead 5 on the own river.
func ownScore(rows []row) float64 {
	s, n := 0.0, 0.0
	for k := range rows {
		if rows[k].g == 0 {
			s, n = s+math.Abs(rows[k].r[5]), n+1
		}
	}
	if n == 0 {
		return 0
	}
	return s / n
}

// recipe is the column of the stacking table that this model follows.
func (m *Model) recipe(mode int) recipe {
	rc := recipeOf(m.Years, mode)
	rc.south = m.Core.Water.Doy(15) > m.Core.Water.Doy(15+366/2)
	if !m.Core.HasAir {
		rc = rc.withoutAir()
	}
	return rc
}

// Forecast makes the forecast of one issue. Without any usable value in the
// last ensemble.StaleDays days it starts from the climatology alone and says so;
// ErrUnavailable when neither the river nor its pool has traces for the season.
func (m *Model) Forecast(q ensemble.Request) (ensemble.Result, error) {
	return m.NewPredictor(q.View, q.Pool...).Forecast(q)
}
