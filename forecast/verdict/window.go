package verdict

import (
	"math"
	"time"

	"example.org/coldseam"
)

// Span is a stretch of hours of the day.
type Span struct{ Start, End time.Time }

// WindowHours is the length of a candidate window [proposal], within the 3-4 h
// a morning lasts.
const WindowHours = 3.5

// begunAfter is how long after its start a window can still be chosen.
const begunAfter = 30 * time.Minute

// windowStep is the distance of the starts of two candidates.
const windowStep = 90 * time.Minute

// Windows cuts the daylight of a day into candidate windows of 3.5 h, the
// first at sunrise, the last ending at sunset. A window that began more than
// half an hour before now is left out. Daylight shorter than 3 h gives none.
func Windows(sun Sun, now time.Time) []Span {
	if !sun.OK {
		return nil
	}
	rise := sun.Rise.Add(5*time.Minute - time.Second).Truncate(5 * time.Minute)
	set := sun.Set.Truncate(5 * time.Minute)
	long := hours(WindowHours)
	if set.Sub(rise) < long {
		long = set.Sub(rise)
	}

	if long < 3*time.Hour {
		return nil
	}
	var out []Span
	add := func(s time.Time) {
		if !s.Before(now.Add(-begunAfter)) {
			out = append(out, Span{s, s.Add(long)})
		}
	}

	last := set.Add(-long)
	for s := rise; s.Before(last.Add(-windowStep / 2)); s = s.Add(windowStep) {
		add(s)
	}
	add(last)
	return out
}

// Begun lists the windows that Windows leaves out at now and that are not over:
// whoever was told of one may be on the water.
func Begun(sun Sun, now time.Time) []Span {
	var out []Span
	for _, s := range Windows(sun, sun.Rise) {
		if s.Start.Before(now.Add(-begunAfter)) && s.End.After(now) {
			out = append(out, s)
		}
	}
	return out
}

// minWarmGainC is the difference of windows below which waiting is not worth
// a word.
const minWarmGainC = 0.3

// WarmestWindow is the warmest window of a day by median water, -1 where waiting
// for it does not pay: from 42 F on, in the first window, or with hardly a
// difference.
func WarmestWindow(waterC []float64) int {
	at, cold := -1, math.Inf(1)
	for i, c := range waterC {
		if at < 0 || c > waterC[at] {
			at = i
		}
		cold = math.Min(cold, c)
	}
	if at <= 0 || !(coldseam.F(waterC[at]) < lightF) || !(waterC[at]-cold >= minWarmGainC) {
		return -1
	}
	return at
}

// window is a candidate as the brief keeps it: its stops, caps and weather, and its odds
// where they may be told.
func (in *Inputs) window(l assessment, day []coldseam.Reason, odds bool) coldseam.Window {
	w := coldseam.Window{Start: l.c.Start, End: l.c.End, Stops: merge(day, l.stops), Caps: l.caps, Cautions: l.cautions,
		HoldP: l.c.HoldP, Why: l.c.Why, Crafts: in.crafts(l.c)}
	if odds {
		w.Odds, w.OddsOK, w.OddsKept, w.Spread = l.p, true, l.kept, l.spread
	}
	if len(w.Stops) == 0 {
		w.Tie = l.c.Tie
	}

	for i, q := range []float64{.1, .5, .9} {
		if len(l.c.WaterC) > 0 {
			w.WaterC[i] = coldseam.Quantile(l.c.WaterC, q)
		}
		if len(l.c.FlowM3S) > 0 {
			w.FlowM3S[i] = coldseam.Quantile(l.c.FlowM3S, q)
		}
	}

	type worst func(from, to time.Time, get quantity) (float64, time.Time, bool)
	set := func(dst **float64, get quantity, of worst) {
		if _, covered := in.Weather.steps(w.Start, w.End, get); covered {
			v, _, _ := of(w.Start, w.End, get)
			*dst = &v
		}
	}
	set(&w.AirC, air, in.Weather.least)
	set(&w.WindMS, wind, in.Weather.greatest)
	set(&w.GustMS, gust, in.Weather.greatest)
	set(&w.Thunder, thunder, in.Weather.greatest)
	w.Sky = in.sky(w, l.c)
	return w
}

// sky is what the forecast says of a window beyond what is judged.
func (in *Inputs) sky(w coldseam.Window, c Candidate) coldseam.Sky {
	at := func(t time.Time, get quantity) *float64 {
		steps, covered := in.Weather.steps(t, t.Add(time.Minute), get)
		if !covered {
			return nil
		}
		return get(steps[0])
	}
	launch, _ := in.onWater(c)
	out := coldseam.Sky{LaunchC: at(launch, air), EndC: at(w.End, air)}
	if _, windiest, ok := in.Weather.greatest(w.Start, w.End, wind); ok {
		out.WindFromDeg = at(windiest, windFrom)
	}

	if steps, covered := in.Weather.steps(w.Start, w.End, rain); covered {
		mm, done := 0.0, w.Start // steps may overlap
		for _, h := range steps {
			if upTo := minTime(h.To, w.End); upTo.After(done) {
				mm += *h.PrecipMM * float64(upTo.Sub(maxTime(h.From, done))) / float64(h.To.Sub(h.From))
				done = upTo
			}
		}
		out.RainMM = &mm
	}
	return out
}
