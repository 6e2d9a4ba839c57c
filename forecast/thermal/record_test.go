package thermal

import (
	"math"
	"testing"

	"example.org/coldseam/forecast/ensemble"
	"github.com/stretchr/testify/require"
)

// A test year taken out of the middle leaves years that share a remainder; the
// record must still teach from both.
func TestFoldsOfTheYearsLeft(t *testing.T) {
	t.Parallel()
	d := river(3*365, 4)
	for _, drop := range [][]int{{2010}, {2011}, {2012}} {
		f := foldsOf(newRecord(d, ensemble.Training{}.Without(drop...)))
		require.Len(t, f, 2, "without %d", drop)
	}
	m, err := Fit(d, Options{Training: ensemble.Training{}.Without(2011)})
	require.NoError(t, err)
	require.NotNil(t, m.ByAir[withoutAir])
	require.NotNil(t, m.ByAir[withAir])
}

// Members are as fine as the thermometer: under ice the spread is below its
// reading step.
func TestMembersKeepTheReadingStep(t *testing.T) {
	t.Parallel()
	d := river(3*365, 5)
	m, err := Fit(d, Options{})
	require.NoError(t, err)
	require.Zero(t, m.StepC)
	for i, v := range d.WaterC {
		d.WaterC[i] = math.Round(v/.1) * .1
	}

	m, err = Fit(d, Options{})
	require.NoError(t, err)
	require.InDelta(t, .1, m.StepC, 1e-12)
	r, err := m.Forecast(ensemble.Request{View: d, Day: d.Day(760), Seed: 3})
	require.NoError(t, err)
	for _, p := range r.Members {
		for _, v := range p {
			require.InDelta(t, math.Round(v/.1)*.1, v, 1e-9)
		}
	}
}

func TestStepOfARecord(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	require.InDelta(t, .5, step([]float64{0, .5, 1, nan, 3.5}), 0)
	require.InDelta(t, .1, step([]float64{.1, .3, 12.7}), 0)
	require.InDelta(t, .01, step([]float64{.1, .13, 12.7}), 0)
	require.Zero(t, step([]float64{.1, .1234, 12.7}))
	require.Zero(t, step([]float64{nan}))
}
