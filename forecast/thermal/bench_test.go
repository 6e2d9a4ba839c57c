package thermal

import (
	"cmp"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// real reads one public series below COLDSEAM_REAL_DATA/series. Unset skips;
// set but unreadable fails.
func real(t testing.TB, path string) coldseam.Days {
	t.Helper()
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: the public series are not here")
	}
	f, err := os.Open(filepath.Join(root, "series", path))
	require.NoError(t, err)
	defer f.Close()

	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var d coldseam.Days
	d.First, err = coldseam.ParseDate(rows[1][0])
	require.NoError(t, err)

	last, err := coldseam.ParseDate(rows[len(rows)-1][0])
	require.NoError(t, err)
	n := last.Sub(d.First) + 1
	x := [3][]float64{make([]float64, n), make([]float64, n), make([]float64, n)}
	for k := range x {
		for i := range x[k] {
			x[k][i] = math.NaN()
		}
	}

	for _, r := range rows[1:] {
		day, err := coldseam.ParseDate(r[0])
		require.NoError(t, err)
		for k := range x {
			if r[k+1] != "" {
				x[k][day.Sub(d.First)], err = strconv.ParseFloat(r[k+1], 64)
				require.NoError(t, err)
			}
		}
	}

	d.FlowM3S, d.WaterC, d.AirC = x[0], x[1], x[2]
	return d
}

// fitTarget is the least-squares problem of a record.
func fitTarget(d coldseam.Days) (target, int) {
	r := newRecord(d, ensemble.Training{})
	c := &Core{HasAir: true, Air: ensemble.FitHarmonic(r.Cal, padTo(d.AirC, len(r.Cal.Doy))),
		Water: ensemble.FitHarmonic(r.Cal, r.Obs)}
	kind := 5
	if q := positiveLogs(d, r.n); ensemble.Span(q) > flowComplete*ensemble.Span(r.Obs) {
		kind = 8
		c.LogQ = ensemble.FitHarmonic(r.Cal, padTo(q, len(r.Cal.Doy)))
	}
	s := newState(r, c)
	g := target{f: s.forcing(), t0: max(s.wat[0], 0)}
	for i := spinUpDays; i < r.n; i++ {
		if v := r.Obs[i]; !math.IsNaN(v) {
			g.days, g.obs = append(g.days, int32(i)), append(g.obs, v)
		}
	}
	return g, kind
}

// nelderMead minimises the same problem from the same start by the simplex of
// Nelder & Mead 1965 with the usual coefficients 1, 2, 1/2, 1/2 [common
// practice], points clipped to the box, until the costs of the simplex agree to
// 1e-5 or 5,000 runs are spent.
func nelderMead(p problem, x0 []float64) fitState {
	n := len(x0)
	r := make([]float64, p.n)
	s := fitState{}
	type vertex struct {
		x []float64
		f float64
	}

	at := func(x []float64) vertex {
		v := vertex{x: slices.Clone(x)}
		for k := range v.x {
			v.x[k] = min(max(v.x[k], p.lo[k]), p.hi[k])
		}
		p.eval(v.x, r)
		s.runs++
		v.f = dot(r, r)
		return v
	}
	simplex := []vertex{at(x0)}
	for k := range n {
		x := slices.Clone(x0)
		x[k] += .1 * max(math.Abs(x[k]), .25)
		simplex = append(simplex, at(x))
	}

	for s.runs < 5000 {
		slices.SortFunc(simplex, func(a, b vertex) int { return cmp.Compare(a.f, b.f) })
		best, worst := simplex[0], simplex[n]
		if worst.f-best.f < 1e-5*best.f {
			break
		}
		c := make([]float64, n)
		for _, v := range simplex[:n] {
			for k := range c {
				c[k] += v.x[k] / float64(n)
			}
		}

		along := func(t float64) vertex {
			x := make([]float64, n)
			for k := range x {
				x[k] = c[k] + t*(worst.x[k]-c[k])
			}
			return at(x)
		}
		v := along(-1)
		switch {
		case v.f < best.f:
			if e := along(-2); e.f < v.f {
				v = e
			}
		case v.f >= simplex[n-1].f:
			v = along(.5)
		}

		if v.f < worst.f {
			simplex[n] = v
			continue
		}

		for j := 1; j <= n; j++ {
			x := slices.Clone(simplex[j].x)
			for k := range x {
				x[k] = (x[k] + best.x[k]) / 2
			}
			simplex[j] = at(x)
		}
	}

	slices.SortFunc(simplex, func(a, b vertex) int { return cmp.Compare(a.f, b.f) })
	s.x, s.cost = simplex[0].x, simplex[0].f
	return s
}

var fitFiles = []string{"greatlakes/stlouis.csv", "alaska/kulukak_river_kulr.csv", "alaska/goodnews_river_nflo.csv",
	"alaska/middle_fork_goodnews_river_mflr.csv", "alaska/george_river_osm_george.csv",
	"alaska/tanada_creek_osm_tanada.csv"}

