package forecast

import (
	"math"
	"slices"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"example.org/coldseam/forecast/thermal"
)

// waterSource is where the water temperature of the reach comes from.
type waterSource int

const (
	waterGauge     waterSource = iota // the gauge's own thermometer
	waterNeighbour                    // a neighbour gauge's, through a fitted relation
	waterReadings                     // members' readings alone
)

// saltReach is the stream of the draws that lead from gauge to reach.
const saltReach = 21

// readings sorts out what stands for the water of the reach, before the models
// run: where no gauge measures it, members' readings make the record.
func (w *work) readings() {
	f := w.f
	switch {
	case f.TempSite != "" && f.TempSite != f.Reach.Site && someWater(f.Days):
		w.source = waterNeighbour
	case !someWater(f.Days) && len(f.Readings) > 0:
		w.source = waterReadings
		f.Days = withReadings(f.Days, f.Readings, f.Loc, f.lastDay())
		for _, r := range f.Readings {
			f.Water = append(f.Water, coldseam.Observation{At: r.At, KnownAt: r.At, Value: r.Value,
				Flag: coldseam.Estimated})
		}
		slices.SortStableFunc(f.Water, func(a, b coldseam.Observation) int { return a.At.Compare(b.At) })
	}
}

func someWater(d coldseam.Days) bool {
	return slices.ContainsFunc(d.WaterC, func(v float64) bool { return !math.IsNaN(v) })
}

// withReadings is d with the daily means that members' readings make: each
// reading less the usual departure of its hour, averaged over the day.
func withReadings(d coldseam.Days, rs []thermal.Reading, loc *time.Location, last coldseam.Date) coldseam.Days {
	shape := thermal.NewDiel(nil, time.Time{}, loc)
	sum, n := map[coldseam.Date]float64{}, map[coldseam.Date]float64{}
	first := last
	for _, r := range rs {
		day := coldseam.DateOf(r.At.In(loc))
		if last.Before(day) {
			continue // the morning's own day is not over
		}
		sum[day] += r.Value - shape.Departure(0, r.Value, r.At)
		n[day]++
		if day.Before(first) {
			first = day
		}
	}

	if d.Len() == 0 {
		d.First = first
	}
	d.WaterC = make([]float64, max(d.Len(), last.Sub(d.First)+1))
	for i := range d.WaterC {
		day := d.Day(i)
		d.WaterC[i] = math.NaN()
		if n[day] > 0 {
			d.WaterC[i] = math.Max(sum[day]/n[day], 0)
		}
	}

	return d
}

// toReach makes the way from the gauge's forecast to the reach's, member by
// member, and what the brief says of it.
func (w *work) toReach() {
	f := w.f
	rng := ensemble.Stream(f.Seed, f.lastDay(), saltReach)
	offset := thermal.FitOffset(f.Readings)

	switch w.source {
	case waterNeighbour:
		var own, other []float64
		for _, r := range f.Readings {
			own, other = append(own, r.Value-offset.Readers[r.Reader]), append(other, r.Gauge)
		}
		rel, _ := thermal.FitNeighbour(own, other) // without a reading: as it is, with a wide spread
		w.reach = rel.Draw(f.Members, rng)
		w.waterNote = byReadings("water_neighbour", rel.N)
		w.waterNote.Names = map[string]string{"gauge": string(f.TempSite)}
	case waterReadings:
		w.reach = thermal.Offset{SD: thermal.ReadingSD}.Draw(f.Members, rng)
		w.waterNote = byReadings("water_readings", len(f.Readings))
	default:
		if offset.N > 0 {
			w.reach = offset.Draw(f.Members, rng)
			w.waterNote = byReadings("water_offset", offset.N)
			w.waterNote.Values["offset_k"] = offset.Mean
		}
	}

	w.tempReach = w.reach.Result(w.tempR)
	w.daysReach = w.reach.Days(f.Days)
}

func byReadings(code string, n int) coldseam.Reason {
	return coldseam.Reason{Code: code, Values: map[string]float64{"by_readings": float64(n)}}
}
