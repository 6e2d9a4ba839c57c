package season

import (
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast"
)

// Measured is a source that knows which daily means came.
type Measured interface{ Came() coldseam.Days }

// Came implements Measured.
func (r *Record) Came() coldseam.Days { return r.Days }

// scoredLeads are the days that are held against what came; 1 is the day of the
// morning itself, of which nothing is known at the mail.
var scoredLeads = []int{1, 3, 5, 7, 10}

const (
	riseWithin  = 2 // days, of daily means
	riseCame    = .30
	shiftWithin = 3 // days
)

// scores sums up forecasts against the daily means that came.
type scores struct {
	truth     coldseam.Days
	forecasts []coldseam.ForecastScore
	events    [2]coldseam.EventScore
}

func newScores(src Source) *scores {
	m, ok := src.(Measured)
	if !ok {
		return nil
	}
	s := &scores{truth: m.Came()}
	for _, q := range []string{"water", "flow"} {
		for _, l := range scoredLeads {
			s.forecasts = append(s.forecasts, coldseam.ForecastScore{Quantity: q, Lead: l})
		}
	}
	s.events = [2]coldseam.EventScore{{What: "rise", Days: riseWithin}, {What: "band_shift", Days: shiftWithin}}
	return s
}

// add scores one morning: the daily means of its members, the last full day as
// it stood before, and what came. Flow is compared in ln.
func (s *scores) add(f forecast.Inputs, m forecast.Morning) {
	if s == nil {
		return
	}
	k := s.truth.Index(f.Day)
	for i := range s.forecasts {
		x := &s.forecasts[i]
		e, truth, scale := m.Temp, s.truth.WaterC, func(v float64) float64 { return v }
		if x.Quantity == "flow" {
			e, truth, scale = m.Flow, s.truth.FlowM3S, func(v float64) float64 { return math.Log(max(v, 1e-3)) }
		}
		came, before := coldseam.At(truth, k+x.Lead-1), coldseam.At(truth, k-1)
		if len(e.Members) == 0 || x.Lead > len(e.Valid) || math.IsNaN(came) || math.IsNaN(before) {
			continue
		}
		x.N++
		x.Off += math.Abs(scale(e.Quantile(x.Lead-1, .5)) - scale(came))
		x.Persistence += math.Abs(scale(before) - scale(came))
		if came >= e.Quantile(x.Lead-1, .1) && came <= e.Quantile(x.Lead-1, .9) {
			x.Held++
		}
	}

	flow, water := coldseam.At(s.truth.FlowM3S, k-1), coldseam.At(s.truth.WaterC, k-1)
	s.event(0, m.Flow, s.truth.FlowM3S, k, func(path []float64) bool {
		return max(path[0], path[riseWithin-1]) > (1+riseCame)*flow
	}, flow)
	bands := m.Brief.Bands
	s.event(1, m.Temp, s.truth.WaterC, k, func(path []float64) bool {
		return coldseam.BandOf(bands, path[shiftWithin-1]) != coldseam.BandOf(bands, water)
	}, water)
}

// event scores the share of members in which something comes; a day without a
// value resolves nothing.
func (s *scores) event(i int, e coldseam.Ensemble, truth []float64, k int, comes func([]float64) bool, before float64) {
	x := &s.events[i]
	var came []float64
	sum := before
	for h := range x.Days {
		came = append(came, coldseam.At(truth, k+h))
		sum += came[h]
	}
	if len(e.Members) == 0 || x.Days > len(e.Valid) || math.IsNaN(sum) {
		return
	}
	p, hit := 0., 0.
	for _, m := range e.Members {
		if comes(m) {
			p += 1 / float64(len(e.Members))
		}
	}
	if comes(came) {
		hit = 1
	}
	x.N++
	x.Said, x.Came, x.Brier = x.Said+p, x.Came+hit, x.Brier+(p-hit)*(p-hit)
}

// keep and resume carry the sums over to another run.
func (s *scores) keep(to State) State {
	if s != nil {
		to.Forecasts, to.Events = s.forecasts, s.events[:]
	}
	return to
}

func (s *scores) resume(from State) {
	if s != nil && len(from.Forecasts) == len(s.forecasts) && len(from.Events) == len(s.events) {
		s.forecasts = from.Forecasts
		copy(s.events[:], from.Events)
	}
}

// into puts the means into the replay.
func (s *scores) into(r *coldseam.Replay) {
	if s == nil {
		return
	}
	for _, x := range s.forecasts {
		if n := float64(x.N); n > 0 {
			x.Off, x.Persistence, x.Held = x.Off/n, x.Persistence/n, x.Held/n
			r.Forecasts = append(r.Forecasts, x)
		}
	}
	for _, x := range s.events {
		if n := float64(x.N); n > 0 {
			x.Brier, x.Usual = x.Brier/n, x.Came/n*(1-x.Came/n)
			r.Events = append(r.Events, x)
		}
	}
}
