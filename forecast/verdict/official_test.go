package verdict

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// fed is a good morning with an official forecast of these stages, six hours
// apart from an hour before now.
func fed(stages ...float64) Inputs {
	in := good(.8)
	in.Official = Official{Fed: true, At: in.Now.Add(-time.Hour), Issued: in.Now.Add(-2 * time.Hour)}
	for i, v := range stages {
		in.Official.Steps = append(in.Official.Steps,
			coldseam.Observation{At: in.Now.Add(time.Duration(6*i-1) * time.Hour), Value: v})
	}
	return in
}

// An official forecast that reaches flood stage in the window or within hours
// after it stops, with crest and hour.
func TestOfficialForecastStops(t *testing.T) {
	t.Parallel()
	require.Equal(t, coldseam.Go, Decide(good(.8)).Verdict)
	require.Equal(t, coldseam.Go, Decide(fed(1, 1.2, 1.3, 1.1)).Verdict)

	d := Decide(fed(1, 3, 4.5, 3))
	require.Equal(t, coldseam.Stop, d.Verdict)
	require.Equal(t, "flood_stage_forecast", d.Stops[0].Code)
	require.InDelta(t, 4.5, d.Stops[0].Values["crest_m"], 1e-9)
	require.True(t, fed().Now.Add(11*time.Hour).Equal(d.Stops[0].At))

	late := make([]float64, 12)
	late[11] = 9
	require.Equal(t, coldseam.Go, Decide(fed(late...)).Verdict, "days later")

	in := fed(1, 2, 2, 2)
	in.Official.FloodM = ptr(1.9)
	require.Equal(t, coldseam.Stop, Decide(in).Verdict, "the lower of the agency's and the admin's stage")
	in.Reach.FloodStageM = nil
	require.Equal(t, coldseam.Stop, Decide(in).Verdict, "a stage that only the agency knows")
}

// A calm official forecast lifts no stop of ours.
func TestOfficialForecastLiftsNothing(t *testing.T) {
	t.Parallel()
	in := fed(1, 1, 1, 1)
	in.Candidates[0].PFlood = ptr(.9)
	d := Decide(in)
	require.Equal(t, coldseam.Stop, d.Verdict)
	require.Equal(t, "flood_forecast", d.Stops[0].Code)
}

// A point that is named and not read is NO CALL; one for which the agency issues
// nothing is not.
func TestOfficialForecastThatFails(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		change func(*Official)
		want   coldseam.Verdict
		code   string
	}{
		"never read":   {func(o *Official) { o.At = time.Time{} }, coldseam.NoCall, "stage_forecast_missing"},
		"long ago":     {func(o *Official) { o.At = o.At.Add(-officialAge) }, coldseam.NoCall, "stage_forecast_stale"},
		"none issued":  {func(o *Official) { o.Issued, o.Steps = time.Time{}, nil }, coldseam.Go, ""},
		"an old issue": {func(o *Official) { o.Issued = o.Issued.Add(-officialAge); o.Steps[1].Value = 99 }, coldseam.Go, ""},
		"not a number": {func(o *Official) { o.Steps[1].Value = math.NaN() }, coldseam.NoCall,
			"stage_forecast_invalid"},
	} {
		in := fed(1, 1, 1, 1)
		c.change(&in.Official)
		d := Decide(in)
		require.Equal(t, c.want, d.Verdict, name)
		if c.code != "" {
			require.Equal(t, c.code, d.Reasons[0].Code, name)
		}
	}
}
