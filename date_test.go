package coldseam_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// On a day of 23 or 25 hours a clock time is what the wall shows; one that the
// clock skips is the same distance behind the gap.
func TestClockTimesOnDaysOfAnotherLength(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		zone, day, clock, want string
		hours                  float64
	}{
		{"America/Chicago", "2026-03-08", "01:30", "01:30", 23},
		{"America/Chicago", "2026-03-08", "02:30", "03:30", 23},
		{"America/Chicago", "2026-03-08", "06:30", "06:30", 23},
		{"America/Chicago", "2026-03-08", "22:00", "22:00", 23},
		{"America/Chicago", "2026-11-01", "01:30", "01:30", 25},
		{"America/Chicago", "2026-11-01", "06:30", "06:30", 25},
		{"America/Chicago", "2026-11-01", "22:00", "22:00", 25},
		{"Pacific/Chatham", "2026-09-27", "03:00", "04:00", 23},
		{"Pacific/Chatham", "2026-09-27", "06:30", "06:30", 23},
		{"Pacific/Chatham", "2026-04-05", "06:30", "06:30", 25},
		{"Pacific/Chatham", "2026-04-05", "22:00", "22:00", 25},
	} {
		loc, err := time.LoadLocation(c.zone)
		require.NoError(t, err)
		d, err := coldseam.ParseDate(c.day)
		require.NoError(t, err)
		clock, err := coldseam.ParseClock(c.clock)
		require.NoError(t, err)
		at := d.At(clock, loc)
		require.Equal(t, c.day+" "+c.want, at.Format("2006-01-02 15:04"), c.zone)
		require.Equal(t, c.hours, d.Add(1).In(loc).Sub(d.In(loc)).Hours(), c.zone)
		require.Equal(t, d, coldseam.DateOf(at))
	}
}
