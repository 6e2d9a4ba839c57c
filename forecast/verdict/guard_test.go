package verdict

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify"
)

// TestNoNumberIsNoGo: whatever the caller hands over that is not a finite
// number, no verdict rests on it, and the brief can be stored.
func TestNoNumberIsNoGo(t *testing.T) {
	t.Parallel()
	members := func(v float64) []float64 { return append(repeat(.01, 99), v) }

	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		for name, change := range map[string]func(*Inputs){
			"flow reading":  func(in *Inputs) { in.Gauge.Discharge = steady(bad) },
			"stage reading": func(in *Inputs) { in.Gauge.Stage = steady(bad) },
			"flow limit":    func(in *Inputs) { in.Reach.MaxFlowM3S = &bad },
			"flood stage":   func(in *Inputs) { in.Reach.FloodStageM = &bad },
			"flow members":  func(in *Inputs) { eachCandidate(in, func(c *Candidate) { c.FlowM3S = members(bad) }) },
			"rise members":  func(in *Inputs) { eachCandidate(in, func(c *Candidate) { c.RiseShare = members(bad) }) },
			"no rise":       func(in *Inputs) { eachCandidate(in, func(c *Candidate) { c.RiseShare = []float64{} }) },
			"stage members": func(in *Inputs) { eachCandidate(in, func(c *Candidate) { c.RiseM = members(bad) }) },
			"flood share":   func(in *Inputs) { eachCandidate(in, func(c *Candidate) { c.PFlood = &bad }) },
			"water members": func(in *Inputs) { eachCandidate(in, func(c *Candidate) { c.WaterC = members(bad) }) },
			"odds":          func(in *Inputs) { eachCandidate(in, func(c *Candidate) { c.PGood = members(bad) }) },
			"negative odds": func(in *Inputs) { eachCandidate(in, func(c *Candidate) { c.PGood = members(-.1) }) },
			"air":           func(in *Inputs) { eachHour(in, func(h *Hour) { h.AirC = &bad }) },
			"wind":          func(in *Inputs) { eachHour(in, func(h *Hour) { h.WindMS = &bad }) },
			"gust":          func(in *Inputs) { eachHour(in, func(h *Hour) { h.GustMS = &bad }) },
			"thunder":       func(in *Inputs) { eachHour(in, func(h *Hour) { h.Thunder = &bad }) },
			"no candidates": func(in *Inputs) { in.Candidates = nil },
		} {
			in := good(.9)
			change(&in)
			d := Decide(in)
			require.False(t, d.Verdict.ShowsOdds(), "%s %g: %s", name, bad, d.Verdict)
			require.NotEmpty(t, append(d.Stops, d.Reasons...), name)
			for _, r := range append(d.Stops, d.Reasons...) {
				require.True(t, hasSentence(r), "%s: %+v", name, r)
			}
			_, err := json.Marshal(d)
			require.NoError(t, err, "%s %g", name, bad)
		}

		in := good(.9)
		in.Table.WindMPH, in.Table.GustMPH, in.Table.Thunder = bad, bad, bad
		eachHour(&in, func(h *Hour) { h.WindMS = ptr(25 * coldseam.MPSPerMPH) })
		require.Equal(t, []string{"wind"}, codes(Decide(in).Stops, KindSafety),
			"a limit that is no number is the shipped one")

		in = good(.9)
		in.Candidates[0].HoldP = &bad
		d := Decide(in)
		require.Contains(t, codes(d.Reasons, KindCap), "hold_unknown")
		_, err := json.Marshal(d)
		require.NoError(t, err)
	}
}

// TestGuardLeavesTheCallersData: what was handed over is not changed.
func TestGuardLeavesTheCallersData(t *testing.T) {
	t.Parallel()
	in := good(.9)
	in.Gauge.Water = append(in.Gauge.Water, coldseam.Observation{At: at(4, 50), Value: math.NaN()})
	nan := math.NaN()
	in.Candidates[0].HoldP = &nan
	Decide(in)
	require.Zero(t, in.Gauge.Water[len(in.Gauge.Water)-1].Flag)
	require.NotNil(t, in.Candidates[0].HoldP)
}

// TestOldThermometerIsCold: a reading of last month, though warm, keeps the
// life-jacket and alone lines; the line says since when the water is not known.
func TestOldThermometerIsCold(t *testing.T) {
	t.Parallel()
	warm := good(.9)
	warm.Gauge.Water = steady(20)
	d := Decide(warm)
	require.Empty(t, d.Life.Code)
	require.NotContains(t, codes(d.Cautions, ""), "alone")

	for _, age := range []time.Duration{40 * 24 * time.Hour, 31 * time.Hour, 0} {
		in := good(.9)
		in.WaterModel = true
		in.Gauge.Water = []coldseam.Observation{{At: in.Now.Add(-age), Value: 20}}
		want := "Water not known since " + in.Now.Add(-age).UTC().Format("2 Jan") + ": wear the life jacket."
		if age == 0 { // no thermometer
			in.Gauge.Water, want = nil, "Cold water: wear the life jacket."
		}
		d := Decide(in)
		require.Equal(t, want, notify.ReasonText(d.Life, "", "UTC"))
		require.Contains(t, codes(d.Cautions, ""), "alone")
	}
}

// TestSunBeyondTheDateLine: Chatham keeps the date of +12:45 at a longitude west
// of 180.
func TestSunBeyondTheDateLine(t *testing.T) {
	t.Parallel()
	chatham := time.FixedZone("Chatham", 12*3600+45*60)
	samoa := time.FixedZone("Samoa", -11*3600)
	day := coldseam.Date{Year: 2026, Month: 9, Day: 20}
	for _, s := range []Sun{SunOf(day, -43.9, -176.5, chatham), SunOf(day, -14.3, -170.7, samoa),
		SunOf(day, -43.9, 176.5, chatham)} {
		require.Equal(t, day, coldseam.DateOf(s.Rise))
		require.Equal(t, day, coldseam.DateOf(s.Set))
		require.Greater(t, s.LengthH, 11.0)
	}
}
