package flow

import (
	"encoding/json"
	"math"
	"testing"

	"example.org/coldseam"
	"example.org/coldseam/forecast/ensemble"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// river is an invented snow river of n days from 1 January 2010: the Tamsen.
func river(n int, seed uint64) coldseam.Days {
	d := coldseam.Days{First: coldseam.Date{Year: 2010, Month: 1, Day: 1}, FlowM3S: make([]float64, n), Lat: 46}
	rng := ensemble.Stream(seed, d.First, 0)
	c := ensemble.NewCalendar(d.First, n)
	z := 0.0
	for i := range n {
		z = .9*z + .15*rng.NormFloat64() + .4*max(rng.NormFloat64()-1.8, 0)
		melt := math.Exp(-math.Pow((float64(c.Doy[i])-115)/25, 2) / 2)
		d.FlowM3S[i] = 20 * math.Exp(z+1.6*melt)
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

func TestNonPositiveDayGivesNoLogForecast(t *testing.T) {
	t.Parallel()
	d := river(3*365, 3)
	d.FlowM3S[900] = -27.7
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	r, err := m.Forecast(ensemble.Request{View: d, Day: d.Day(900)})
	require.NoError(t, err)
	require.True(t, r.Has(ensemble.FlagNoLog))
	require.Equal(t, ensemble.TierStale, r.Tier)
	for _, p := range r.Members {
		for _, v := range p {
			require.Greater(t, v, 0.)
		}
	}
}

func TestFitRefusesARecordWithoutFlow(t *testing.T) {
	t.Parallel()
	_, err := Fit(coldseam.Days{First: coldseam.Date{Year: 2020, Month: 1, Day: 1}, WaterC: []float64{1, 2}}, Options{})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}

func TestRecessionClosedForm(t *testing.T) {
	t.Parallel()
	// [reference calculation] of the closed form.
	for _, r := range []struct{ a, b, t, want float64 }{
		{.02, 1.5, 1, 35.3829}, {.02, 1.5, 5, 23.0886}, {.02, 1.5, 10, 15.0099},
		{.05, 1, 1, 38.0492}, {.05, 1, 5, 31.1520}, {.05, 1, 10, 24.2612},
	} {
		require.InDelta(t, r.want, Recession(40, r.a, r.b, r.t), 5e-5)
	}
}

// The closed form solves its own differential equation, for any a and b: a
// check that no typing error in the reference values could pass.
func TestRecessionSolvesItsEquation(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.Float64Range(.001, .2).Draw(t, "a"), rapid.Float64Range(1.01, 3).Draw(t, "b")
		q0, at := rapid.Float64Range(.5, 50).Draw(t, "q0"), rapid.Float64Range(.1, 20).Draw(t, "t")
		const dt = 1e-4
		slope := (Recession(q0, a, b, at+dt) - Recession(q0, a, b, at-dt)) / (2 * dt)
		want := -a * math.Pow(Recession(q0, a, b, at), b)
		require.InDelta(t, want, slope, 1e-5+1e-4*math.Abs(want))
	})
}

func TestNoMemberFallsBelowTheRecessionFloor(t *testing.T) {
	t.Parallel()
	d := river(6*365, 4)
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	require.Greater(t, m.FloorA, 0.)
	for day := 1200; day < 1600; day += 40 {
		r, err := m.Forecast(ensemble.Request{View: d, Day: d.Day(day)})
		require.NoError(t, err)
		for _, p := range r.Members {
			for h, v := range p {
				require.GreaterOrEqual(t, v, Recession(d.FlowM3S[day], m.FloorA, m.FloorB, float64(h+1))*(1-1e-12))
			}
		}
	}
}

func TestFirstWeekOfAGauge(t *testing.T) {
	t.Parallel()
	d := river(8, 5)
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	r, err := m.Forecast(ensemble.Request{View: d, Day: d.Day(7)})
	require.NoError(t, err)
	require.Equal(t, ensemble.TierCold, r.Tier)
	require.True(t, r.Has(ensemble.FlagLowConfidence))
	require.Len(t, r.Members, ensemble.DefaultMembers)
	for i := range d.FlowM3S {
		d.FlowM3S[i] = math.NaN()
	}
	_, err = m.Forecast(ensemble.Request{View: d, Day: d.Day(7)})
	require.ErrorIs(t, err, coldseam.ErrUnavailable)
}

func TestStackedForecast(t *testing.T) {
	t.Parallel()
	up := river(9*365, 7)
	d := up
	d.FlowM3S = make([]float64, len(up.FlowM3S))
	for i := range d.FlowM3S {
		d.FlowM3S[i] = 2.5 * up.FlowM3S[max(i-1, 0)]
	}

	opt := Options{Upstream: []coldseam.Days{up}}
	m, err := Fit(d, opt)
	require.NoError(t, err)
	require.Equal(t, []int{1}, m.Climate.Lag)
	t0 := 8*365 + 110
	q := ensemble.Request{View: d.Cut(d.Day(t0)), Day: d.Day(t0), Upstream: []coldseam.Days{up.Cut(d.Day(t0))}, Horizon: 45}
	r, err := m.Forecast(q)
	require.NoError(t, err)
	require.Equal(t, "flow/stacked", r.Source)

	// What passed upstream today is here tomorrow.
	require.InEpsilon(t, d.FlowM3S[t0+1], coldseam.Quantile(r.Step(nil, 1), .5), .05)
	for _, p := range r.Members {
		require.Len(t, p, 45)
		for _, v := range p {
			require.True(t, v > 0 && !math.IsInf(v, 0))
		}
	}

	// Without the upstream records at the issue the model falls back.
	q.Upstream = nil
	r, err = m.Forecast(q)
	require.NoError(t, err)
	require.Equal(t, "flow/dressed-persistence", r.Source)
}

func TestGivenTracesOrderTheMembers(t *testing.T) {
	t.Parallel()
	d := river(9*365, 8)
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	t0 := 8*365 + 110
	q := ensemble.Request{View: d.Cut(d.Day(t0)), Day: d.Day(t0), Members: 60}
	free, err := m.Forecast(q)
	require.NoError(t, err)
	for i := range 60 {
		q.Traces = append(q.Traces, d.Day(400+i*37))
	}
	tied, err := m.Forecast(q)
	require.NoError(t, err)
	require.Equal(t, q.Traces, tied.Trace)
	require.ElementsMatch(t, free.Members, tied.Members) // the margin is kept
	require.NotEqual(t, free.Members, tied.Members)
}

func TestAgencyForecastPulls(t *testing.T) {
	t.Parallel()
	d := river(9*365, 9)
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	t0 := 8*365 + 110
	q := ensemble.Request{View: d.Cut(d.Day(t0)), Day: d.Day(t0)}
	own, err := m.Forecast(q)
	require.NoError(t, err)

	agency := make([]float64, 5)
	for h := range agency {
		agency[h] = 3 * d.FlowM3S[t0]
	}
	q.Agency = [][]float64{agency}
	with, err := m.Forecast(q)
	require.NoError(t, err)
	a, b := coldseam.Quantile(own.Step(nil, 3), .5), coldseam.Quantile(with.Step(nil, 3), .5)
	require.InEpsilon(t, math.Sqrt(a*agency[2]), b, .02) // half way in logarithms
	require.InEpsilon(t, coldseam.Quantile(own.Step(nil, 8), .5), coldseam.Quantile(with.Step(nil, 8), .5), 1e-9)

	for k := range 80 { // an archive that shows the agency to be very good
		e := ensemble.AirError{Issued: d.Day(t0 - 10 - k)}
		for range 5 {
			e.Err = append(e.Err, .01*float64(k%3-1))
		}
		q.AgencyErrors = append(q.AgencyErrors, e)
	}

	with, err = m.Forecast(q)
	require.NoError(t, err)
	require.Greater(t, coldseam.Quantile(with.Step(nil, 3), .5), b*1.1)
}

// A river that falls from the same discharge each time has no curve, and no floor
// that is no number.
func TestRecessionOfARepeatingWeek(t *testing.T) {
	t.Parallel()
	var r record
	for range 60 {
		r.fit = append(r.fit, math.Log(40), math.Log(30), math.Log(20))
	}
	r.n = len(r.fit)
	a, b := recession(&r)
	require.Equal(t, [2]float64{0, 1}, [2]float64{a, b})
}
