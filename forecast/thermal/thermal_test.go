package thermal

import (
	"encoding/json"
	"math"
	"testing"

	"example.org/coldseam"
	"example.org/coldseam/forecast/daily"
	"github.com/stretchr/testify/require"
)

// river is an invented cold river of n days from 1 January 2010, frozen in
// winter: the Hallam Fork. Its water follows its air by a two-day memory.
func river(n int, seed uint64) coldseam.Days {
	d := coldseam.Days{First: coldseam.Date{Year: 2010, Month: 1, Day: 1}, Lat: 46,
		WaterC: make([]float64, n), AirC: make([]float64, n)}
	rng := daily.Stream(seed, d.First, 0)
	c := daily.NewCalendar(d.First, n)
	a, w := 0.0, 0.0
	for i := range n {
		a = .7*a + 2.2*rng.NormFloat64()
		season := 4 - 15*math.Cos(2*math.Pi*float64(c.Doy[i]-20)/daily.YearDays)
		d.AirC[i] = season + a
		w = max(0, .55*w+.45*(.8*d.AirC[i]+1)+.25*rng.NormFloat64())
		d.WaterC[i] = w
	}
	return d
}

func TestForecastIsPureAndBlindToTheFuture(t *testing.T) {
	t.Parallel()
	d := river(3*365, 1)
	m, err := Fit(d, Options{Training: daily.Training{Last: d.Day(900)}})
	require.NoError(t, err)
	q := daily.Issue{View: d, Day: d.Day(900), Seed: 7}
	a, err := m.Forecast(q)
	require.NoError(t, err)
	require.Len(t, a.Members, daily.DefaultMembers)
	require.Len(t, a.Members[0], daily.DefaultHorizon)
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
	q := daily.Issue{View: d, Day: d.Day(900), Horizon: 45}
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
	r, err := m.Forecast(daily.Issue{View: d, Day: d.Day(900)})
	require.NoError(t, err)
	require.True(t, r.Has(daily.FlagStale))
	require.Equal(t, daily.TierStale, r.Tier)
	r, err = m.Forecast(daily.Issue{View: d, Day: d.Day(899)})
	require.NoError(t, err)
	require.NotEqual(t, daily.TierStale, r.Tier)
	require.True(t, r.Has(daily.FlagStale))
}

func TestFitRefusesARecordWithoutWater(t *testing.T) {
	t.Parallel()
	_, err := Fit(coldseam.Days{First: coldseam.Date{Year: 2020, Month: 1, Day: 1}, FlowM3S: []float64{1, 2}}, Options{})
	require.ErrorIs(t, err, coldseam.ErrInvalid)
}
