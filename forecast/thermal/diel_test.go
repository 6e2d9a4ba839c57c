package thermal

import (
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

func hourReadings(days int, f func(day int, hour float64) float64) []coldseam.Observation {
	t0 := time.Date(2025, 4, 1, 0, 0, 0, 0, time.UTC)
	var out []coldseam.Observation
	for i := range days * 48 {
		out = append(out, coldseam.Observation{At: t0.Add(time.Duration(i) * 30 * time.Minute),
			Value: f(i/48, float64(i%48)/2)})
	}
	return out
}

func TestDielUsesDaysOfLikeMean(t *testing.T) {
	t.Parallel()
	// Cold days swing by 1 degC, warm ones by 4.
	obs := hourReadings(20, func(d int, h float64) float64 {
		mean, swing := 3., .5
		if d%2 == 1 {
			mean, swing = 9, 2
		}
		return mean + swing*math.Cos(2*math.Pi*(h-16)/24)
	})
	day := coldseam.Date{Year: 2025, Month: 4, Day: 20}
	d := NewDiel(obs, obs[len(obs)-1].At, time.UTC)
	require.NotEmpty(t, d.days)
	at := day.Add(3).In(time.UTC).Add(16 * time.Hour)
	for i := range 12 {
		require.InDelta(t, .5, d.Departure(i, 3.3, at), .03)
		require.InDelta(t, 2, d.Departure(i, 8.7, at), .06)
	}
}

func TestDielStartsAtTheNewestReading(t *testing.T) {
	t.Parallel()
	obs := hourReadings(10, func(_ int, h float64) float64 { return 5 + math.Cos(2*math.Pi*(h-16)/24) })
	now := obs[9*48+10].At // 05:00 of day 10
	seen := obs[:9*48+11]
	seen[len(seen)-1].Value += 1 // warmer than any member thinks
	day := coldseam.Date{Year: 2025, Month: 4, Day: 9}
	d := NewDiel(seen, now, time.UTC)
	path := []float64{5, 5, 5}
	require.InDelta(t, seen[len(seen)-1].Value, d.At(2, path, day, now), .05)
	later := now.Add(48 * time.Hour)
	require.InDelta(t, 5+math.Cos(2*math.Pi*(5-16.)/24), d.At(2, path, day, later), .1)
}

func TestAssumedShapeAtFreezing(t *testing.T) {
	t.Parallel()
	d := NewDiel(nil, time.Date(2025, 1, 5, 0, 0, 0, 0, time.UTC), time.UTC)
	require.Empty(t, d.days)
	require.Zero(t, d.Departure(0, .3, time.Date(2025, 1, 5, 16, 0, 0, 0, time.UTC)))
	require.InDelta(t, .7, d.Departure(0, 3, time.Date(2025, 4, 5, 16, 0, 0, 0, time.UTC)), 1e-9)
}

// The public half-hourly series: 12-26 degC, its departures at 16 h drawn from
// own days of like mean must fit the day that follows better than none.
func TestDielOnBrandywine(t *testing.T) {
	t.Parallel()
	root := os.Getenv("COLDSEAM_REAL_DATA")
	if root == "" {
		t.Skip("COLDSEAM_REAL_DATA is not set: the public series are not here")
	}
	raw, err := os.ReadFile(filepath.Join(root, "series/subdaily/brandywine_30min.csv"))
	require.NoError(t, err)

	var obs []coldseam.Observation
	for _, l := range strings.Split(strings.TrimSpace(string(raw)), "\n")[1:] {
		f := strings.Split(l, ",")
		at, err := time.Parse(time.DateTime, f[0])
		require.NoError(t, err)
		v, ok := number(f[2])
		if ok {
			obs = append(obs, coldseam.Observation{At: at, Value: v})
		}
	}

	mean := map[coldseam.Date][2]float64{}
	for _, o := range obs {
		m := mean[coldseam.DateOf(o.At)]
		mean[coldseam.DateOf(o.At)] = [2]float64{m[0] + o.Value, m[1] + 1}
	}
	var flat, shaped, n float64
	first := coldseam.DateOf(obs[0].At)

	for day := 12; day < 58; day++ {
		today := first.Add(day)
		m := mean[today]
		if m[1] < 46 {
			continue
		}
		cut := today.UTC()
		var seen []coldseam.Observation
		for _, o := range obs {
			if o.At.Before(cut) {
				seen = append(seen, o)
			}
		}

		d := NewDiel(seen, cut, time.UTC)
		for _, o := range obs {
			if coldseam.DateOf(o.At) != today {
				continue
			}
			mu := m[0] / m[1]
			dep := 0.
			for i := range 10 {
				dep += d.Departure(i, mu, o.At) / 10
			}
			flat += math.Abs(o.Value - mu)
			shaped += math.Abs(o.Value - mu - dep)
			n++
		}
	}

	t.Logf("mean absolute error by the half hour: daily mean %.2f, with the shape %.2f degC (n %.0f)", flat/n, shaped/n,
		n)
	require.Less(t, shaped, .6*flat)
}

func number(s string) (float64, bool) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	return v, err == nil
}

