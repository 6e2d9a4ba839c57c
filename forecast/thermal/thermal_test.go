package thermal

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
)

// river is an invented cold river of n days from 1 January 2010, frozen in
// winter: the Hallam Fork. Its water follows its air by a two-day memory.
func river(n int, seed uint64) coldseam.Days {
	d := coldseam.Days{First: coldseam.Date{Year: 2010, Month: 1, Day: 1}, Lat: 46,
		WaterC: make([]float64, n), AirC: make([]float64, n)}
	rng := ensemble.Stream(seed, d.First, 0)
	c := ensemble.NewCalendar(d.First, n)
	a, w := 0.0, 0.0
	for i := range n {
		a = .7*a + 2.2*rng.NormFloat64()
		season := 4 - 15*math.Cos(2*math.Pi*float64(c.Doy[i]-20)/ensemble.YearDays)
		d.AirC[i] = season + a
		w = max(0, .55*w+.45*(.8*d.AirC[i]+1)+.25*rng.NormFloat64())
		d.WaterC[i] = w
	}
	return d
}

func TestForecastIsPureAndBlindToTheFuture(t *testing.T) {
	t.Parallel()
	d := river(3*365, 1)
	m, err := Fit(d, Options{Training: ensemble.Training{Last: d.Day(900)}})
	require.NoError(t, err)
	q := ensemble.Request{View: d, Day: d.Day(900), Seed: 7}
	a, err := m.Forecast(q)
	require.NoError(t, err)
	require.Len(t, a.Members, ensemble.DefaultMembers)
	require.Len(t, a.Members[0], ensemble.DefaultHorizon)
	q.View = d.Cut(d.Day(900))
	b, err := m.Forecast(q)
	require.NoError(t, err)
	require.Equal(t, a, b)
	q.Seed = 8
	c, err := m.Forecast(q)
	require.NoError(t, err)
	require.NotEqual(t, a.Members, c.Members)
}

func TestModelSurvivesJSON(t *testing.T) {
	t.Parallel()
	d := river(3*365, 2)
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	raw, err := json.Marshal(m)
	require.NoError(t, err)
	var back Model
	require.NoError(t, json.Unmarshal(raw, &back))
	q := ensemble.Request{View: d, Day: d.Day(900), Horizon: 45}
	a, err := m.Forecast(q)
	require.NoError(t, err)
	b, err := back.Forecast(q)
	require.NoError(t, err)
	require.Equal(t, a, b)
}

func TestStaleValueIsNoStart(t *testing.T) {
	t.Parallel()
	d := river(3*365, 3)
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	for i := 895; i <= 900; i++ {
		d.WaterC[i] = math.NaN()
	}
	r, err := m.Forecast(ensemble.Request{View: d, Day: d.Day(900)})
	require.NoError(t, err)
	require.True(t, r.Has(ensemble.FlagStale))
	require.Equal(t, ensemble.TierStale, r.Tier)
	r, err = m.Forecast(ensemble.Request{View: d, Day: d.Day(899)})
	require.NoError(t, err)
	require.NotEqual(t, ensemble.TierStale, r.Tier)
	require.True(t, r.Has(ensemble.FlagStale))
}

