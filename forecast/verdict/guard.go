package verdict

import (
	"math"
	"slices"

	"example.org/coldseam"
)

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// guard makes comparisons safe, whatever the caller handed over. A NaN is below
// no limit and above none, so that a limit or a forecast that is one would lift
// its stop in silence: it is missing instead. The caller's slices are not
// changed.
func (in *Inputs) guard() {
	g := &in.Gauge
	for _, s := range []*[]coldseam.Observation{&g.Discharge, &g.Stage, &g.Water, &g.Turbidity} {
		*s = finiteRows(*s)
	}

	def := DefaultTable()
	for _, r := range Thresholds() {
		if !finite(*r.at(&in.Table)) {
			*r.at(&in.Table) = *r.at(&def)
		}
	}

	in.limit("max_flow", &in.Reach.MaxFlowM3S)
	in.limit("flood_stage", &in.Reach.FloodStageM)
	dropNonFinite(&in.Reach.ActionStage)
	dropNonFinite(&in.Reach.Launch.DrownsM)
	dropNonFinite(&in.Weather.RainMM)
	in.Weather.Hours = slices.Clone(in.Weather.Hours)
	for i := range in.Weather.Hours {
		h := &in.Weather.Hours[i]
		for _, v := range []**float64{&h.AirC, &h.WindMS, &h.GustMS, &h.Thunder, &h.PrecipMM, &h.VisibilityM,
			&h.WindFromDeg} {
			dropNonFinite(v)
		}
	}

	in.Candidates = slices.Clone(in.Candidates)

	for i := range in.Candidates {
		c := &in.Candidates[i]
		for _, m := range []*[]float64{&c.WaterC, &c.FlowM3S, &c.AfterM3S, &c.RiseShare} {
			if len(*m) == 0 || !allFinite(*m) {
				*m = nil
			}
		}

		if !allFinite(c.RiseM) || c.PFlood != nil && !(*c.PFlood >= 0 && *c.PFlood <= 1) {
			c.RiseM, c.PFlood, c.stageInvalid = nil, nil, true
		}
		if c.HoldP != nil && !(*c.HoldP >= 0 && *c.HoldP <= 1) {
			c.HoldP = nil
		}
	}
}

// limit keeps a limit of the reach that is no number as a reason for NO CALL:
// nothing can be held against it.
func (in *Inputs) limit(quantity string, v **float64) {
	if *v == nil || finite(**v) {
		return
	}
	*v = nil
	r := missing("limit_invalid", nil)
	r.Names = map[string]string{"quantity": quantity}
	in.invalid = append(in.invalid, r)
}

func allFinite(x []float64) bool {
	return !slices.ContainsFunc(x, func(v float64) bool { return !finite(v) })
}

// dropNonFinite drops a value that is no number.
func dropNonFinite(v **float64) {
	if *v != nil && !finite(**v) {
		*v = nil
	}
}

// finiteRows marks rows whose value is no number as rows without one: their ice
// qualifier still counts.
func finiteRows(obs []coldseam.Observation) []coldseam.Observation {
	bad := func(o coldseam.Observation) bool { return !finite(o.Value) && o.Flag&coldseam.Missing == 0 }
	if !slices.ContainsFunc(obs, bad) {
		return obs
	}
	out := slices.Clone(obs)
	for i := range out {
		if bad(out[i]) {
			out[i].Flag |= coldseam.Missing
		}
	}
	return out
}
