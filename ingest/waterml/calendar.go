package waterml

import (
	"fmt"
	"strings"
	"time"

	"example.org/coldseam"
	"example.org/coldseam/ingest"
)

// implied are the times base + n x spacing.
type implied struct {
	spaced       bool
	base         time.Time // in the zone in which months and days are counted
	months, days int
	rest         time.Duration
}

func (d *doc) newImplied(base, spacing, site string) (implied, error) {
	s, err := d.stamp(base, site)
	if err != nil {
		return implied{}, err
	}

	m, days, rest, err := ingest.ParsePeriod(spacing)
	if err == nil && m == 0 && days == 0 && rest <= 0 {
		err = fmt.Errorf("spacing %q: want more than nothing: %w", clip(spacing), coldseam.ErrInvalid)
	}
	if err != nil {
		return implied{}, err
	}

	loc, err := d.location(site)
	if err != nil {
		return implied{}, err
	}
	if t, err := time.Parse(time.RFC3339, strings.TrimSpace(base)); err == nil {
		loc = t.Location() // a written offset is trusted, and months count in it
	}
	return implied{spaced: true, base: s.At.In(loc), months: m, days: days, rest: rest}, nil
}

func (im implied) at(n int) time.Time {
	return addCalendar(im.base, n*im.months, n*im.days).Add(time.Duration(n) * im.rest).UTC()
}

// addCalendar adds months, keeping the day of the month where the month has
// it, and days.
func addCalendar(t time.Time, months, days int) time.Time {
	if months != 0 {
		first := time.Date(t.Year(), t.Month()+time.Month(months), 1, t.Hour(), t.Minute(), t.Second(), t.Nanosecond(),
			t.Location())
		last := time.Date(first.Year(), first.Month()+1, 0, 0, 0, 0, 0, time.UTC).Day()
		t = time.Date(first.Year(), first.Month(), min(t.Day(), last), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(),
			t.Location())
	}
	return t.AddDate(0, 0, days)
}

// stamp reads a time. A zone-less one takes the configured zone, else the
// offset that the document itself gives for the station.
func (d *doc) stamp(text, site string) (ingest.Stamp, error) {
	s, err := d.times.Parse(text, site)
	if err == nil {
		return s, nil
	}
	if loc := d.written(site); loc != nil {
		if conf, lerr := d.p.Location(site); lerr == nil && conf == nil {
			return ingest.ParseTime(text, loc)
		}
	}
	return s, err
}

// written is the zone offset that a station record of the document carries.
func (d *doc) written(site string) *time.Location {
	t, err := time.Parse("-07:00", d.sites[site].Zone)
	if err != nil {
		return nil
	}
	_, off := t.Zone()
	return time.FixedZone("", off)
}

// location is the zone in which days and months of a site are counted: UTC
// when nothing is known.
func (d *doc) location(site string) (*time.Location, error) {
	loc, err := d.p.Location(site)
	if loc == nil && err == nil {
		if loc = d.written(site); loc == nil {
			loc = time.UTC
		}
	}
	return loc, err
}
