package flow

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
	Upstream []coldseam.Days // upstream gauges, nearest first; at most three are used
}

// Model is a fitted model of one river. It is plain data and marshals to JSON
// and back without loss.
type Model struct {
	Version  int               `json:"version"`
	Training ensemble.Training `json:"training"`
	From     coldseam.Date     `json:"from"`
	To       coldseam.Date     `json:"to"`
	Years    float64           `json:"years"`
	Tier     ensemble.Tier     `json:"tier"`
	Seed     uint64            `json:"seed"`
	Score    float64           `json:"score"`   // mean absolute out-of-fold error of ln Q at lead 5, 0 = not measured
	FloorA   float64           `json:"floor_a"` // recession floor: a of dQ/dt = -a Q^b, 95 % quantile
	FloorB   float64           `json:"floor_b"`
	Phi      float64           `json:"phi"` // lag-1 correlation of the anomaly of ln Q

	Climate climate    `json:"climate"`
	ByAir   [2]*AirFit `json:"mode"` // without and with an air forecast; nil = not fitted
}

// AirFit is what was learnt for one air mode.
type AirFit struct {
	Sources []string `json:"sources"`
	Fitted  *Fitted  `json:"fitted"`
	Library *Library `json:"library"`
}

// The air modes. With air only snow rivers differ.
const (
	withoutAir = iota
	withAir
)

// minRows is the number of training issues below which nothing is regressed.
const minRows = 300

// version changes when stored models can no longer be read.
const version = 1

// Fit learns a model from the training days of d.
func Fit(d coldseam.Days, opt Options) (*Model, error) {
	r := newRecord(d, opt.Training)
	m := &Model{Version: version, Training: opt.Training, Seed: opt.Seed}
	b := ensemble.Last(r.Obs, r.n-1)
	if b < 0 && len(opt.Pool) == 0 {
		return nil, fmt.Errorf("fit discharge: no positive discharge on any training day and no similar gauge: %w",
			coldseam.ErrInvalid)
	}

	if b >= 0 {
		a := 0
		for math.IsNaN(r.Obs[a]) {
			a++
		}
		m.From, m.To = d.Day(a), d.Day(b)
	}

	m.Years = ensemble.Span(r.Obs)
	m.Tier = ensemble.TierOf(m.Years)
	m.FloorA, m.FloorB = recession(r)
	var up []*record
	for k, u := range opt.Upstream {
		if k < maxUp {
			up = append(up, newRecord(u, opt.Training))
		}
	}

	m.Climate = fitClimate(r, up)
	v := newView(r, m.Climate, up)
	m.Phi = lag1(v.hold)
	if m.Years >= learnYears {
		m.learn(v, d.First)
	}
	return m, nil
}

// learn fits the regressions, the stack and the error library.
func (m *Model) learn(v *view, first coldseam.Date) {
	nu := stackRidge
	if m.Years < airYears {
		nu = stackRidgeShort
	}

	for mode := range m.ByAir {
		if mode == withAir && (!m.Climate.Snow || m.Years < airYears) {
			continue
		}
		rows := v.training(mode == withAir)
		if len(rows) < minRows {
			continue
		}
		src := m.sources(mode)
		md := &AirFit{Fitted: fitSources(rows, src, nu), Library: newLibrary(rows, first)}
		for _, s := range src {
			md.Sources = append(md.Sources, s.name)
		}
		m.ByAir[mode] = md

		if mode == withoutAir {
			for k := range rows {
				m.Score += math.Abs(rows[k].res[5]) / float64(len(rows))
			}
		}
	}
}

// airYears is the record below which no melt regression is fitted: fitted on three
// years it ran away [proposal].
const airYears = 5

func (m *Model) sources(mode int) []source {
	c := m.Climate
	c.Snow = mode == withAir
	return sourcesOf(c, m.Years < airYears)
}

func lag1(z []float64) float64 {
	if len(z) < 3 {
		return 0
	}
	return min(max(ensemble.Correlation(z[:len(z)-1], z[1:]), 0), .995)
}

// Forecast makes the forecast of one issue.
func (m *Model) Forecast(q ensemble.Request) (ensemble.Result, error) {
	return m.NewPredictor(q.View, q.Upstream, q.Pool...).Forecast(q)
}

// learnYears is the record from which regressions and analogs beat dressed
// persistence [measured on the short public records by hindcast].
const learnYears = 1.5
