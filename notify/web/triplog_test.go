package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
)

func at(h, m int) time.Time { return time.Date(2027, 4, 10, h+5, m, 0, 0, time.UTC) }

// logHandler serves the pages at half past twelve, when people are back.
func logHandler(t *testing.T, m *memory) http.Handler {
	t.Helper()
	c := testConfig(m)
	c.Now = func() time.Time { return at(12, 30) }
	h, err := New(c)
	require.NoError(t, err)
	return h
}

// The answer in the mail and one tap on the page save a trip; what was logged of it
// before stays.
func TestTripLogInTwoTaps(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		answer, tap string
		fish        int
		hours       float64
		wentNot     bool
	}{
		{"none", "0,3", 0, 3, false},
		{"1-3", "2,4", 2, 4, false},
		{"4", "6,5", 6, 5, false},
		{"no", "no", 0, 0, true},
	} {
		m := newMemory()
		h := logHandler(t, m)
		require.Contains(t, get(h, paths()["log"]+"?a="+c.answer).Body.String(), `name="tap" value="`+c.tap+`"`)
		w := post(h, paths()["log"], url.Values{"tap": {c.tap}})
		require.Equal(t, 200, w.Code, w.Body.String())
		got := m.trips[tripKey(7, "tamsen-bend", brieftest.Day)]
		require.Equal(t, c.fish, got.Fish)
		require.InDelta(t, c.hours, got.Hours, 0)
		require.Equal(t, c.wentNot, got.WentNot)
		require.Empty(t, got.SpotID, "a spot that was not said")
	}

	m := newMemory()
	h := logHandler(t, m)
	require.Equal(t, 200, post(h, paths()["log"], url.Values{"a": {"1-3"}, "fish": {"1"}, "hours": {"2"},
		"start": {"06:15"}, "first": {"06:50"}, "spot": {"main-seam"}, "weight": {"1/4"}, "note": {"fog"}}).Code)
	require.Equal(t, 200, post(h, paths()["log"], url.Values{"tap": {"3,4"}}).Code)
	got := m.trips[tripKey(7, "tamsen-bend", brieftest.Day)]
	require.Equal(t, 3, got.Fish)
	require.Equal(t, "fog", got.Note)
	require.Equal(t, "main-seam", got.SpotID)
	require.Equal(t, at(6, 50), got.FirstFish)
}

// A trip of tomorrow is no trip yet.
func TestTripLogOfADayToCome(t *testing.T) {
	t.Parallel()
	m := newMemory()
	c := testConfig(m)
	c.Now = func() time.Time { return at(-5, 0) }
	h, err := New(c)
	require.NoError(t, err)
	for _, v := range []url.Values{{"a": {"none"}, "hours": {"3"}}, {"a": {"no"}}, {"tap": {"0,1"}}} {
		w := post(h, paths()["log"], v)
		require.Equal(t, http.StatusUnprocessableEntity, w.Code)
		require.Contains(t, w.Body.String(), "still to come")
	}
	require.Empty(t, m.trips)
}

func TestTripLogWhole(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := logHandler(t, m)
	v := url.Values{"a": {"1-3"}, "fish": {"3"}, "hours": {"4,5"}, "anglers": {"2"}, "lines": {"3"}, "start": {"06:15"},
		"spot": {"main-seam"}, "weight": {"1/4"},
		"held": {"no"}, "held_at": {"07:30"}, "because": {"no"}, "presentation": {"quartering"}, "body": {"flutter"},
		"line": {"braid-0.14"}, "angle": {"40"}, "first": {"06:50"},
		"looked": {"3"}, "ripe": {"1"}, "spent": {"1"}, "released": {"2"}, "water": {"39.2"}, "water_at": {"08:00"},
		"clarity": {"stained"}, "night": {"1"}, "note": {"lost two at the boat\r\nwind"}}
	w := post(h, paths()["log"], v)
	require.Equal(t, 200, w.Code, w.Body.String())

	held, because, angle, water := false, true, 40., coldseam.C(39.2)
	want := coldseam.Trip{
		Reach:        "tamsen-bend",
		Subscriber:   7,
		Date:         brieftest.Day,
		Start:        at(6, 15),
		Hours:        4.5,
		Anglers:      2,
		Lines:        3,
		Species:      "walleye",
		Fish:         3,
		LookedAt:     3,
		Ripe:         1,
		Spent:        1,
		Released:     2,
		SpotID:       "main-seam",
		Presentation: "quartering",
		Body:         "flutter",
		Line:         "braid-0.14",
		WeightOz:     .25,
		Held:         &held,
		HeldAt:       at(7, 30),
		AngleDeg:     &angle,
		BecauseMail:  &because,
		WaterC:       &water,
		WaterAt:      at(8, 0),
		Clarity:      "stained",
		FirstFish:    at(6, 50),
		Night:        true,
		Note:         "lost two at the boat wind",
		EnteredAt:    at(12, 30),
		Source:       "form",
	}
	got := m.trips[tripKey(7, "tamsen-bend", brieftest.Day)]
	require.Equal(t, want, got)

	// The form shows the trip again, word for word, and saving it as it stands
	// changes nothing.
	again := formValues(t, get(h, paths()["log"]).Body.String())
	require.Equal(t, 200, post(h, paths()["log"], again).Code)
	require.Equal(t, want, m.trips[tripKey(7, "tamsen-bend", brieftest.Day)])
}

