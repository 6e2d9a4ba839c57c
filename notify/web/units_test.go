package web

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/notify/brieftest"
)

// TestOneUnitSystemAPage: a page speaks one system, but for ounces, which are
// stamped on the card everywhere, and words that the data brings.
func TestOneUnitSystemAPage(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	for _, p := range []string{"/", "/river/tamsen-bend", "/river/orlow-dam", "/river/hallam-bar",
		"/river/brandt-lower", "/season", "/how"} {
		us := text(tags(parse(t, get(h, p).Body.String()), "main")[0])
		si := text(tags(parse(t, get(h, p+"?units=metric").Body.String()), "main")[0])
		us = strings.NewReplacer("Show °C, m³/s and metres", "").Replace(us)
		si = strings.NewReplacer("Show °F, cfs and feet", "").Replace(si)
		for _, bad := range []string{"°C", "m³/s", "\u00a0m/s", "\u00a0g)"} {
			require.NotContains(t, us, bad, p)
		}
		for _, bad := range []string{"°F", "cfs", "mph"} {
			require.NotContains(t, si, bad, p)
		}
	}
	require.Contains(t, get(h, "/river/brandt-lower?units=metric").Body.String(), "rose 0.40\u00a0m in 6\u00a0h",
		"reasons have a metric twin")
	require.NotContains(t, get(h, "/?units=%3Cscript%3E").Body.String(), "<script", "an unknown system is US")
}

// TestUnitsStay: a metric reader's links to rivers stay metric, and the way
// back is one tap.
func TestUnitsStay(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	doc := parse(t, get(h, "/?units=metric").Body.String())
	rivers := 0
	for _, a := range tags(tags(doc, "main")[0], "a") {
		if strings.HasPrefix(attr(a, "href"), "/river/") {
			require.True(t, strings.HasSuffix(attr(a, "href"), "?units=metric"))
			rivers++
		}
	}
	require.Equal(t, 5, rivers)
	require.Contains(t, get(h, "/?units=metric").Body.String(), `href="/"`)
}

func TestLimiterSweeps(t *testing.T) {
	t.Parallel()
	now := clock()
	l := newLimiter(func() time.Time { return now })
	for i := range maxKeys {
		l.take(strings.Repeat("k", 1+i%7)+time.Duration(i).String(), 5, time.Hour)
	}
	require.Len(t, l.seen, maxKeys)
	l.take("short", 5, time.Minute)
	require.Less(t, len(l.seen), maxKeys, "a flood of long windows is cut too")

	now = now.Add(2 * time.Hour)
	for i := range maxKeys {
		l.take(time.Duration(i).String(), 5, time.Minute)
	}
	l.take("one more", 5, time.Minute)
	require.LessOrEqual(t, len(l.seen), maxKeys)
	for range 5 {
		_, ok := l.take("mine", 5, time.Minute)
		require.True(t, ok)
	}

	wait, ok := l.take("mine", 5, time.Minute)
	require.False(t, ok)
	require.Equal(t, time.Minute, wait)
}

// TestEveryDayHasItsRow: the calendar table has the day of the brief and the
// days that follow, each adding up to ten.
func TestEveryDayHasItsRow(t *testing.T) {
	t.Parallel()
	doc := parse(t, get(testHandler(t, newMemory()), "/river/tamsen-bend").Body.String())

	for _, tab := range tags(doc, "table") {
		if attr(tab, "class") != "bands" {
			continue
		}
		rows := tags(tags(tab, "tbody")[0], "tr")
		require.Len(t, rows, 1+len(brieftest.Go().Next))

		for i, tr := range rows {
			require.Equal(t, brieftest.Day.Add(i).UTC().Format("Mon 2"), text(tags(tr, "th")[0]))
			sum := 0
			for _, td := range tags(tr, "td") {
				if strings.HasPrefix(attr(td, "class"), "s") && text(td) != "·" {
					n := 0
					for _, c := range text(td) {
						n = 10*n + int(c-'0')
					}
					sum += n
				}
			}

			require.Equal(t, 10, sum, text(tr))
		}

		return
	}

	t.Fatal("no band calendar")
}
