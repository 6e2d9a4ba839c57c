package forecast

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/forecast/verdict"
)

// A forecast that begins at ten in the morning knows no night of its first day.
func TestAirDaysOfAYoungDay(t *testing.T) {
	t.Parallel()
	last := testDay.Add(-1)
	day := func(at time.Time) float64 { return 8 + 6*math.Cos(2*math.Pi*(float64(at.In(testLoc).Hour())-16)/24) }
	series := func(from int) (at []time.Time, v []float64) {
		for h := from; h <= 72; h++ {
			x := testDay.In(testLoc).Add(time.Duration(h) * time.Hour)
			at, v = append(at, x), append(v, day(x))
		}
		return at, v
	}
	at, v := series(1)
	whole := AirDays(at, v, last, 10, testLoc)
	require.Len(t, whole, 3)

	at, v = series(10)
	young := AirDays(at, v, last, 10, testLoc)
	require.Len(t, young, 3)
	require.InDelta(t, whole[0], young[0], .05, "not the mean of an afternoon")
	at, v = series(18)
	require.Empty(t, AirDays(at, v, last, 10, testLoc), "seven hours are no day")
	at, v = series(1)
	require.Len(t, AirDays(at[:40], v[:40], last, 10, testLoc), 1, "the second day is not covered")
	holed := append(append([]time.Time(nil), at[:28]...), at[38:]...)
	require.Len(t, AirDays(holed, append(append([]float64(nil), v[:28]...), v[38:]...), last, 10, testLoc), 1,
		"no value is stretched over a hole")
	require.InDelta(t, whole[0], AirDays(at[9:], v[9:], last, 1, testLoc)[0], 3, "without a second day as it is")
}

// Every member of an air ensemble is one.
func TestAirEnsemble(t *testing.T) {
	t.Parallel()
	f := river()
	plain := Make(f)
	w := f.weather(coldseam.AirTemp)
	for _, d := range []float64{-6, 0, 6} {
		m := make([]float64, len(w.Value))
		for i, v := range w.Value {
			m[i] = v + d
		}
		w.Members = append(w.Members, m)
	}
	require.Len(t, f.airDaily(10), 3)
	ens := Make(f)
	width := func(m Morning, h int) float64 { return m.Temp.Quantile(h, .9) - m.Temp.Quantile(h, .1) }
	require.Greater(t, width(ens, 6), width(plain, 6))
	require.InDelta(t, plain.Temp.Quantile(4, .5), ens.Temp.Quantile(4, .5), .6)
}

// One part of the weather that was not issued anew makes all of it old, in
// whatever order the parts come.
func TestWeatherIsAsOldAsItsOldestPart(t *testing.T) {
	t.Parallel()
	old := testNow.Add(-20 * time.Hour)
	for i := range 5 {
		f := Inputs{Now: testNow, Table: verdict.DefaultTable(), Weather: weather(map[coldseam.Parameter]float64{
			coldseam.AirTemp: 8, coldseam.Wind: 2, coldseam.Gust: 4, coldseam.Precip: 0, coldseam.ThunderProb: .02})}
		f.Weather[i].Issued = old
		require.True(t, f.WeatherSteps().Issued.Equal(old), "part %d", i)
	}
}
