package verdict

import (
	"slices"
	"time"

	"example.org/coldseam"
)

// AsOf is a brief as it may be told at a time after its issue: where its hours
// are over, or a safety input has passed its greatest age meanwhile, there is no
// call any more. STOP stays as it is.
func AsOf(b coldseam.Brief, at time.Time) coldseam.Brief {
	if !b.Verdict.ShowsOdds() {
		return b
	}
	if !b.GoodUntil.IsZero() && !at.Before(b.GoodUntil) {
		over := because(KindMissing, "word_over", clubRule, nil)
		over.At = b.GoodUntil
		return noCall(b, over)
	}

	for i, in := range b.Inputs {
		age := in.Age + at.Sub(b.Issued)
		if !in.Safety || in.State != StateGood && in.State != "none" || in.Limit <= 0 || in.Age > in.Limit ||
			age <= in.Limit {
			continue
		}
		b.Inputs = slices.Clone(b.Inputs)
		b.Inputs[i].State, b.Inputs[i].Age = StateStale, age

		stale := because(KindMissing, "input_stale", clubRule, map[string]float64{"age_h": age.Hours(),
			"limit_h": in.Limit.Hours()})
		stale.Names = map[string]string{"input": in.Key}
		return noCall(b, stale)
	}

	return b
}

// Recall is b, the newest word on a reach, for somebody who was told to go
// there in the window told, and whether it calls them off. A stop on the hours
// that were told does, whatever stays free later in the day: the angler knows
// of these hours alone.
func Recall(b coldseam.Brief, told coldseam.Window) (coldseam.Brief, bool) {
	if !b.Verdict.ShowsOdds() {
		return b, true
	}

	stops, free, blind := stopsDuring(b, told)
	switch {
	case free:
		return b, false
	case len(stops) > 0:
		b.Verdict, b.Stops, b.Reasons = coldseam.Stop, stops, nil
		b = withoutOdds(b)
	case blind:
		b = noCall(b, because(KindMissing, "hours_missing", clubRule, nil))
	default:
		return b, false // the brief says nothing of these hours
	}

	hours := because(KindCaution, "told_hours", clubRule, nil)
	hours.At, hours.Until = told.Start, told.End
	b.Cautions = append([]coldseam.Reason{hours}, b.Cautions...)
	return b, true
}

// stopsDuring is what a brief says of the hours told: free where a window that
// covers them has no stop, else the stops; blind where such a window could not
// be judged. Windows that have begun are judged for stops alone. A brief without
// a window that covers them is asked for the one that shares most of them.
func stopsDuring(b coldseam.Brief, told coldseam.Window) (stops []coldseam.Reason, free, blind bool) {
	var most time.Duration
	var nearest []coldseam.Reason
	look := func(w coldseam.Window, begun bool) {
		if shared := minTime(w.End, told.End).Sub(maxTime(w.Start, told.Start)); shared > most {
			most, nearest = shared, w.Stops
		}
		if w.Start.After(told.Start) || w.End.Before(told.End) {
			return
		}
		stops = merge(stops, w.Stops)
		free = free || len(w.Stops) == 0 && (begun || w.OddsOK)
		blind = blind || len(w.Stops) == 0 && !begun && !w.OddsOK
	}

	for _, w := range b.Begun {
		look(w, true)
	}
	for _, w := range b.Windows {
		look(w, false)
	}
	if len(stops) == 0 && !free && !blind {
		stops = nearest
	}
	return stops, free, blind
}

func minTime(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func maxTime(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}