func TestTripLogShort(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name  string
		v     url.Values
		check func(*testing.T, coldseam.Trip, string)
	}{
		{"zero", url.Values{"a": {"none"}, "hours": {"3"}, "anglers": {"2"}}, func(t *testing.T, tr coldseam.Trip,
			page string) {
			require.Equal(t, 0, tr.Fish)
			require.Equal(t, 2, tr.Lines, "a line an angler when nothing is said")
			require.Nil(t, tr.Held)
			require.Nil(t, tr.BecauseMail)
			require.Contains(t, page, "Zeros teach")
		}},
		{"did not go", url.Values{"a": {"no"}, "because": {"yes"}},
			func(t *testing.T, tr coldseam.Trip, _ string) {
				require.True(t, tr.WentNot)
				require.Zero(t, tr.Hours)
				require.Zero(t, tr.Fish)
				require.False(t, *tr.BecauseMail)
			}},
		{"many", url.Values{"a": {"4"}, "fish": {"11"}, "hours": {"2"}}, func(t *testing.T, tr coldseam.Trip,
			_ string) {
			require.Equal(t, 11, tr.Fish)
		}},
		{"ripe without looked", url.Values{"a": {"1-3"}, "fish": {"2"}, "hours": {"2"}, "ripe": {"2"}},
			func(t *testing.T, tr coldseam.Trip, _ string) {
				require.Equal(t, 2, tr.LookedAt)
			}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m := newMemory()
			w := post(logHandler(t, m), paths()["log"], c.v)
			require.Equal(t, 200, w.Code, w.Body.String())
			c.check(t, m.trips[tripKey(7, "tamsen-bend", brieftest.Day)], w.Body.String())
		})
	}
}

func TestTripLogMetric(t *testing.T) {
	t.Parallel()
	m := newMemory()
	s := m.subs[7]
	s.Prefs.Units = "metric"
	m.subs[7] = s
	h := logHandler(t, m)
	require.Contains(t, get(h, paths()["log"]).Body.String(), "°C")
	w := post(h, paths()["log"], url.Values{"a": {"none"}, "hours": {"3"}, "water": {"4,1"}, "water_at": {"07:00"}})
	require.Equal(t, 200, w.Code, w.Body.String())
	require.InDelta(t, 4.1, *m.trips[tripKey(7, "tamsen-bend", brieftest.Day)].WaterC, 1e-12)
}

