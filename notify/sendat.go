package notify

import (
	"fmt"
	"time"

	"example.org/coldseam"
)

// ParseClock reads a local time of day, "04:45".
func ParseClock(hhmm string) (hour, minute int, err error) {
	t, err := time.Parse("15:04", hhmm)
	if err != nil || len(hhmm) != 5 {
		return 0, 0, fmt.Errorf("time of day %q: want HH:MM: %w", hhmm, coldseam.ErrInvalid)
	}
	return t.Hour(), t.Minute(), nil
}

// SendAt is the instant at which the clocks of zone show hhmm on date d.
//
//   - A time that is skipped in spring (also where midnight itself is, as in
//     Beirut) is the first instant after the gap.
//   - A time that occurs twice in autumn is its first occurrence; the outbox
//     key stops a second mail.
//
// It asks the zone for its offsets around the day instead of trusting
// time.Date, whose choice in a gap or an overlap is not specified.
func SendAt(d coldseam.Date, hhmm string, zone *time.Location) (time.Time, error) {
	h, m, err := ParseClock(hhmm)
	if err != nil {
		return time.Time{}, err
	}

	wall := d.UTC().Add(time.Duration(h)*time.Hour + time.Duration(m)*time.Minute)
	// No zone is further than 15 h from UTC [common practice], so both offsets
	// that can rule the day are in force a day before and after.
	before := wall.Add(-offsetAt(wall.Add(-26*time.Hour), zone))
	after := wall.Add(-offsetAt(wall.Add(26*time.Hour), zone))
	first, second := before, after
	if after.Before(before) {
		first, second = after, before
	}

	for _, t := range []time.Time{first, second} {
		if offsetAt(t, zone) == wall.Sub(t) {
			return t, nil
		}
	}

	return gapEnd(first, second, zone), nil
}

func offsetAt(t time.Time, zone *time.Location) time.Duration {
	_, off := t.In(zone).Zone()
	return time.Duration(off) * time.Second
}

// gapEnd finds the change of offset between two instants by bisection, to the
// second.
func gapEnd(a, b time.Time, zone *time.Location) time.Time {
	for from := offsetAt(a, zone); b.Sub(a) > time.Second; {
		mid := a.Add(b.Sub(a) / 2).Truncate(time.Second)
		if !mid.After(a) {
			break
		}
		if offsetAt(mid, zone) == from {
			a = mid
		} else {
			b = mid
		}
	}
	return b
}
