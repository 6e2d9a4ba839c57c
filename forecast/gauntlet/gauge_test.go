package gauntlet

import (
	"cmp"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// count is what the words on a scenario's moments add up to.
type count struct{ danger, goes, words int }

func (c *count) take(faulty coldseam.Verdict) {
	c.danger++
	if faulty == coldseam.Go {
		c.goes++
	}
	if faulty.ShowsOdds() {
		c.words++
	}
}

// row prints a line of the gauntlet's table: `make gauntlet` adds them up by
// class.
func row(t *testing.T, class, name string, c count, limit string) {
	t.Helper()
	t.Logf("GAUNTLET|%s|%s|%d|%d|%d|%s", class, name, c.danger, c.goes, c.words, limit)
}

// cost prints what a rule costs on clean records: mornings a season without a word
// though nothing was wrong, and for how many stops.
func cost(t *testing.T, rule, river string, mornings float64, stops int) {
	t.Helper()
	t.Logf("COST|%s|%s|%.1f|%d", rule, river, mornings, stops)
}

// moments are the rows at which a fault of rows a to b is looked at.
func (r *river) moments(a, b int) []int {
	end := min(b+r.rows(6*time.Hour), len(r.clean.flow))
	var out []int
	if full {
		hour := r.rows(time.Hour)
		for i := a; i < end; i++ {
			if i-a < hour || (i-a)%(2*hour) == 0 {
				out = append(out, i)
			}
		}
		return out
	}
	for _, h := range []float64{0, 2, 5, 10, 22} {
		if i := a + r.rows(time.Duration(h*float64(time.Hour))) - 1; i < end && (len(out) == 0 || i > out[len(out)-1]) {
			out = append(out, max(i, a))
		}
	}
	return out
}

// TestGaugeFaults sends every fault through the rises of every river. A moment is
// dangerous when something stops the clean record; a stop that is only kept, until
// enough readings lift it, is no danger but a cost, which TestCosts counts.
func TestGaugeFaults(t *testing.T) {
	all := gaugeScenarios()
	require.GreaterOrEqual(t, len(all), 120)
	seen := map[string]bool{}

	for k, s := range all {
		require.False(t, seen[s.class+s.name], "%s %s stands twice", s.class, s.name)
		seen[s.class+s.name] = true
		var c count
		var where []string

		for j, r := range rivers() {
			for n, e := range r.stopRows {
				if !full && n != (k+j)%len(r.stopRows) {
					continue
				}
				a := s.at.row(r, e)
				b := a + r.rows(s.long)
				bad := r.clean.clone()
				s.do(hit{r, &bad, a, b})

				for _, i := range r.moments(a, b) {
					if !plain(r.word(i)) {
						continue
					}
					got := r.decide(bad, i, a)
					c.take(got.Verdict)
					if got.Verdict.ShowsOdds() {
						where = append(where, fmt.Sprintf("%s at rise %d, %.1f h: %v (%v), clean %v", r.name, n,
							r.clean.flow[i].At.Sub(r.clean.flow[a].At).Hours(), got.Verdict, got.Fired,
							r.word(i).Fired))
					}
				}
			}
		}

		row(t, s.class, s.name, c, cmp.Or(s.known, "-"))
		assert.LessOrEqual(t, c.goes, s.most, "%s: %s\n%s", s.class, s.name, strings.Join(where[:min(len(where), 6)],
			"\n"))
		assert.Positive(t, c.danger, "%s: %s meets no danger", s.class, s.name)
	}
}
