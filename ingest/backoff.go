package ingest

import "time"

// Backoff is the pause after a number of failures in a row: 1, 2, 4 ... minutes
// to an hour, for ever. A feed is never given up.
func Backoff(failures int) time.Duration {
	if failures <= 0 {
		return 0
	}
	if failures > 6 {
		return time.Hour
	}
	return min(time.Minute<<(failures-1), time.Hour)
}

// SafetyPoll is the longest time between two fetches of a safety input while a
// mail may still be made or a window is still open; SafetyLead is how long
// before the first send that begins.
const (
	SafetyPoll = 15 * time.Minute
	SafetyLead = 20 * time.Minute
)

// PollEvery is the time between two fetches at now: SafetyPoll from SafetyLead
// before the first send until the last window closes, the profile's own poll
// otherwise; never closer than the profile's budget of requests an hour allows
// for a fetch of the given number of requests, and never closer than
// min_interval.
func (p Profile) PollEvery(now, firstSend, lastWindow time.Time, requests int) time.Duration {
	p = p.WithDefaults()
	d := time.Duration(p.Poll)
	if !now.Before(firstSend.Add(-SafetyLead)) && now.Before(lastWindow) {
		d = min(d, SafetyPoll)
	}
	budget := time.Duration(float64(max(requests, 1)) / p.RatePerHour * float64(time.Hour))
	return max(d, budget, time.Duration(p.MinInterval))
}

// StateOf tells ok from stale: stale is a newest value older than three steps
// of the series. An unknown step is taken as an hour.
func StateOf(newest, now time.Time, step time.Duration) State {
	if newest.IsZero() {
		return StateEmpty
	}
	if step <= 0 {
		step = time.Hour
	}
	if now.Sub(newest) > 3*step {
		return StateStale
	}
	return StateOK
}
