package ingest

import (
	"fmt"
	"slices"
	"time"

	"example.org/coldseam"
)

// openEnded reports whether a warning holds as long as it is listed.
func openEnded(as []coldseam.Alert) bool {
	return slices.ContainsFunc(as, func(a coldseam.Alert) bool { return a.EndAssumed })
}

// stamped sets known-at and what a damaged message lacks, so that a safety
// message is never lost for its form.
func stamped(as []coldseam.Alert, p Profile, known time.Time) []coldseam.Alert {
	out := make([]coldseam.Alert, len(as))
	twins := map[[4]string]int{}

	for i, a := range as {
		a.KnownAt, a.Feed = known, p.Name
		k := [4]string{a.Document, a.Sender, a.Identifier, a.Sent.String()}
		if twins[k]++; twins[k] > 1 { // two messages of one name: neither hides the other
			a.Document += fmt.Sprintf("#%d", twins[k])
		}
		if a.Provider == "" {
			a.Provider = p.Provider
		}

		if a.Sent.IsZero() { // damaged: it counts from when it came
			a.Sent = known
		}
		if a.From.IsZero() || a.From.Equal(a.Sent) && a.Sent.After(known) { // by a clock that is wrong
			a.From = known
		}
		a.EndAssumed = a.EndAssumed || a.End.IsZero()

		// Without an end it holds as long as the feed lists it. The steps of half
		// a day keep the readings of a morning from being versions of it.
		if last := later(a.From, known.Truncate(assumedLife/2)).Add(assumedLife); a.EndAssumed && a.End.Before(last) {
			a.End = last
		}
		out[i] = a
	}

	return out
}

// assumedLife of a warning that names no end, from when it begins or was last
// read [proposal].
const assumedLife = 24 * time.Hour
