package web

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/brieftest"
)

// TestYesterdaysGoIsNoCall: a board that nobody refreshed must not read GO.
func TestYesterdaysGoIsNoCall(t *testing.T) {
	t.Parallel()
	m := newMemory()
	cfg := testConfig(m)
	now := clock().Add(24 * time.Hour)
	cfg.Now = func() time.Time { return now }
	h, err := New(cfg)
	require.NoError(t, err)

	for _, p := range []string{"/", "/river/tamsen-bend", "/river/orlow-dam"} {
		doc := parse(t, get(h, p).Body.String())
		s := text(tags(doc, "main")[0])
		require.Contains(t, s, "NO CALL", p)
		require.Contains(t, s, "No call yet for today; the last was for Saturday 10 April")
		require.NotContains(t, s, "in\u00a010")
		require.Empty(t, all(doc, func(n *html.Node) bool {
			c := attr(n, "class")
			return c == "v go" || c == "go" || c == "toss"
		}))
	}

	ics := get(h, "/river/tamsen-bend/calendar.ics").Body.String()
	require.Contains(t, ics, "NO CALL")
	require.NotContains(t, ics, "in 10")
}

func TestCallPastItsTime(t *testing.T) {
	t.Parallel()
	cfg := testConfig(newMemory())
	cfg.Now = func() time.Time { return brieftest.Go().GoodUntil.Add(time.Minute) }
	h, err := New(cfg)
	require.NoError(t, err)
	require.Contains(t, get(h, "/river/tamsen-bend").Body.String(),
		"This call was good until 10:30. That time has passed")
	require.Contains(t, get(h, "/").Body.String(), "That time has passed")
}

// TestMidnightOfTheRiver: the day is the river's own.
func TestMidnightOfTheRiver(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	loc, err := time.LoadLocation(b.Zone)
	require.NoError(t, err)
	before := time.Date(2027, 4, 10, 23, 59, 0, 0, loc)
	got, _ := today(b, before)
	require.Equal(t, coldseam.Go, got.Verdict)
	got, _ = today(b, before.Add(2*time.Minute))
	require.Equal(t, coldseam.NoCall, got.Verdict)
	require.Equal(t, brieftest.Day.Add(1), got.Day)
	got, _ = today(b, brieftest.Day.In(loc).Add(-time.Hour))
	require.Equal(t, coldseam.Go, got.Verdict, "the evening before, a brief for tomorrow stands")
}

func TestBoardOrder(t *testing.T) {
	t.Parallel()
	bs := []coldseam.Brief{brieftest.Stop(), brieftest.Stay(), brieftest.NoCall(), brieftest.Go(), brieftest.TossUp()}
	notify.SortBriefs(bs)
	var got []coldseam.Verdict
	for _, b := range bs {
		got = append(got, b.Verdict)
	}
	require.Equal(t, []coldseam.Verdict{coldseam.Stop, coldseam.Go, coldseam.TossUp, coldseam.Stay, coldseam.NoCall},
		got)
	require.Equal(t, "One river is stopped, one river has no call.", summary(bs))
	require.Empty(t, summary(bs[1:3]))
}

// TestWithoutOddsNoGo: a brief that says GO but has no odds reads NO CALL.
func TestWithoutOddsNoGo(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.briefs[0].OddsOK = false
	s := text(tags(parse(t, get(testHandler(t, m), "/river/tamsen-bend").Body.String()), "main")[0])
	require.Contains(t, s, "NO CALL")
	require.NotContains(t, s, "Band calendar")
}

func TestEmptyClub(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.briefs, m.reaches, m.season = nil, nil, Season{Year: 2027}
	h := testHandler(t, m)
	for _, p := range []string{"/", "/signup", "/status", "/season", "/how"} {
		w := get(h, p)
		require.Equal(t, 200, w.Code, p)
		doc := parse(t, w.Body.String())
		checkTables(t, doc)
		require.Contains(t, text(tags(doc, "footer")[0]), "This is not a safety clearance")
	}
	require.Equal(t, 404, get(h, "/river/tamsen-bend").Code)
}

func TestJudgeForYourself(t *testing.T) {
	t.Parallel()
	m := newMemory()
	b := brieftest.Go()
	b.Verdict = coldseam.NoCall
	b.Inputs[3].State = "stale"
	b.Reasons = []coldseam.Reason{{Code: "stale_alerts", Kind: "missing",
		Text: "Warnings feed silent 3 h; the limit is 1 h"}}
	m.briefs[0] = b
	s := text(tags(parse(t, get(testHandler(t, m), "/river/tamsen-bend").Body.String()), "main")[0])
	require.Contains(t, s, "NO CALL")
	require.Contains(t, s, "To judge for yourself")
	require.Contains(t, s, "1/4")
	require.NotContains(t, s, "in\u00a010")
	require.NotContains(t, s, "Band calendar")
}

// TestPersonalCalendarHasOwnRivers and nobody else's.
func TestPersonalCalendarHasOwnRivers(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	out := get(h, "/calendar/"+testLinks().Tokens.Sign(notify.Claim{Purpose: notify.ForCalendar, Subscriber: 7})+
		".ics").Body.String()
	require.Contains(t, out, "Tamsen")
	require.Contains(t, out, "Brandt")
	require.NotContains(t, out, "Orlow")
}

// TestEveningBoard: a river whose brief is for tomorrow says so beside one that
// is for today.
func TestEveningBoard(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.briefs[1].Day = brieftest.Day.Add(1)
	s := text(tags(parse(t, get(testHandler(t, m), "/").Body.String()), "main")[0])
	require.Contains(t, s, "Saturday 10 April")
	require.Contains(t, s, "For Sunday 11 April")
}

// TestFootOutlivesTheStore: a form page names the agencies while the store is
// away, from the last time it was there.
func TestFootOutlivesTheStore(t *testing.T) {
	t.Parallel()
	m := newMemory()
	h := testHandler(t, m)
	require.Equal(t, 200, get(h, "/how").Code)
	m.fail = coldseam.ErrUnavailable
	w := get(h, "/")
	require.Equal(t, 503, w.Code)
	require.Contains(t, w.Body.String(), "Meridian water survey")
	require.Equal(t, 200, get(h, "/how").Code)
}
