package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/brieftest"
)

// A calendar without an entry still has a component, as RFC 5545 3.6 wants.
func TestCalendarWithoutEntries(t *testing.T) {
	t.Parallel()
	out, err := calendar("x", "us", testLinks(), nil)
	require.NoError(t, err)
	require.Contains(t, string(out),
		"BEGIN:VTIMEZONE\r\nTZID:UTC\r\nBEGIN:STANDARD\r\nDTSTART:19700101T000000\r\nTZOFFSETFROM:+0000\r\nTZOFFSETTO:+0000\r\nEND:STANDARD\r\nEND:VTIMEZONE\r\n")
	require.NotContains(t, string(out), "VEVENT")
	full, err := calendar("x", "us", testLinks(), brieftest.All())
	require.NoError(t, err)
	require.NotContains(t, string(full), "VTIMEZONE")
}

func TestCalendarSays(t *testing.T) {
	t.Parallel()
	out, err := calendar("Tamsen", "us", testLinks(), []coldseam.Brief{brieftest.Go()})
	require.NoError(t, err)
	again, err := calendar("Tamsen", "us", testLinks(), []coldseam.Brief{brieftest.Go()})
	require.NoError(t, err)
	require.Equal(t, out, again)

	flat := strings.ReplaceAll(string(out), "\r\n ", "")
	for _, want := range []string{"water up past 40\u00a0°F", "wave 6\u00a0in\u00a010", "DTSTART;VALUE=DATE:20270412",
		"URL:https://club.example/river/tamsen-bend", "Not a safety clearance",
		"Run: moving 7\u00a0in\u00a010\\, wave 5"} {
		require.Contains(t, flat, want)
	}
	past := brieftest.Go()
	past.Crossings[0].Dates = [3]coldseam.Date{brieftest.Day.Add(-2), brieftest.Day.Add(-2), brieftest.Day.Add(-2)}
	out, err = calendar("x", "us", testLinks(), []coldseam.Brief{past})
	require.NoError(t, err)
	require.Contains(t, strings.ReplaceAll(string(out), "\r\n ", ""), "Past it since Thu 8 Apr.")

	for _, b := range []coldseam.Brief{brieftest.Stop(), brieftest.NoCall()} {
		out, err := calendar("x", "us", testLinks(), []coldseam.Brief{b})
		require.NoError(t, err)
		require.Equal(t, 1, bytes.Count(out, []byte("BEGIN:VEVENT")), "the call alone")
		require.NotContains(t, strings.ReplaceAll(string(out), "\u00a0", " "), "in 10")
	}
}

// reader prints what a second implementation understands of a calendar.
const reader = `
import sys, json
from icalendar import Calendar
c = Calendar.from_ical(sys.stdin.buffer.read())
out = []
for e in c.walk('VEVENT'):
    out.append({'uid': str(e['UID']), 'summary': str(e['SUMMARY']), 'text': str(e['DESCRIPTION']),
      'start': e['DTSTART'].dt.isoformat(), 'end': e['DTEND'].dt.isoformat(), 'stamp': e['DTSTAMP'].dt.isoformat(), 'url': str(e['URL'])})
print(json.dumps({'name': str(c['X-WR-CALNAME']), 'version': str(c['VERSION']), 'events': out}))
`

// TestCalendarBySecondReader has Debian's python3-icalendar read the feed.
func TestCalendarBySecondReader(t *testing.T) {
	t.Parallel()
	python := "/usr/bin/python3"
	if exec.Command(python, "-c", "import icalendar").Run() != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("python3-icalendar is not installed, and CI is set")
		}
		t.Skip("python3-icalendar is not installed: second reader skipped")
	}

	bs := brieftest.All()
	bs[0].River = `Tamsen; the "long", winding\river: ` + strings.Repeat("é", 60)
	feed, err := calendar("Rivers, all; of them", "metric", testLinks(), bs)
	require.NoError(t, err)
	cmd := exec.Command(python, "-c", reader)
	cmd.Stdin = bytes.NewReader(feed)
	raw, err := cmd.Output()
	require.NoError(t, err)

	var got struct {
		Name, Version string
		Events        []struct{ UID, Summary, Text, Start, End, Stamp, URL string }
	}
	require.NoError(t, json.Unmarshal(raw, &got))
	require.Equal(t, "Rivers, all; of them", got.Name)
	require.Equal(t, "2.0", got.Version)
	require.Equal(t, bytes.Count(feed, []byte("BEGIN:VEVENT")), len(got.Events))

	ids := map[string]bool{}
	for _, e := range got.Events {
		require.False(t, ids[e.UID], "ids are unique: %s", e.UID)
		ids[e.UID] = true
		require.Less(t, e.Start, e.End)
		require.Equal(t, "2027-04-10T09:50:00+00:00", e.Stamp)
		require.Contains(t, e.URL, "https://club.example/river/")
	}

	require.True(t, strings.HasPrefix(got.Events[0].Summary, "GO "+bs[0].River),
		"escaped and folded text comes back whole: %s", got.Events[0].Summary)
	require.Equal(t, "2027-04-10", got.Events[0].Start)
	if dir := os.Getenv("COLDSEAM_KEEP"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "rivers.ics"), feed, 0o644))
	}
}

// A member's own calendar is for nobody's cache.
func TestOwnCalendarIsNotCached(t *testing.T) {
	t.Parallel()
	h := get(testHandler(t, newMemory()), strings.TrimPrefix(testLinks().Calendar(7), publicURL)).Header()
	require.Equal(t, "private, no-store", h.Get("Cache-Control"))
	require.Empty(t, h.Get("ETag"))
}

// What the page says of the species row stands wherever a number of the run does;
// without a run no band is called after the spring.
func TestARowSaysWhatItIsOnThePage(t *testing.T) {
	t.Parallel()
	b, w := brieftest.Go(), notify.WordsFor("us", "UTC")
	b.Run.Calibrated, b.Run.Fit = true, coldseam.RunFit{Seasons: 6, On: coldseam.Date{Year: 2026, Month: 11, Day: 20}}
	require.Equal(t, "row fitted from 6 counted seasons, 2026-11-20", runOf(b, w).Row)
	out, err := calendar("x", "us", testLinks(), []coldseam.Brief{b})
	require.NoError(t, err)
	ical := strings.ReplaceAll(string(out), "\r\n ", "")
	require.Contains(t, ical, "row fitted from 6 counted seasons")
	for _, e := range strings.Split(ical, "BEGIN:VEVENT") {
		if strings.Contains(e, "wave-") || strings.Contains(e, "stage-") {
			require.Contains(t, e, "row fitted from 6")
		}
	}

	b.Run.Fit = coldseam.RunFit{}
	require.Equal(t, "row as shipped", runOf(b, w).Row)
	b.Run = coldseam.RunState{Species: "walleye", Why: "no_season"}
	require.NotContains(t, fmt.Sprint(bandTableOf(b, w).Heads), "spawn")
	require.NotContains(t, fmt.Sprint(bandTableOf(b, w).Heads), "drop-back")
}
