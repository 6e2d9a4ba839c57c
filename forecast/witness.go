package forecast

import (
	"math"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ice"
	"example.org/coldseam/forecast/trust"
)

const (
	rainHours = 24
	// rainSeen: of these hours so many must be covered before "no rain" is known [proposal].
	rainSeen = 18
	// frostDays: snow of a frost so long ago still feeds a river when it thaws [proposal].
	frostDays = 10
)

// witness is what else would have moved the river of a gauge that stands still.
func (w *work) witness() trust.Witness {
	return trust.Witness{RainMM: w.f.rainPast(), Thaw: w.thaw(), Near: w.f.Near}
}

// rainPast is the rain of the last 24 h, measured or by the newest issue for
// each hour, whichever is more. Too little of it seen to be called dry is nil.
func (f *Inputs) rainPast() *float64 {
	var hours [rainHours]float64
	for i := range hours {
		hours[i] = math.NaN()
	}
	from := f.Now.Add(-rainHours * time.Hour)
	issues := f.RainIssues
	if p := f.weather(coldseam.Precip); p != nil {
		issues = append(issues[:len(issues):len(issues)], *p)
	}

	for _, fc := range issues {
		for k, span := range fc.Spans() {
			rate := fc.Value[k] / span[1].Sub(span[0]).Hours()
			for i := range hours {
				mid := from.Add(time.Duration(i)*time.Hour + 30*time.Minute)
				if !mid.Before(span[0]) && mid.Before(span[1]) && coldseam.Precip.Plausible(fc.Value[k]) {
					hours[i] = rate
				}
			}
		}
	}

	told, seen := 0.0, 0
	for _, mm := range hours {
		if !math.IsNaN(mm) {
			told, seen = told+mm, seen+1
		}
	}

	measured, first, last := 0.0, time.Time{}, time.Time{}
	for _, o := range f.Rain {
		if o.At.After(from) && !o.At.After(f.Now) && o.Flag.Usable() {
			if first.IsZero() {
				first = o.At
			}
			measured, last = measured+o.Value, o.At
		}
	}

	mm := max(told, measured)
	if seen < rainSeen && last.Sub(first) < rainSeen*time.Hour && mm < trust.WitnessRainMM {
		return nil
	}
	return &mm
}

// thaw reports whether yesterday was above freezing soon after a frost, or the
// ice of the reach is melting. Nil without air: today's forecast stands in for
// a mean of yesterday that has not come.
func (w *work) thaw() *bool {
	f := w.f
	thaws := w.ice.State == ice.Breakup || w.ice.State == ice.Ice && w.ice.ThawCD > 0
	k := f.Days.Index(f.lastDay())
	air := coldseam.At(f.Days.AirC, k)
	if told := f.weather(coldseam.AirTemp); told != nil && math.IsNaN(air) {
		if today := AirDays(told.At, told.Value, f.lastDay(), 1, f.Loc); len(today) > 0 {
			air = today[0]
		}
	}
	if math.IsNaN(air) && !thaws {
		return nil
	}
	for i := range frostDays {
		thaws = thaws || air > 0 && coldseam.At(f.Days.AirC, k-1-i) < 0
	}
	return &thaws
}