func TestOffsetLearnsReachAndReaders(t *testing.T) {
	t.Parallel()
	rng := ensemble.Stream(4, ensemble.Epoch, 4)
	var rs []Reading
	who := map[string]float64{"a": .4, "b": -.3, "c": 0}
	for i := range 90 {
		name := string(rune('a' + i%3))
		g := 3 + float64(i%10)/2
		rs = append(rs, Reading{Reader: name, Gauge: g, Value: g + .8 + who[name] + readingSD*rng.NormFloat64()})
	}

	rs = append(rs, Reading{Reader: "a", Gauge: math.NaN(), Value: 3})
	o := FitOffset(rs)
	require.Equal(t, 90, o.N)
	require.InDelta(t, .8, o.Mean, .3)
	require.InDelta(t, .7, o.Readers["a"]-o.Readers["b"], .25)
	require.Less(t, o.SD, .3)
	one := FitOffset(rs[:1])
	require.Greater(t, one.SD, .4)
	require.Less(t, math.Abs(one.Mean), math.Abs(rs[0].Value-rs[0].Gauge)) // shrunk
	require.Equal(t, 1., FitOffset(nil).SD)
}

func TestOffsetLeavesFrozenWaterFrozen(t *testing.T) {
	t.Parallel()
	gauge := ensemble.Result{Members: [][]float64{{0, .1, 5}, {0, 0, 6}}}
	to := Offset{Mean: 1}.Draw(2, ensemble.Stream(1, ensemble.Epoch, 1))
	r := to.Result(gauge)
	require.Equal(t, 5., gauge.Members[0][2], "the gauge's own forecast stays: it is scored")
	require.Equal(t, 0., r.Members[0][0])
	require.InDelta(t, .2, r.Members[0][1], 1e-9)
	require.InDelta(t, 7, r.Members[1][2], 1e-9)
	require.False(t, r.Has(ensemble.FlagLowConfidence))
	d := to.Days(coldseam.Days{WaterC: []float64{0, 4, math.NaN()}})
	require.InDeltaSlice(t, []float64{0, 5}, d.WaterC[:2], 1e-9)
	require.True(t, math.IsNaN(d.WaterC[2]))
	require.Equal(t, gauge, Reach{}.Result(gauge))
}

func TestReachKeepsTheSpreadOfTheOffset(t *testing.T) {
	t.Parallel()
	to := Offset{Mean: .5, SD: .8}.Draw(100, ensemble.Stream(1, ensemble.Epoch, 1))
	var x []float64
	for i := range 100 {
		x = append(x, to.At(i, 10))
	}
	require.InDelta(t, 10.5, coldseam.Quantile(x, .5), .02)
	require.InDelta(t, 2*1.2816*.8, coldseam.Quantile(x, .9)-coldseam.Quantile(x, .1), .05) // normal 80 % interval
}

func TestNeighbour(t *testing.T) {
	t.Parallel()
	var own, nb []float64
	for i := range 60 {
		x := float64(i % 20)
		nb, own = append(nb, x), append(own, 1+.8*x)
	}
	f, err := FitNeighbour(own, nb)
	require.NoError(t, err)
	require.InDelta(t, .8, f.B, .02)
	require.InDelta(t, 1, f.A, .2)
	_, err = FitNeighbour([]float64{math.NaN()}, []float64{3})
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
	r := f.Draw(2, ensemble.Stream(1, ensemble.Epoch, 2)).Result(ensemble.Result{Members: [][]float64{{2, 3}, {2, 3}}})
	require.True(t, r.Has(ensemble.FlagLowConfidence))
	require.NotEqual(t, r.Members[0][0], r.Members[1][0])
}
