package main

import (
	"time"

	"example.org/coldseam"
)

// eveningLook is the local time at which tomorrow's brief is made whatever the
// sun does: without a second word on tomorrow nothing can be said to have
// turned [proposal].
const eveningLook = 18*time.Hour + 30*time.Minute

// eveningDue is the time of a river's evening look at the day after d, when
// now lies between it and the end of the flip notices.
func eveningDue(d coldseam.Date, loc *time.Location, now time.Time) (at time.Time, due bool) {
	at = d.At(eveningLook, loc)
	return at, !now.Before(at) && now.Before(d.At(flipTo, loc))
}

// toldOf is the verdict on a day that a subscriber could read in an earlier
// brief: the brief of that day itself, or the outlook of the day before. ok is
// false when it said nothing of that day.
func (a *app) toldOf(prev coldseam.Brief, d coldseam.Date, p coldseam.Preferences) (v coldseam.Verdict, ok bool) {
	if prev.Day == d {
		return a.personal(prev, p).Verdict, true
	}
	cost := prev.Cost
	if p.Cost > 0 {
		cost = min(max(p.Cost, .2), .7)
	}
	margin := a.table().Margin
	const eps = 1e-9 // .40 + .10 is not .50 in binary
	for _, x := range prev.Next {
		switch {
		case x.Day != d:
			continue
		case x.Verdict == coldseam.Stop:
			return coldseam.Stop, true
		case !x.OddsOK || cost <= 0:
			return coldseam.NoCall, false
		case x.Odds >= cost+margin-eps && x.Verdict == coldseam.TossUp && p.Cost == 0:
			return coldseam.TossUp, true // held down by a cap
		case x.Odds >= cost+margin-eps:
			return coldseam.Go, true
		case x.Odds < cost-margin-eps:
			return coldseam.Stay, true
		}
		return coldseam.TossUp, true
	}
	return coldseam.NoCall, false
}
