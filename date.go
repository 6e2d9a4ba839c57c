package coldseam

import (
	"fmt"
	"time"
)

// Date is a civil day without zone: "which morning is it". The zero value is
// no date.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// DateOf returns the civil day of t in t's own location.
func DateOf(t time.Time) Date {
	y, m, d := t.Date()
	return Date{y, m, d}
}

// ParseDate reads an ISO 8601 calendar date, 2006-01-02.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Date{}, fmt.Errorf("date %q: want YYYY-MM-DD: %w", s, ErrInvalid)
	}
	return DateOf(t), nil
}

func (d Date) String() string { return fmt.Sprintf("%04d-%02d-%02d", d.Year, int(d.Month), d.Day) }

// IsZero reports whether d is no date.
func (d Date) IsZero() bool { return d == Date{} }

// UTC is midnight UTC of d, the form used for date arithmetic and for SQL.
func (d Date) UTC() time.Time { return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC) }

// In is the first instant of d in loc. Where the clock skips midnight it is
// the instant after the gap.
func (d Date) In(loc *time.Location) time.Time {
	t := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, loc)
	for DateOf(t).Before(d) {
		t = t.Add(30 * time.Minute)
	}
	return t
}

// At is the clock time since midnight of d in loc, as the wall shows it: also on
// a day of 23 or 25 hours. A time that the clock skips is an hour later.
func (d Date) At(clock time.Duration, loc *time.Location) time.Time {
	h, m := int(clock/time.Hour), int(clock%time.Hour/time.Minute)
	t := time.Date(d.Year, d.Month, d.Day, h, m, 0, 0, loc)
	if t.Hour() != h%24 || t.Minute() != m { // time.Date may choose either side of the gap
		_, before := t.Add(-24 * time.Hour).Zone()
		return d.UTC().Add(clock.Truncate(time.Minute) - time.Duration(before)*time.Second).In(loc)
	}
	return t
}

// ClockOf is the time of day that the wall shows at t, since midnight.
func ClockOf(t time.Time) time.Duration {
	return time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute +
		time.Duration(t.Second())*time.Second
}

// ParseClock reads a time of day such as "06:15".
func ParseClock(hhmm string) (time.Duration, error) {
	t, err := time.Parse("15:04", hhmm)
	if err != nil {
		return 0, fmt.Errorf("time of day %q: want 24 hours such as 06:15: %w", hhmm, ErrInvalid)
	}
	return ClockOf(t), nil
}

// Add returns the day n days later.
func (d Date) Add(n int) Date { return DateOf(d.UTC().AddDate(0, 0, n)) }

// Sub returns d - o in days.
func (d Date) Sub(o Date) int { return int(d.UTC().Sub(o.UTC()).Hours() / 24) }

// Before reports whether d is earlier than o.
func (d Date) Before(o Date) bool { return d.UTC().Before(o.UTC()) }

// YearDay is the day of the year, 1 January = 1.
func (d Date) YearDay() int { return d.UTC().YearDay() }

// Weekday is the day of the week of d.
func (d Date) Weekday() time.Weekday { return d.UTC().Weekday() }

// MarshalText writes the ISO form; the zero date is empty. ErrInvalid: a date
// that UnmarshalText would not read.
func (d Date) MarshalText() ([]byte, error) {
	if d.IsZero() {
		return nil, nil
	}
	s := d.String()
	if _, err := ParseDate(s); err != nil {
		return nil, err
	}
	return []byte(s), nil
}

// UnmarshalText reads the ISO form; empty is the zero date.
func (d *Date) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*d = Date{}
		return nil
	}
	v, err := ParseDate(string(b))
	if err != nil {
		return err
	}
	*d = v
	return nil
}
