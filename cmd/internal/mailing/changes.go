package mailing

import (
	"time"

	"example.org/coldseam"
)

// eveningCheck is the local time at which tomorrow's brief is made whatever the
// sun does: without a second word on tomorrow nothing can be said to have
// turned [proposal].
const eveningCheck = 18*time.Hour + 30*time.Minute

// EveningDue is the time of a river's evening look at the day after d, when
// now lies between it and the end of the flip notices.
func EveningDue(d coldseam.Date, loc *time.Location, now time.Time) (at time.Time, due bool) {
	at = d.At(eveningCheck, loc)
	return at, !now.Before(at) && now.Before(d.At(flipTo, loc))
}

// verdictIssued is the verdict on a day that a subscriber could read in an earlier
// brief: the brief of that day itself, or the outlook of the day before. ok is
// false when it said nothing of that day.
func (ml *Mailer) verdictIssued(prev coldseam.Brief, d coldseam.Date, p coldseam.Preferences) (v coldseam.Verdict, ok bool) {
	mine := ml.Personal(prev, p)
	if prev.Day == d {
		return mine.Verdict, true
	}
	for _, x := range mine.Next {
		if x.Day == d {
			return x.Verdict, x.OddsOK || x.Verdict == coldseam.Stop
		}
	}
	return coldseam.NoCall, false
}
