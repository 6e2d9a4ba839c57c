package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
)

func signUpValues(email string) url.Values {
	return url.Values{"email": {email}, "reach": {"tamsen-bend", "orlow-dam"}, "send_at": {"04:55"}, "cost": {"0.4"},
		"units": {"us"}}
}

func TestSignUp(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	w := post(h, "/signup", signUpValues("new@example.org"))
	require.Equal(t, 200, w.Code, w.Body.String())
	require.Equal(t, 1, m.confirm["new@example.org"])
	var got coldseam.Subscriber
	for _, s := range m.subs {
		if s.Email == "new@example.org" {
			got = s
		}
	}
	require.Equal(t, "pending", got.State)
	require.Equal(t, coldseam.Preferences{
		Reaches: []coldseam.ReachID{"tamsen-bend", "orlow-dam"},
		Zone:    brieftest.Zone,
		SendAt:  "04:55",
		Units:   "us",
		Cost:    .4,
	}, got.Prefs)
}

// TestSignUpTellsNothing compares the answers to known, unknown and suppressed
// addresses byte by byte.
func TestSignUpTellsNothing(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.subs[8] = coldseam.Subscriber{ID: 8, Email: "gone@example.org", State: "suppressed"}
	cfg := testConfig(m)
	cfg.Limits.SignUpsPerHour = 100
	cfg.SignUpFloor = 40 * time.Millisecond
	h, err := New(cfg)
	require.NoError(t, err)

	var first *httptest.ResponseRecorder
	for _, e := range []string{"new@example.org", "ann@example.org", "gone@example.org", "new@example.org"} {
		begun := time.Now()
		w := post(h, "/signup", signUpValues(e))
		require.GreaterOrEqual(t, time.Since(begun), cfg.SignUpFloor, "every answer takes at least the floor")
		if first == nil {
			first = w
		}
		require.Equal(t, first.Code, w.Code)
		require.Equal(t, first.Body.String(), w.Body.String())
		require.Equal(t, first.Header(), w.Header())
		require.NotContains(t, w.Body.String(), e)
	}
}

func TestSignUpRefuses(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name, field, value string
		want               string
	}{
		{"no address", "email", "", "not a mail address"},
		{"no host", "email", "ann", "not a mail address"},
		{"no dot", "email", "ann@localhost", "not a mail address"},
		{"display name", "email", "Ann <ann@example.org>", "not a mail address"},
		{"two addresses", "email", "a@example.org,b@example.org", "not a mail address"},
		{"new line", "email", "ann@example.org\r\nBcc: x@example.org", "not a mail address"},
		{"NUL", "email", "ann\x00@example.org", "not a mail address"},
		{"literal", "email", "ann@[127.0.0.1]", "not a mail address"},
		{"long", "email", strings.Repeat("a", 250) + "@example.org", "not a mail address"},
		{"script", "email", "<script>alert(1)</script>@example.org", "not a mail address"},
		{"no river", "reach", "no-such", "Pick at least one river"},
		{"time", "send_at", "25:00", "want a time"},
		{"cost", "cost", "0.9", "not one of the choices"},
		{"units", "units", "furlongs", "not one of the choices"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m := newMemory()
			h := testHandler(t, m)
			before := m.rows(t)
			v := signUpValues("new@example.org")
			v.Set(c.field, c.value)
			w := post(h, "/signup", v)
			require.Equal(t, http.StatusUnprocessableEntity, w.Code)
			require.Contains(t, w.Body.String(), c.want)
			require.NotContains(t, w.Body.String(), "<script")
			require.Equal(t, before, m.rows(t))
		})
	}
}

func TestOneClient(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	for i := range 20 {
		post(h, "/signup", signUpValues(fmt.Sprintf("v%d@example.org", i)))
	}
	require.Len(t, m.confirm, 5, "five an hour from one prefix")
}

