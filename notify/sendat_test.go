package notify

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// zones of the test: both clock-change directions, half-hour and 45-minute
// offsets, a half-hour change, a change at midnight, and none.
func zones(t *testing.T) map[string]*time.Location {
	t.Helper()
	out := map[string]*time.Location{}
	for _, n := range []string{"America/Chicago", "Asia/Beirut", "Australia/Lord_Howe", "Asia/Kathmandu",
		"Europe/Berlin",
		"America/St_Johns", "America/Winnipeg", "Africa/Casablanca", "Pacific/Chatham", "America/Anchorage"} {
		loc, err := time.LoadLocation(n)
		require.NoError(t, err)
		out[n] = loc
	}
	return out
}

// due is the tick's rule, minute by minute: local time reached, deadline not
// passed, no row of that local date yet.
func due(now time.Time, hhmm string, zone *time.Location, have map[coldseam.Date]bool) (coldseam.Date, bool) {
	d := coldseam.DateOf(now.In(zone))
	sendAt, err := SendAt(d, hhmm, zone)
	if err != nil || have[d] || now.Before(sendAt) {
		return d, false
	}
	end, err := SendAt(d, "10:00", zone)
	return d, err == nil && now.Before(end)
}

func ticks(d coldseam.Date, want time.Time, zone *time.Location) []time.Time {
	var out []time.Time
	start, end := d.In(zone), d.Add(1).In(zone)
	for now := start; now.Before(want.Add(-90 * time.Minute)); now = now.Add(time.Hour) {
		out = append(out, now)
	}
	for now := want.Add(-90 * time.Minute); now.Before(want.Add(90 * time.Minute)); now = now.Add(time.Minute) {
		if !now.Before(start) && now.Before(end) {
			out = append(out, now)
		}
	}
	for now := want.Add(90 * time.Minute); now.Before(end); now = now.Add(time.Hour) {
		out = append(out, now)
	}
	return out
}

// checkLocal: the clock shows the wanted time, or it stands right after a gap
// in which that time lies; and no earlier instant of the day shows it.
func checkLocal(t *testing.T, got time.Time, d coldseam.Date, hhmm string, zone *time.Location) {
	t.Helper()
	local := got.In(zone)
	if local.Format("15:04") == hhmm {
		require.Equal(t, d, coldseam.DateOf(local))
		require.NotEqual(t, hhmm, got.Add(-time.Hour).In(zone).Format("15:04"), "the first of two occurrences")
		require.NotEqual(t, hhmm, got.Add(-30*time.Minute).In(zone).Format("15:04"), "the first of two occurrences")
		return
	}
	_, before := got.Add(-time.Second).In(zone).Zone()
	_, after := local.Zone()
	require.Greater(t, after, before, "%s %s: only a gap may move the time", d, hhmm)
	const wall, wanted = "2006-01-02 15:04", "%s %s"
	require.Less(t, got.Add(-time.Second).In(zone).Format(wall), fmt.Sprintf(wanted, d, hhmm))
	require.Greater(t, local.Format(wall), fmt.Sprintf(wanted, d, hhmm))
}

func TestSendAtClockChanges(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name, zone, date, hhmm, want string
	}{
		{"plain", "America/Chicago", "2027-04-10", "04:45", "2027-04-10T09:45:00Z"},
		{"skipped hour: first instant after it", "America/Chicago", "2027-03-14", "02:30", "2027-03-14T08:00:00Z"},
		{"doubled hour: first occurrence", "America/Chicago", "2027-11-07", "01:30", "2027-11-07T06:30:00Z"},
		{"half-hour gap", "Australia/Lord_Howe", "2026-10-04", "02:15", "2026-10-03T15:30:00Z"},
		{"half-hour overlap", "Australia/Lord_Howe", "2026-04-05", "01:45", "2026-04-04T14:45:00Z"},
		{"midnight skipped", "Asia/Beirut", "2026-03-29", "00:15", "2026-03-28T22:00:00Z"},
		{"quarter-hour zone", "Asia/Kathmandu", "2026-03-29", "04:45", "2026-03-28T23:00:00Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			zone, err := time.LoadLocation(c.zone)
			require.NoError(t, err)
			d, err := coldseam.ParseDate(c.date)
			require.NoError(t, err)
			got, err := SendAt(d, c.hhmm, zone)
			require.NoError(t, err)
			require.Equal(t, c.want, got.UTC().Format(time.RFC3339))
		})
	}

	for _, bad := range []string{"", "4:45", "24:00", "04:60", "0445", "04:45:00", "ab:cd"} {
		_, err := SendAt(day0, bad, time.UTC)
		require.ErrorIs(t, err, coldseam.ErrInvalid, bad)
	}
}
