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
// mail may still be made or a window is still open, from SafetyLead before a
// send on. Polls lie on the quarter hours, so that the last one before any send
// is never older than SafetyPoll.
const (
	SafetyPoll = 15 * time.Minute
	SafetyLead = 20 * time.Minute
)

// PollEvery is the time between two fetches of a number of requests: SafetyPoll
// for a safety input near a morning, the profile's own poll otherwise; never
// closer than the profile's hourly budget allows, of which a fifth is left for
// repeated tries and the other feeds, and never closer than min_interval.
func (p Profile) PollEvery(near bool, requests int) time.Duration {
	p = p.WithDefaults()
	d := time.Duration(p.Poll)
	if near {
		d = min(d, SafetyPoll)
	}
	budget := time.Duration(float64(max(requests, 1)) / (pollShare * p.RatePerHour) * float64(time.Hour))
	return max(d, budget, time.Duration(p.MinInterval))
}

// pollShare is the part of an hour's budget that regular polls may use
// [proposal].
const pollShare = .8

// Requests is how many requests a fetch begins with; further pages and the
// documents of an index come on top.
func (p Profile) Requests(req Request, now time.Time) int {
	p, err := p.At(req.Endpoint)
	if err != nil {
		return 0
	}
	calls, err := p.WithDefaults().plan(req, now)
	if err != nil {
		return 0
	}
	return len(calls)
}

// Addresses are the names under which the first pages of a fetch stand in the
// log and in the fetch state: addresses without their key.
func (p Profile) Addresses(req Request, now time.Time) ([]string, error) {
	p, err := p.At(req.Endpoint)
	if err != nil {
		return nil, err
	}
	calls, err := p.WithDefaults().plan(req, now)
	if err != nil {
		return nil, err
	}
	key, err := p.key()
	if err != nil {
		return nil, err
	}
	var out []string
	for _, c := range calls {
		out = append(out, cleanURL(c.log, key))
	}
	return out, nil
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