func TestConfirm(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	require.Equal(t, 200, post(h, "/signup", signUpValues("new@example.org")).Code)
	var id int64
	for _, s := range m.subs {
		if s.Email == "new@example.org" {
			id = s.ID
		}
	}

	p := strings.TrimPrefix(testLinks().Confirm(id, clock()), publicURL)
	require.Equal(t, 200, get(h, p).Code)
	require.Equal(t, "pending", m.subs[id].State, "opening the link confirms nothing")
	for range 3 {
		w := post(h, p, url.Values{})
		require.Equal(t, 200, w.Code)
		require.Contains(t, w.Body.String(), "/preferences/")
		require.NotContains(t, w.Body.String(), "new@example.org")
	}

	require.Equal(t, "confirmed", m.subs[id].State)
	require.Equal(t, 1, m.welcome, "one welcome mail")
}

// TestOneClickUnsubscribe is RFC 8058: a POST without cookies and from
// anywhere gives 200 without a redirect, the second time too.
func TestOneClickUnsubscribe(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	p := paths()["unsubscribe"]
	require.Contains(t, get(h, p).Body.String(), "<form method=\"post\"")
	require.Equal(t, "confirmed", m.subs[7].State)

	for i := range 2 {
		r := httptest.NewRequest("POST", p, strings.NewReader("List-Unsubscribe=One-Click"))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		if i == 1 {
			r.Header.Set("Sec-Fetch-Site", "cross-site")
			r.Header.Set("Origin", "https://mail.example")
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		require.Equal(t, 200, w.Code)
		require.Empty(t, w.Header().Get("Location"))
		require.Equal(t, "unsubscribed", m.subs[7].State)
	}

	delete(m.subs, 7)
	require.Equal(t, 200, post(h, p, nil).Code, "a forgotten subscriber can still leave")
}

func prefsValues() url.Values {
	return url.Values{"reach": {"orlow-dam", "tamsen-bend"}, "send_at": {"05:15"}, "zone": {"America/Chicago"},
		"window_from": {"06:30"}, "window_to": {"11:00"},
		"day": {"6", "0"}, "cost": {"0.5"}, "craft": {"tube"}, "presentation": {"vertical"}, "line": {"nylon-0.26"},
		"body": {"bucktail"}, "metal": {"tungsten"}, "box": {"1/8", "1/4", "3/8"},
		"species": {"walleye"}, "units": {"metric"}, "flip": {"1"}, "outlook": {"1"}, "book": {"1"}}
}

func TestPreferences(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	p := paths()["prefs"]
	w := post(h, p, prefsValues())
	require.Equal(t, 200, w.Code, w.Body.String())
	require.Equal(t, coldseam.Preferences{
		Reaches:      []coldseam.ReachID{"tamsen-bend", "orlow-dam"},
		Zone:         "America/Chicago",
		SendAt:       "05:15",
		WindowFrom:   "06:30",
		WindowTo:     "11:00",
		Species:      "walleye",
		Units:        "metric",
		Craft:        coldseam.CraftTube,
		Presentation: "vertical",
		Body:         "bucktail",
		Line:         "nylon-0.26",
		Metal:        "tungsten",
		BoxOz:        []float64{.125, .25, .375},
		Cost:         .5,
		Weekdays:     []int{6, 0},
		FlipNotice:   true,
		Outlook:      true,
		InBook:       true,
	}, m.subs[7].Prefs)
	// What the form shows is what it would save.
	body := get(h, p).Body.String()
	for _, want := range []string{`value="05:15"`, `value="06:30"`, `value="nylon-0.26" selected`,
		`value="0.5" selected`, `value="tube" selected`, `name="box" value="1/4" checked`,
		`name="flip" value="1" checked`, `value="metric" checked`} {
		require.Contains(t, body, want)
	}
	require.NotContains(t, body, "ann@example.org", "the address never reaches the page")
}

func TestPreferencesRefuse(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name, field string
		value       []string
		want        string
	}{
		{"no river", "reach", nil, "Pick at least one river"},
		{"no day", "day", nil, "Pick at least one day"},
		{"day", "day", []string{"7"}, "not a day of the week"},
		{"zone", "zone", []string{"Mars/Olympus"}, "not a time zone"},
		{"server zone", "zone", []string{"Local"}, "not a time zone"},
		{"path as zone", "zone", []string{"../../etc/passwd"}, "not a time zone"},
		{"half a window", "window_to", []string{""}, "both ends"},
		{"window backwards", "window_to", []string{"05:00"}, "ends before it begins"},
		{"mail after the window", "send_at", []string{"07:00"}, "after your window has begun"},
		{"size", "box", []string{"1/3"}, "not a trade size"},
		{"line", "line", []string{"wire-9"}, "not one of the choices"},
		{"cost", "cost", []string{"1e9"}, "not one of the choices"},
		{"craft", "craft", []string{"raft"}, "not one of the choices"},
		{"script", "presentation", []string{"<script>"}, "not one of the choices"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m := newMemory()
			h := testHandler(t, m)
			before := m.rows(t)
			v := prefsValues()
			v[c.field] = c.value
			w := post(h, paths()["prefs"], v)
			require.Equal(t, http.StatusUnprocessableEntity, w.Code)
			require.Contains(t, w.Body.String(), c.want)
			require.NotContains(t, w.Body.String(), "<script")
			require.Equal(t, before, m.rows(t))
		})
	}
}