func TestTripLogRefuses(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name string
		v    url.Values
		want string
	}{
		{"no answer", url.Values{"hours": {"3"}}, "Pick one of the four"},
		{"not gone, but fish", url.Values{"a": {"no"}, "fish": {"9"}}, "You picked did not go, and wrote 9 fish"},
		{"not gone, but hours", url.Values{"a": {"no"}, "hours": {"2"}}, "You picked did not go, and wrote 2 hours"},
		{"hours to come", url.Values{"a": {"none"}, "start": {"11:00"}, "hours": {"3"}},
			"3 hours from 11:00 end at 14:00, and it is 12:30 now"},
		{"more hours than the day has had", url.Values{"a": {"none"}, "hours": {"13"}}, "13 hours from 00:00 end at 13:00"},
		{"began later", url.Values{"a": {"none"}, "start": {"13:00"}, "hours": {".25"}}, "13:00 is still to come"},
		{"held later", url.Values{"a": {"none"}, "hours": {"3"}, "held": {"yes"}, "spot": {"main-seam"}, "weight": {"1/4"},
			"held_at": {"15:00"}}, "15:00 is still to come"},
		{"read later", url.Values{"a": {"none"}, "hours": {"3"}, "water": {"40"}, "water_at": {"15:00"}},
			"15:00 is still to come"},
		{"fish before the trip", url.Values{"a": {"1-3"}, "fish": {"1"}, "start": {"07:00"}, "hours": {"3"},
			"first": {"06:10"}}, "A first fish at 06:10, but you began at 07:00?"},
		{"junk tap", url.Values{"tap": {"2,99"}}, "not one of the choices"},
		{"tap of another answer", url.Values{"tap": {"-3,1"}}, "not one of the choices"},
		{"no hours", url.Values{"a": {"none"}}, "How many hours"},
		{"hours", url.Values{"a": {"none"}, "hours": {"25"}}, "want a number from 0.25 to 24"},
		{"NaN", url.Values{"a": {"none"}, "hours": {"NaN"}}, "want a number"},
		{"infinite", url.Values{"a": {"none"}, "hours": {"Inf"}}, "want a number"},
		{"no count", url.Values{"a": {"1-3"}, "hours": {"3"}}, "How many exactly?"},
		{"contradiction", url.Values{"a": {"1-3"}, "fish": {"5"}, "hours": {"3"}}, "You picked 1 to 3, and wrote 5"},
		{"none and some", url.Values{"a": {"none"}, "fish": {"2"}, "hours": {"3"}}, "You picked none, and wrote 2"},
		{"too few", url.Values{"a": {"4"}, "fish": {"3"}, "hours": {"3"}}, "You picked 4 or more, and wrote 3"},
		{"half a fish", url.Values{"a": {"1-3"}, "fish": {"1.5"}, "hours": {"3"}}, "whole number"},
		{"ripe", url.Values{"a": {"4"}, "fish": {"5"}, "hours": {"3"}, "looked": {"2"}, "ripe": {"2"}, "spent": {"1"}},
			"more than the 2 looked at"},
		{"released", url.Values{"a": {"1-3"}, "fish": {"1"}, "hours": {"3"}, "released": {"2"}},
			"Released 2, but landed 1"},
		{"held nowhere", url.Values{"a": {"none"}, "hours": {"3"}, "held": {"yes"}}, "without the spot and the weight"},
		{"spot of another river", url.Values{"a": {"none"}, "hours": {"3"}, "spot": {"x"}}, "not one of the choices"},
		{"water in the wrong unit", url.Values{"a": {"none"}, "hours": {"3"}, "water": {"4"}, "water_at": {"07:00"}},
			"want a number from 31 to 90"},
		{"water without hour", url.Values{"a": {"none"}, "hours": {"3"}, "water": {"40"}}, "At what hour"},
		{"first fish of none", url.Values{"a": {"none"}, "hours": {"3"}, "first": {"07:00"}}, "but none landed"},
		{"long note", url.Values{"a": {"none"}, "hours": {"3"}, "note": {strings.Repeat("x", 601)}}, "601 letters"},
		{"script", url.Values{"a": {"<script>alert(1)</script>"}, "hours": {"3"},
			"note": {"<script>alert(2)</script>"}}, "not one of the choices"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m := newMemory()
			w := post(logHandler(t, m), paths()["log"], c.v)
			require.Equal(t, http.StatusUnprocessableEntity, w.Code)
			require.Contains(t, w.Body.String(), c.want)
			require.NotContains(t, w.Body.String(), "<script")
			require.Empty(t, m.trips)
		})
	}
}

func TestMailLinksPrefill(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := logHandler(t, m)
	for _, a := range []string{"none", "1-3", "4", "no"} {
		v := formValues(t, get(h, paths()["log"]+"?a="+a).Body.String())
		require.Equal(t, a, v.Get("a"))
		require.Equal(t, "main-seam", v.Get("spot"))
		require.Equal(t, "braid-0.14", v.Get("line"), "preset from the preferences")
		require.Equal(t, "06:00", v.Get("start"))
	}
	require.Empty(t, formValues(t, get(h, paths()["log"]+"?a=junk").Body.String()).Get("a"))
	require.Empty(t, m.trips)
}

func TestLogOfAGoneReach(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.reaches = m.reaches[1:]
	require.Equal(t, 404, get(logHandler(t, m), paths()["log"]).Code)
}
