package forecast

import (
	"math"
	"sort"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// releaseAge is the age up to which a release schedule or agency forecast still
// says what the dam does [proposal: they come daily].
const releaseAge = 36 * time.Hour

// agencyGap is the longest step of an agency's forecast that is drawn through as
// a line; longer ones are means of days.
const agencyGap = 12 * time.Hour

// agencyDay is the share of a civil day that values must cover to make its mean.
const agencyDay = .75

// freshAgency are the forecasts of the agency that are not out of date.
func (f *Inputs) freshAgency() []coldseam.Forecast {
	var out []coldseam.Forecast
	for _, fc := range f.Agency {
		if age := f.Now.Sub(fc.Issued); age >= 0 && age <= releaseAge {
			out = append(out, fc)
		}
	}
	return out
}

// agencyMembers are the agency's forecasts as daily means from the day after
// the last complete one: every member of an ensemble is one, a single forecast
// is one. The observed hours of the day that has begun belong to its mean.
func (f *Inputs) agencyMembers(horizon int) [][]float64 {
	var out [][]float64
	for _, fc := range f.freshAgency() {
		rows := fc.Members
		if len(rows) == 0 {
			rows = [][]float64{fc.Value}
		}
		for _, v := range rows {
			if m := flowDays(fc, v, f.Discharge, f.lastDay(), horizon, f.Loc); someFinite(m) {
				out = append(out, m)
			}
		}
	}
	return out
}

// agencyErrors compares the first forecast of each past day with the daily means
// that came: ln of forecast over observed, by lead.
func (f *Inputs) agencyErrors() []ensemble.AirError {
	var out []ensemble.AirError
	done := map[coldseam.Date]bool{}

	for _, fc := range f.AgencyPast {
		last := coldseam.DateOf(fc.Issued.In(f.Loc)).Add(-1)
		if done[last] {
			continue
		}
		done[last] = true

		e := ensemble.AirError{Issued: last}
		for h, v := range flowDays(fc, fc.Value, nil, last, ensemble.DefaultHorizon, f.Loc) {
			o := coldseam.At(f.Days.FlowM3S, f.Days.Index(last.Add(h+1)))
			x := math.NaN()
			if v > 0 && o > 0 {
				x = math.Log(v / o)
			}
			e.Err = append(e.Err, x)
		}

		if someFinite(e.Err) {
			out = append(out, e)
		}
	}

	return out
}

// flowDays are the daily means of a discharge forecast by civil day after last,
// NaN where it does not cover three quarters of the day. Means of days stand at
// the beginning of their period, other values are joined by lines, also to the
// readings before them.
func flowDays(fc coldseam.Forecast, value []float64, obs []coldseam.Observation, last coldseam.Date, horizon int,
	loc *time.Location) []float64 {
	out := make([]float64, horizon)
	p := flowLine(fc, value, obs)
	for k := range out {
		day := last.Add(k + 1)
		a, b := day.In(loc), day.Add(1).In(loc)
		sum, n, all := 0.0, 0.0, 0.0
		for t := a.Add(30 * time.Minute); t.Before(b); t = t.Add(time.Hour) {
			all++
			if v, ok := p.at(t); ok {
				sum, n = sum+v, n+1
			}
		}

		out[k] = math.NaN()
		if n >= agencyDay*all {
			out[k] = sum / n
		}
	}

	return out
}

// line is a discharge over time, m3/s.
type line struct {
	at0  []time.Time
	v    []float64
	hold time.Duration // each value stands for so long from its time; 0 = joined by lines
}

func flowLine(fc coldseam.Forecast, value []float64, obs []coldseam.Observation) line {
	var p line
	if fc.Stat == coldseam.Mean {
		p.hold = 24 * time.Hour
		if len(fc.At) > 1 {
			p.hold = fc.At[1].Sub(fc.At[0])
		}
	} else {
		for _, o := range obs {
			if o.Flag.Usable() && o.At.Before(fc.At[0]) {
				p.at0, p.v = append(p.at0, o.At), append(p.v, o.Value)
			}
		}
	}
	p.at0, p.v = append(p.at0, fc.At...), append(p.v, value...)
	return p
}

// at is the discharge at t; ok is false where nothing stands for it.
func (p line) at(t time.Time) (float64, bool) {
	i := sort.Search(len(p.at0), func(k int) bool { return p.at0[k].After(t) }) - 1
	switch {
	case i < 0:
		return 0, false
	case p.hold > 0:
		return p.v[i], t.Sub(p.at0[i]) < p.hold
	case i+1 == len(p.at0):
		return p.v[i], t.Equal(p.at0[i])
	}
	gap := p.at0[i+1].Sub(p.at0[i])
	if gap > agencyGap {
		return 0, false
	}
	w := t.Sub(p.at0[i]).Seconds() / gap.Seconds()
	return p.v[i] + w*(p.v[i+1]-p.v[i]), true
}

func someFinite(x []float64) bool {
	for _, v := range x {
		if !math.IsNaN(v) {
			return true
		}
	}
	return false
}

// releasePlan reports whether the agency's forecast is fresh and speaks of the
// morning's own day.
func (w *work) releasePlan() bool {
	lead := w.f.lead(w.f.Day)
	for _, m := range w.agency {
		if v := coldseam.At(m, lead); v > 0 {
			return true
		}
	}
	return false
}

// plan is the release schedule by the hour, where the reach is regulated and
// the newest fresh forecast has hours.
func (f *Inputs) plan() func(time.Time) (float64, bool) {
	var best coldseam.Forecast
	for _, fc := range f.freshAgency() {
		if fc.Stat != coldseam.Mean && fc.Issued.After(best.Issued) {
			best = fc
		}
	}
	if len(best.At) == 0 {
		return nil
	}
	return flowLine(best, best.Value, nil).at
}