func TestAllSevenDaysIsTheDefault(t *testing.T) {
	t.Parallel()
	m := newMemory()
	v := prefsValues()
	v["day"] = []string{"0", "1", "2", "3", "4", "5", "6"}
	require.Equal(t, 200, post(testHandler(t, m), paths()["prefs"], v).Code)
	require.Nil(t, m.subs[7].Prefs.Weekdays)
}

// TestOffTheListIsSaid: nobody is told that mail comes when it does not.
func TestOffTheListIsSaid(t *testing.T) {
	t.Parallel()

	for state, want := range map[string]string{"unsubscribed": "You have left the list", "suppressed": "came back",
		"paused": "rests until the season", "confirmed": ""} {
		t.Run(state, func(t *testing.T) {
			t.Parallel()
			m := newMemory()
			s := m.subs[7]
			s.State = state
			m.subs[7] = s
			h := testHandler(t, m)
			page := get(h, paths()["prefs"]).Body.String()
			saved := post(h, paths()["prefs"], prefsValues()).Body.String()
			again := post(h, paths()["confirm"], nil).Body.String()
			require.Contains(t, saved, "<b>Saved.</b>")

			if want == "" {
				require.NotContains(t, page, `class="over"`)
				require.Contains(t, saved, "The next mail follows them")
				require.Contains(t, again, "You are on the list")
				return
			}

			require.Contains(t, page, want)
			require.NotContains(t, saved, "The next mail follows them")
			if state == "paused" {
				require.Contains(t, again, "You are on the list")
				return
			}
			require.Contains(t, again, want, "an old confirm link does not pretend")
			require.Equal(t, state, m.subs[7].State)
		})
	}
}

// Settings and sign-up say what a wasted trip costs, and from when on it counts; a
// member without an own cost keeps the club's.
func TestPagesSayTheCost(t *testing.T) {
	t.Parallel()
	m := newMemory()
	sub := m.subs[7]
	sub.Prefs.Cost = 0
	m.subs[7] = sub
	c := testConfig(m)
	c.Cost, c.Margin = .45, .2
	h, err := New(c)
	require.NoError(t, err)
	page := func(path string) string { return strings.ReplaceAll(get(h, path).Body.String(), "\u00a0", " ") }

	body := page(paths()["prefs"])
	require.Contains(t, body, `<option value="0" selected>45% of a good trip, as the club`)
	require.Contains(t, body, `<option value="0.6">60% of a good trip`)
	require.Contains(t, body, "once ten mornings by three anglers are in its log")
	require.Contains(t, page("/signup"), "70% of a good trip")
	for _, path := range []string{paths()["prefs"], "/signup"} {
		require.NotContains(t, page(path), "in 10")
	}

	v := prefsValues()
	v.Set("cost", "0")
	require.Equal(t, 200, post(h, paths()["prefs"], v).Code)
	require.Zero(t, m.subs[7].Prefs.Cost)
}
