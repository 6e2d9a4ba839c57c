//go:build !race

package hindcast

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPublicRivers is the regression bar that CI holds: CRPS at days
// 1/3/5/7/10 of a few public rivers, each 3 % above what was measured when the
// models were chosen. The full table runs on demand: TestTable.
func TestPublicRivers(t *testing.T) {
	t.Parallel()

	for _, c := range []struct {
		name     string
		file     string
		o        Options
		upstream []string
		cold     [5]float64
		all      [5]float64
	}{
		{name: "long, perfect air", file: alaska[0], o: Options{Air: Perfect},
			cold: [5]float64{.136, .238, .281, .319, .340}, all: [5]float64{.173, .245, .271, .293, .303}},
		{name: "long, no air forecast", file: alaska[0], o: Options{Air: Climatology},
			cold: [5]float64{.151, .279, .337, .380, .409}, all: [5]float64{.219, .419, .488, .512, .541}},
		{name: "short and alone, perfect air", file: greatLakes[4], o: Options{Air: Perfect},
			cold: [5]float64{.223, .525, .655, .720, .764}, all: [5]float64{.252, .555, .650, .674, .653}},
		{name: "short and alone, no air forecast", file: greatLakes[4], o: Options{Air: Climatology},
			cold: [5]float64{.231, .639, .898, 1.046, 1.180}, all: [5]float64{.268, .738, .986, 1.108, 1.175}},
		{name: "snow river, perfect air", file: rivers[2], o: Options{Quantity: Flow, Air: Perfect},
			cold: [5]float64{.018, .057, .097, .132, .175}, all: [5]float64{.020, .056, .089, .119, .153}},
		{name: "rain-fed with upstream gauge", file: rivers[5], upstream: rivers[4:5], o: Options{Quantity: Flow},
			cold: [5]float64{.069, .189, .257, .294, .332}, all: [5]float64{.074, .200, .267, .308, .344}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d := real(t, c.file)
			for _, u := range c.upstream {
				c.o.Upstream = append(c.o.Upstream, real(t, u))
			}
			c.o.Intervals, c.o.NoDates, c.o.Site = -1, true, c.file
			r, err := Run(d, c.o)
			require.NoError(t, err)
			t.Logf("cold %.3f all %.3f of %.3f", r.Cold.CRPS[Coldseam], r.All.CRPS[Coldseam], r.All.CRPS[Dressed])

			for l := range r.Leads {
				require.LessOrEqual(t, r.Cold.CRPS[Coldseam][l], 1.03*c.cold[l], "cold, day %d", r.Leads[l])
				require.LessOrEqual(t, r.All.CRPS[Coldseam][l], 1.03*c.all[l], "all year, day %d", r.Leads[l])
				require.InDelta(t, .8, r.All.Coverage80[l], .08, "80 %% interval, all year, day %d", r.Leads[l])
			}
		})
	}
}

// TestShortCutsLoseNothing cuts long records to three years, two to learn from:
// no lead may be worse than dressed persistence beyond the bootstrap interval.
func TestShortCutsLoseNothing(t *testing.T) {
	t.Parallel()
	const years = 3

	for _, air := range []Air{Climatology} { // without air ahead there is least to win
		var reports []Report
		for _, f := range []string{alaska[0], alaska[4]} {
			d := real(t, f)
			for i, c := range cuts(d, years) {
				if i%2 > 0 {
					continue // half of them, for time
				}
				r, err := Run(c, Options{Site: f, Air: air, Intervals: -1, NoDates: true})
				require.NoError(t, err)
				reports = append(reports, r)
			}
		}

		require.GreaterOrEqual(t, len(reports), 4)
		for _, season := range []string{seasonCold, seasonAll} {
			for l, lead := range reports[0].Leads {
				iv := Pooled(reports, season, Dressed, l, 500)
				t.Logf("%s, %s, day %d: %+.3f (%+.3f..%+.3f)", air, season, lead, iv.Skill, iv.Lo, iv.Hi)
				require.Greater(t, iv.Hi, 0., "%s, %s, day %d", air, season, lead)
			}
		}
	}
}
