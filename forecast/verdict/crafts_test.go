package verdict

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// briefOf is the stored brief of a decision.
func briefOf(in Inputs) coldseam.Brief {
	d := Decide(in)
	return coldseam.Brief{
		Day:      in.Day,
		Verdict:  d.Verdict,
		Odds:     d.Odds,
		OddsOK:   d.OddsOK,
		Cost:     d.Cost,
		Windows:  d.Windows,
		WindowI:  d.WindowI,
		Stops:    d.Stops,
		Reasons:  d.Reasons,
		Cautions: d.Cautions,
		Next: []coldseam.DayOdds{{Day: in.Day.Add(1), Verdict: coldseam.Go, Odds: .8, OddsOK: true,
			FlowM3S: [3]float64{60, 68, 80}}},
	}
}

// The flow is 68 m3/s, measured and forecast.
func TestHighWaterCapsFromThreeQuartersOfTheLimit(t *testing.T) {
	t.Parallel()
	for _, r := range []struct {
		name  string
		limit float64
		want  coldseam.Verdict
	}{{"well below", 180, coldseam.Go}, {"at 74 %", 68 / .74, coldseam.Go}, {"at 76 %", 68 / .76, coldseam.TossUp},
		{"over", 67, coldseam.Stop}} {
		in := good(.8)
		in.Reach.MaxFlowM3S = &r.limit
		d := Decide(in)
		require.Equal(t, r.want, d.Verdict, r.name)
		require.Equal(t, r.want == coldseam.TossUp, contains(d.Reasons, "high_water"), r.name)
	}

	// By the members alone: a fifth of them reach 75 % after the window.
	in := good(.8)
	eachCandidate(&in, func(c *Candidate) { c.AfterM3S = mixed(68, 140, .2) })
	require.True(t, contains(Decide(in).Reasons, "high_water"))
	eachCandidate(&in, func(c *Candidate) { c.AfterM3S = mixed(68, 140, .19) })
	require.Equal(t, coldseam.Go, Decide(in).Verdict)
}

func TestUnconfirmedLimitCapsAndStops(t *testing.T) {
	t.Parallel()
	in := good(.8)
	in.Reach.MaxFlowProposed = true
	d := Decide(in)
	require.Equal(t, coldseam.TossUp, d.Verdict)
	require.True(t, contains(d.Reasons, "limit_unconfirmed"))
	in.Reach.MaxFlowM3S = ptr(60.0)
	require.Equal(t, coldseam.Stop, Decide(in).Verdict)
}

func TestEachCraftHasItsOwnLimit(t *testing.T) {
	t.Parallel()
	limits := []coldseam.CraftLimit{{Craft: coldseam.CraftWade, MaxFlowM3S: 50},
		{Craft: coldseam.CraftSmallBoat, MaxFlowM3S: 85}}

	for _, r := range []struct {
		name   string
		limits []coldseam.CraftLimit
		craft  coldseam.Craft
		want   coldseam.Verdict
		code   string
	}{
		{"boat under its ceiling", limits, coldseam.CraftBoat, coldseam.Go, ""},
		{"wading over its limit", limits, coldseam.CraftWade, coldseam.Stop, "craft_limit"},
		{"small boat at 80 % of its limit", limits, coldseam.CraftSmallBoat, coldseam.TossUp, "craft_high_water"},
		{"not said: the strictest", limits, "", coldseam.Stop, "craft_limit"},
		{"tube: nobody confirmed one", limits, coldseam.CraftTube, coldseam.TossUp, "craft_unconfirmed"},
		{"not said, the boat's alone", nil, "", coldseam.Go, ""},
		{"wading, the boat's alone", nil, coldseam.CraftWade, coldseam.TossUp, "craft_unconfirmed"},
	} {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			in := good(.8)
			in.Reach.CraftLimits = r.limits
			b := briefOf(in)
			require.Equal(t, coldseam.Go, b.Verdict, "the brief is a boat's")
			got := Personal(b, coldseam.Preferences{Craft: r.craft}, PersonalOptions{Loc: zone})
			require.Equal(t, r.want, got.Verdict)
			if r.code != "" {
				require.True(t, contains(append(got.Stops, got.Reasons...), r.code))
			}
			require.Equal(t, r.want == coldseam.Stop, got.Next[0].Verdict == coldseam.Stop)
			require.Equal(t, r.want == coldseam.Go || r.code == "craft_high_water", got.Next[0].Verdict == coldseam.Go)
			require.Empty(t, b.Windows[0].Stops, "the stored brief is not touched")
		})
	}
}

// Whatever the craft, the ceiling of a boat stops it.
func TestCeilingStopsEveryCraft(t *testing.T) {
	t.Parallel()
	in := good(.8)
	in.Reach.MaxFlowM3S = ptr(60.0)
	in.Reach.CraftLimits = []coldseam.CraftLimit{{Craft: coldseam.CraftWade, MaxFlowM3S: 500}}
	b := briefOf(in)
	for _, c := range append([]coldseam.Craft{""}, coldseam.Crafts...) {
		require.Equal(t, coldseam.Stop, Personal(b, coldseam.Preferences{Craft: c}, PersonalOptions{Loc: zone}).Verdict,
			c)
	}
}

// The stops look six hours past the window, and no further.
func TestStopsLookAheadOfTheWindow(t *testing.T) {
	t.Parallel()
	for _, r := range []struct {
		after       time.Duration
		want, watch coldseam.Verdict
	}{{5 * time.Hour, coldseam.Stop, coldseam.TossUp}, {7 * time.Hour, coldseam.Go, coldseam.Go}} {
		in := good(.8)
		end := in.Candidates[0].End
		in.Alerts.List = []coldseam.Alert{alert("Flood Warning", end.Add(r.after), end.Add(r.after+3*time.Hour))}
		require.Equal(t, r.want, Decide(in).Verdict, r.after)

		in.Alerts.List[0].Event = "Flood Watch"
		require.Equal(t, r.watch, Decide(in).Verdict, r.after)
	}
	in := good(.8)
	eachCandidate(&in, func(c *Candidate) { c.AfterM3S = mixed(68, 200, .5) })
	require.Equal(t, coldseam.Stop, Decide(in).Verdict)
}
