package web

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

var fishChance = regexp.MustCompile(
	`(?i)\d in 10(?: \(\d-\d\))? for a good|good morning:?(?:\s|[A-Z][a-z]{2}\b)*\d in 10|go from \d in 10|window [\d:–-]+, \d in 10`)

// Before a log no page and no calendar names a chance of fish.
func TestNoChanceOfFishBeforeALog(t *testing.T) {
	t.Parallel()
	m := newMemory()
	for i := range m.briefs {
		m.briefs[i].Rank = coldseam.Rank{Thirds: [2]float64{.35, .44}, Past: 240, Base: .4, Logged: 40, Anglers: 2}
	}
	h := testHandler(t, m)
	pages := []string{"/", "/?units=metric"}
	for _, b := range m.briefs {
		pages = append(pages, "/river/"+string(b.Reach), "/river/"+string(b.Reach)+"/calendar.ics")
	}
	for _, p := range pages {
		w := get(h, p)
		require.Equal(t, 200, w.Code, p)
		s := strings.NewReplacer("\u00a0", " ", "<b>", "", "</b>", "", "\r\n ", "").Replace(w.Body.String())
		require.Empty(t, fishChance.FindString(s), p)
	}
}
