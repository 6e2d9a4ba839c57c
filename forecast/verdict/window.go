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
