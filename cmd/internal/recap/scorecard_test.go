package recap

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/web"
)

// mornings are n resolved ones of the same odds, logged by turns by who; every
// second one was good.
func mornings(n int, odds float64, who ...string) []resolved {
	var out []resolved
	for i := range n {
		r := resolved{Day: coldseam.Date{Year: 2027, Month: 3, Day: 1}.Add(i), Odds: odds, Good: i%2 == 0}
		if len(who) > 0 {
			r.Who = []string{who[i%len(who)]}
		}
		out = append(out, r)
	}
	return out
}

// TestScorecardHidesFewAnglers: the page of a river follows the rule of the
// season: fewer than three anglers are not told, nor what could be had from the
// total by subtraction.
func TestScorecardHidesFewAnglers(t *testing.T) {
	t.Parallel()
	three, two := []string{"a", "b", "c"}, []string{"a", "b"}
	join := func(ls ...[]resolved) (out []resolved) {
		for _, l := range ls {
			out = append(out, l...)
		}
		return out
	}

	for _, c := range []struct {
		name   string
		list   []resolved
		shown  int // mornings of all
		hidden []bool
	}{
		{"nobody", nil, 0, nil},
		{"two anglers", mornings(40, .6, two...), 0, nil},
		{"no names", mornings(40, .6), 0, nil},
		{"names and none", mornings(40, .6, "", "a", "b"), 0, nil},
		{"three anglers", mornings(40, .6, three...), 40, []bool{false, false, false, false}},
		{"one small class takes another with it", join(mornings(12, .1, three...), mornings(30, .6, three...),
			mornings(4, .9, "a")), 46, []bool{true, false, false, true}},
		{"small ones that are three together", join(mornings(5, .1, "a"), mornings(5, .4, "b", "c"),
			mornings(30, .6, three...)), 40, []bool{true, true, false, false}},
		{"small ones that are two together", join(mornings(5, .1, "a"), mornings(5, .4, "b"),
			mornings(30, .6, three...), mornings(12, .8, "a", "b", "c", "d")), 52, []bool{true, true, true, false}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := Scorecard(c.list)
			require.Equal(t, c.shown, s.Mornings)
			if c.shown == 0 {
				require.Equal(t, web.Scorecard{}, s)
				return
			}

			open := 0
			for i, b := range s.Bins {
				require.Equal(t, c.hidden[i], b.Hidden, "class %d", i)
				if b.Hidden {
					require.Zero(t, b.Mornings)
					require.Zero(t, b.Good)
				}
				open += b.Mornings
			}

			if !s.Bins[0].Hidden {
				require.Equal(t, c.shown, open)
			}
		})
	}
}