func TestFitRefusesARecordWithoutWater(t *testing.T) {
	t.Parallel()
	_, err := Fit(coldseam.Days{First: coldseam.Date{Year: 2020, Month: 1, Day: 1}, FlowM3S: []float64{1, 2}},
		Options{})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

func TestFirstWeekOfAGauge(t *testing.T) {
	t.Parallel()
	d := river(8, 5)
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	require.Equal(t, ensemble.TierCold, m.Tier)
	r, err := m.Forecast(ensemble.Request{View: d, Day: d.Day(7), Horizon: ensemble.CrossingHorizon})
	require.NoError(t, err)
	require.Equal(t, ensemble.TierCold, r.Tier)
	require.True(t, r.Has(ensemble.FlagLowConfidence))
	require.Len(t, r.Members, ensemble.DefaultMembers)

	// With a similar gauge its traces dress the value instead.
	pool := river(4*365, 6)
	q := ensemble.Request{View: d, Day: d.Day(7), Pool: []coldseam.Days{pool}}
	r, err = m.Forecast(q)
	require.NoError(t, err)
	require.Equal(t, "water/dressed-persistence", r.Source)

	// No value for six days and nothing to lean on: no forecast, by name.
	for i := range d.WaterC {
		d.WaterC[i] = math.NaN()
	}
	_, err = m.Forecast(ensemble.Request{View: d, Day: d.Day(7)})
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
}

// The full model: prepared once on a long river, looked at from several sides.
func TestStackedForecast(t *testing.T) {
	t.Parallel()
	d := river(9*365, 7)
	m, err := Fit(d, Options{Seed: 3})
	require.NoError(t, err)
	require.Equal(t, ensemble.TierFull, m.Tier)
	require.NotNil(t, m.ByAir[withAir])
	raw, err := json.Marshal(m)
	require.NoError(t, err)
	var back Model
	require.NoError(t, json.Unmarshal(raw, &back))
	t0 := 8*365 + 95
	air := d.AirC[t0+1 : t0+11]

	for _, c := range []struct {
		name string
		q    ensemble.Request
	}{
		{"no air", ensemble.Request{}},
		{"single air forecast", ensemble.Request{Air: [][]float64{air}}},
		{"short air forecast", ensemble.Request{Air: [][]float64{air[:4]}}},
		{"air ensemble", ensemble.Request{Air: [][]float64{air, d.AirC[t0+3 : t0+13]}}},
		{"perfect air", ensemble.Request{Air: [][]float64{air}, AirPerfect: true}},
		{"45 days", ensemble.Request{Horizon: ensemble.CrossingHorizon, Air: [][]float64{air}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			c.q.View, c.q.Day, c.q.Seed = d.Cut(d.Day(t0)), d.Day(t0), 5
			a, err := m.Forecast(c.q)
			require.NoError(t, err)
			b, err := back.Forecast(c.q)
			require.NoError(t, err)
			require.Equal(t, a, b)
			_, horizon := c.q.Size()
			require.Equal(t, "water/stacked", a.Source)

			for i, p := range a.Members {
				require.Len(t, p, horizon)
				for _, v := range p {
					require.True(t, v >= 0 && v <= 60)
				}
				require.False(t, a.Trace[i].IsZero())
			}
			require.Len(t, a.Weights, len(a.Sources))
		})
	}
}

func TestImplausibleValueWaits(t *testing.T) {
	t.Parallel()
	d := river(9*365, 8)
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	t0 := 8*365 + 150
	d.WaterC[t0] += 14
	r, err := m.Forecast(ensemble.Request{View: d.Cut(d.Day(t0)), Day: d.Day(t0)})
	require.NoError(t, err)
	require.True(t, r.Has(ensemble.FlagHeld))
	require.Less(t, coldseam.Quantile(r.Step(nil, 1), .5), d.WaterC[t0]-8)
	// the next day confirms it
	d.WaterC[t0+1] = d.WaterC[t0]
	r, err = m.Forecast(ensemble.Request{View: d.Cut(d.Day(t0 + 1)), Day: d.Day(t0 + 1)})
	require.NoError(t, err)
	require.False(t, r.Has(ensemble.FlagHeld))
}

func TestWarmerAirMakesWarmerWater(t *testing.T) {
	t.Parallel()
	d := river(9*365, 9)
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	t0 := 8*365 + 120
	med := func(shift float64) float64 {
		air := make([]float64, 10)
		for h := range air {
			air[h] = d.AirC[t0+1+h] + shift
		}
		r, err := m.Forecast(ensemble.Request{View: d.Cut(d.Day(t0)), Day: d.Day(t0), Air: [][]float64{air}})
		require.NoError(t, err)
		return coldseam.Quantile(r.Step(nil, 7), .5)
	}
	require.Greater(t, med(4), med(0)+1)
	require.Less(t, med(-4), med(0)-1)
}

func TestArchivedErrorsCorrectAndDress(t *testing.T) {
	t.Parallel()
	d := river(9*365, 10)
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	t0 := 8*365 + 120
	biased := make([]float64, 10)
	var errs []ensemble.AirError
	for h := range biased {
		biased[h] = d.AirC[t0+1+h] + 3
	}

	for k := range 200 {
		e := ensemble.AirError{Issued: d.Day(t0 - 20 - k)}
		for range 10 {
			e.Err = append(e.Err, 3+.2*float64(k%5-2))
		}
		errs = append(errs, e)
	}

	q := ensemble.Request{View: d.Cut(d.Day(t0)), Day: d.Day(t0), Air: [][]float64{biased}}
	raw, err := m.Forecast(q)
	require.NoError(t, err)
	q.AirErrors = errs
	fixed, err := m.Forecast(q)
	require.NoError(t, err)
	q.Air, q.AirErrors, q.AirPerfect = [][]float64{d.AirC[t0+1 : t0+11]}, nil, true
	truth, err := m.Forecast(q)
	require.NoError(t, err)
	at := func(r ensemble.Result) float64 { return coldseam.Quantile(r.Step(nil, 6), .5) }
	require.Less(t, math.Abs(at(fixed)-at(truth)), .5*math.Abs(at(raw)-at(truth)))
}

// A forecast of the air whose errors nobody has archived yet is not perfect: the
// 80 % interval of the water must hold what its errors do. Errors grow as
// forecasts of spring air do, from .9 degC on day 1 to 3.5 on day 10
// [common practice; sizes assumed].
func TestUnknownAirErrorsAreInTheSpread(t *testing.T) {
	t.Parallel()
	d := river(10*365, 12)
	m, err := Fit(d.Cut(d.Day(8*365)), Options{})
	require.NoError(t, err)
	k := m.NewPredictor(d)
	rng := ensemble.Stream(5, ensemble.Epoch, 5)
	in, n := map[int]float64{}, 0.

	for i := 8*365 + 40; i < 9*365+300; i += 3 {
		air := make([]float64, 10)
		e := rng.NormFloat64()
		for h := range air {
			e = .7*e + .714*rng.NormFloat64()
			air[h] = d.AirC[i+1+h] + e*(.5+.42*math.Pow(float64(h)+.5, .85))
		}

		r, err := k.Forecast(ensemble.Request{View: d, Day: d.Day(i), Air: [][]float64{air}, Seed: 3})
		require.NoError(t, err)
		n++
		for _, h := range []int{3, 7, 10} {
			x, y := r.Step(nil, h), d.WaterC[i+h]
			if y >= coldseam.Quantile(x, .1) && y <= coldseam.Quantile(x, .9) {
				in[h]++
			}
		}
	}

	for h, c := range in {
		t.Logf("lead %d: 80 %% interval held %.0f of %.0f", h, c, n)
		require.InDelta(t, .8, c/n, .1, "lead %d, %.0f issues", h, n)
	}
}

// Few archived errors already say how large they are.
func TestErrorScaleLearnsFromFew(t *testing.T) {
	t.Parallel()
	one := func(int) float64 { return 1 }
	require.InDelta(t, 1, errorScale(nil, one), 1e-12)
	var errs []ensemble.AirError
	for i := range 20 {
		s := float64(2*(i%2) - 1)
		errs = append(errs, ensemble.AirError{Err: []float64{3 * s, -3 * s}})
	}
	require.InDelta(t, math.Sqrt((20*9.+20)/40), errorScale(errs, one), 1e-9) // half of what they say
}

// The model of a record without variation can be stored.
func TestModelOfAConstantRecordIsStored(t *testing.T) {
	t.Parallel()
	d := coldseam.Days{First: coldseam.Date{Year: 2020, Month: 1, Day: 1}, Lat: 45}
	for range 800 {
		d.WaterC, d.AirC = append(d.WaterC, 8), append(d.AirC, 8)
	}
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	_, err = json.Marshal(m)
	require.NoError(t, err)
}
