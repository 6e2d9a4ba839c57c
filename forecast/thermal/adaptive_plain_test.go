//go:build !race

package thermal

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam/forecast/ensemble"
)

// Why there are no adaptive weights in service: on the last third of each
// record, which neither has seen, the stack that is refitted weekly errs less
// than weights that follow the last month's scores, cold season, each learning
// from an issue only once its day has come.
func TestStackBeatsAdaptiveWeights(t *testing.T) {
	t.Parallel()
	sum := map[bool]map[int][2]float64{false: {}, true: {}}

	for _, f := range []string{"alaska/george_river_osm_george.csv", "alaska/goodnews_river_nflo.csv",
		"alaska/kulukak_river_kulr.csv", "alaska/middle_fork_goodnews_river_mflr.csv",
		"alaska/tanada_creek_osm_tanada.csv",
		"greatlakes/fox.csv", "greatlakes/genesee.csv", "greatlakes/saginaw.csv", "greatlakes/stlouis.csv",
		"greatlakes/vermilion.csv"} {
		d := real(t, f)
		a, b := 0, ensemble.Last(d.WaterC, d.Len()-1)
		for math.IsNaN(d.WaterC[a]) {
			a++
		}
		cut := a + (b-a)*2/3
		m, err := Fit(d.Cut(d.Day(cut)), Options{Seed: 1})
		require.NoError(t, err)
		k := m.NewPredictor(d.Cut(d.Day(cut)))
		k.see(d)
		v := k.eng.view

		for _, h := range []int{1, 3, 7, 10} {
			type issue struct {
				i int
				x []float64
			}
			var past []issue
			var w adaptive
			var stack, mixed, n float64

			for i := cut + 1; i+leads < d.Len(); i++ {
				for len(past) > 0 && past[0].i+h <= i {
					w.learn(past[0].x, v.Obs[past[0].i+h])
					past = past[1:]
				}

				if !ensemble.Complete(v.Obs, i-1, i+leads) {
					continue
				}
				k.tr = k.eng.drawTraces(k.tr, ensemble.Request{Day: d.Day(i), Seed: 3}.Rand(saltSim), v.Cal.Doy[i],
					simTraces)
				var r row
				k.eng.fillRow(&r, k.src, i, nil, k.tr, m.recipe(withoutAir).features)

				m.ByAir[withoutAir].Stack.centre(&r.mu, &r.x, r.doy, r.t)
				var x []float64
				for s := range k.src {
					x = append(x, k.src[s][h])
				}
				if y := v.Obs[i+h]; r.doy >= 32 && r.doy <= 151 && r.t < 10 {
					stack, mixed, n = stack+math.Abs(r.mu[h]-y), mixed+math.Abs(w.mix(x)-y), n+1
				}
				past = append(past, issue{i, x})
			}

			require.Greater(t, n, 20., f)
			g := sum[strings.HasPrefix(f, "alaska")]
			s := g[h]
			g[h] = [2]float64{s[0] + stack/n/5, s[1] + mixed/n/5}
		}
	}

	for _, long := range []bool{true, false} {
		for _, h := range []int{1, 3, 7, 10} {
			s := sum[long][h]
			t.Logf("long record %v, lead %2d: mean absolute error of the stack %.3f, of adaptive weights %.3f", long, h,
				s[0], s[1])
			require.Less(t, s[0], s[1]*1.005, "long %v, lead %d", long, h)
		}
	}
}
