package season

import (
	"math"

	"example.org/coldseam"
	"example.org/coldseam/forecast"
	"example.org/coldseam/forecast/flowlimit"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/run"
	"example.org/coldseam/forecast/verdict"
)

// CentreOf replays the mornings of a record by their daily means and centres the
// odds on those that could be fished: seasons fished, water up to 55 F, no ice, no
// stop of a rise and flow below the limit. Conditions are those measured, so that
// no forecast and no draw is in them. Mornings of leaveOut are left out; the year
// 0 leaves none out.
func CentreOf(days coldseam.Days, r coldseam.Reach, sp run.Species, e verdict.Effects,
	leaveOut int) verdict.Centre {
	days = without(days, leaveOut)
	if e == nil {
		e = verdict.DefaultEffects()
	}
	flow := verdict.FlowOfDates(days)
	s := forecast.SeriesOf(days, r, flow)
	s.Stage = forecast.Stages(sp, days, nil, 0, func(y int) bool { return y != leaveOut })
	sums, open := e.Sums(s), fishable(days, r)

	var past []float64
	for i, x := range sums {
		if x.OK && open[i] {
			light := e.Light(days.WaterC[i], true, true) // a day offers its best window
			past = append(past, x.S+verdict.NewShare*light)
		}
	}
	c := verdict.CentreOf(past)
	c.Flow = flow
	return c
}

// without is a record from which a year is taken out.
func without(d coldseam.Days, year int) coldseam.Days {
	for _, x := range []*[]float64{&d.FlowM3S, &d.WaterC, &d.AirC} {
		out := make([]float64, len(*x))
		for i, v := range *x {
			if out[i] = v; d.Day(i).Year == year {
				out[i] = math.NaN()
			}
		}
		*x = out
	}
	return d
}

// fishable tells for each day whether its morning had no stop that daily means
// show.
func fishable(days coldseam.Days, r coldseam.Reach) []bool {
	frozen := make([]ice.Day, days.Len())
	for i := range frozen {
		d := days.Day(i)
		frozen[i] = ice.Day{Date: d, At: d.Add(1).UTC(), WaterC: coldseam.At(days.WaterC, i), LowC: math.NaN(),
			AirC: coldseam.At(days.AirC, i), FlowM3S: coldseam.At(days.FlowM3S, i)}
		if i < len(days.IceMark) && days.IceMark[i] {
			frozen[i].MarkAt = frozen[i].At
		}
	}
	south := days.Lat < 0
	latch := ice.Run(ice.River{South: south, Usual: ice.UsualOf(south, frozen)}, ice.Record{}, frozen)

	limit := math.Inf(1)
	if r.MaxFlowM3S != nil {
		limit = *r.MaxFlowM3S
	} else if c := flowlimit.Propose(flowlimit.Input{Days: days}); len(c) > 0 {
		limit = c[0].FlowM3S
	}

	usual := verdict.SeasonFlowOf(days)
	out := make([]bool, days.Len())
	for i := 1; i < len(out); i++ {
		flow, before := coldseam.At(days.FlowM3S, i-1), coldseam.At(days.FlowM3S, i-2)
		out[i] = verdict.Fished(days.Day(i), days.Lat) && coldseam.At(days.WaterC, i) <= coldseam.FishableC &&
			latch[i-1].State == ice.Open && flow < limit && !usual.Stops(before, flow)
	}
	return out
}