// TestLevenbergNeedsFewRuns holds the count of model runs, not the clock: from
// the same start the fit reaches the simplex's error or less on every public
// river with a twenty-fifth of its runs or fewer.
func TestLevenbergNeedsFewRuns(t *testing.T) {
	t.Parallel()
	var lm, nm int
	for _, f := range fitFiles {
		g, kind := fitTarget(real(t, f))
		p := g.problem(kind, 0, false)
		x0 := startPoint(kind, 0, ensemble.Stream(1, ensemble.Epoch, saltFit))
		a, b := levenberg(p, x0, polishRuns, 1e-5), nelderMead(p, x0)
		t.Logf("%-45s %d parameters: LM %d runs SSE %.1f, simplex %d runs SSE %.1f", f, kind, a.runs, a.cost, b.runs,
			b.cost)
		require.LessOrEqual(t, a.cost, 1.002*b.cost, f)
		lm, nm = lm+a.runs, nm+b.runs
	}
	t.Logf("all: LM %d runs, simplex %d, ratio %.1f", lm, nm, float64(nm)/float64(lm))
	require.Greater(t, nm, 25*lm)
}

// BenchmarkFit: "lm" and "neldermead" walk from the same start; compare their
// runs and SSE. Without the public series it fits an invented river.
func BenchmarkFit(b *testing.B) {
	if os.Getenv("COLDSEAM_REAL_DATA") == "" {
		benchFit(b, river(20*365, 1))
		return
	}
	for _, f := range fitFiles {
		b.Run(strings.TrimSuffix(filepath.Base(f), ".csv"), func(b *testing.B) { benchFit(b, real(b, f)) })
	}
}

func benchFit(b *testing.B, d coldseam.Days) {
	g, kind := fitTarget(d)
	p := g.problem(kind, 0, false)
	x0 := startPoint(kind, 0, ensemble.Stream(1, ensemble.Epoch, saltFit))

	for _, c := range []struct {
		name string
		fit  func() fitState
	}{
		{"neldermead", func() fitState { return nelderMead(p, x0) }},
		{"lm", func() fitState { return levenberg(p, x0, polishRuns, 1e-5) }},
		{"lm-multistart", func() fitState {
			h := fitHeat(kind, 0, g, true, ensemble.Stream(1, ensemble.Epoch, saltFit))
			return fitState{cost: h.RMSE * h.RMSE * float64(p.n), runs: h.Runs}
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			var s fitState
			for b.Loop() {
				s = c.fit()
			}
			b.ReportMetric(float64(s.runs), "runs")
			b.ReportMetric(s.cost, "SSE")
		})
	}
}

// thirtyYears drives a run with an invented river.
func thirtyYears() forcing {
	const n = 10957
	d := river(n, 1)
	r := newRecord(d, ensemble.Training{})
	cos, sin := season(r.Cal.Doy[:n])
	f := forcing{air: d.AirC, cos: cos, sin: sin, lnq: make([]float64, n)}
	for i := range f.lnq {
		f.lnq[i] = .5 * math.Sin(float64(i)/40)
	}
	return f
}

// BenchmarkModel30y: "8" does what "c" does (TestModelAgreesWithC); compare
// their min-ns.
func BenchmarkModel30y(b *testing.B) {
	f := thirtyYears()
	out := make([]float64, len(f.air))
	b.Run("c", func(b *testing.B) {
		bin, ok := cModel(b)
		if !ok {
			b.Skip("no gcc")
		}
		ns := math.Inf(1)
		for b.Loop() {
			_, x := runC(b, bin, Heat{Kind: 8, A: published["Mentue"], W: .7}, f, 1000)
			ns = min(ns, x)
		}
		b.ReportMetric(ns, "ns/op")
		b.ReportMetric(ns, "min-ns")
	})

	for _, c := range []struct {
		name string
		h    Heat
	}{
		{"8", Heat{Kind: 8, A: published["Mentue"], W: .7}},
		{"8-ice", Heat{Kind: 8, A: published["Mentue"], W: .7, G: .1, JMax: 30, S: 10}},
		{"5", Heat{Kind: 5, A: published["Mentue"], W: .7}},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			fastest(b, func() { c.h.run(out, nil, f, 0) })
		})
	}
}

// BenchmarkMorning is one river's morning: the stored model read back, the
// history prepared, 100 members of 45 days.
func BenchmarkMorning(b *testing.B) {
	d := river(20*365, 1)
	m, err := Fit(d, Options{})
	require.NoError(b, err)
	raw, err := json.Marshal(m)
	require.NoError(b, err)
	day := d.Day(19*365 + 100)
	air := [][]float64{{1, 2, 3, 4, 5, 6, 5, 4, 3, 2}}
	b.ReportAllocs()
	b.ReportMetric(float64(len(raw)), "model-bytes")
	for b.Loop() {
		var back Model
		require.NoError(b, json.Unmarshal(raw, &back))
		_, err := back.Forecast(ensemble.Request{View: d.Cut(day), Day: day, Horizon: ensemble.CrossingHorizon, Air: air})
		require.NoError(b, err)
	}
}
