package notify

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// Rises and limits in the words of both unit systems.
func TestRiseAndLimitWords(t *testing.T) {
	t.Parallel()
	peak := time.Date(2026, 3, 20, 11, 10, 0, 0, time.UTC)
	flow := map[string]float64{"to_m3_s": 16, "rise_share": .6, "limit_share": .5}

	for _, r := range []struct {
		reason coldseam.Reason
		us, si string
	}{
		{coldseam.Reason{Code: "rise_day", Values: flow}, "flow rose 60% in 24 h; the limit is 50%", ""},
		{coldseam.Reason{Code: "rise_day_flashy", Values: flow},
			"flow rose 60% in 24 h; the limit on this flashy river is 50%", ""},
		{coldseam.Reason{Code: "rise_day_cap", Values: flow}, "flow rose 60% in 24 h, over 50%", ""},
		{coldseam.Reason{Code: "rise_day_stage", Values: map[string]float64{"rise_m": .9,
			"limit_m": 2 * coldseam.MetrePerFoot}},
			"rose 3 ft in 24 h; the limit is 2 ft", "rose 0.9 m in 24 h; the limit is 0.61 m"},
		{coldseam.Reason{Code: "rise_kept", At: peak, Values: map[string]float64{"peak_m3_s": 100, "until_m3_s": 50}},
			"rose to 3,530 cfs by Fri 11:10; stop kept until it is below 1,770 cfs",
			"rose to 100 m³/s by Fri 11:10; stop kept until it is below 50.0 m³/s"},
		{coldseam.Reason{Code: "craft_limit", Names: map[string]string{"craft": "tube"},
			Values: map[string]float64{"flow_m3_s": 100, "limit_m3_s": 50}},
			"3,530 cfs; the limit for a float tube or kayak is 1,770 cfs",
			"100 m³/s; the limit for a float tube or kayak is 50.0 m³/s"},
		{coldseam.Reason{Code: "craft_unconfirmed", Names: map[string]string{"craft": "wade"}},
			"no flow limit confirmed here for wading", ""},
		{coldseam.Reason{Code: "limit_unconfirmed", Values: map[string]float64{"limit_m3_s": 50}},
			"flow limit 1,770 cfs is a proposal, not confirmed yet",
			"flow limit 50.0 m³/s is a proposal, not confirmed yet"},
	} {
		if r.si == "" {
			r.si = r.us
		}
		for units, want := range map[string]string{"us": r.us, "metric": r.si} {
			got := strings.ReplaceAll(WordsFor(units, "UTC").Reason(r.reason), nbsp, " ")
			require.Equal(t, want, got, r.reason.Code)
			require.LessOrEqual(t, len([]rune(got)), 72)
		}
	}
}

func TestLimitLines(t *testing.T) {
	t.Parallel()
	w := WordsFor("us", "UTC")
	flow, stage := 70.8, 2.5
	plain := func(s string) string { return strings.ReplaceAll(s, nbsp, " ") }
	require.Equal(t, []string{"none"}, w.LimitInForce(coldseam.FlowLimits{}))
	lines := w.LimitInForce(coldseam.FlowLimits{MaxFlowM3S: flow, Why: "the ramp floods", Proposed: true,
		Crafts: []coldseam.CraftLimit{{Craft: coldseam.CraftWade, MaxFlowM3S: 20, Why: "knee deep at the bar"}}})
	require.Equal(t, []string{"2,500 cfs for a boat, proposed, not confirmed: the ramp floods",
		"706 cfs for wading: knee deep at the bar"},
		[]string{plain(lines[0]), plain(lines[1])})
	c := coldseam.FlowCandidate{
		Source:     coldseam.LimitAnnualFlood,
		FlowM3S:    70.8,
		Years:      30,
		StageM:     &stage,
		DepthM:     1.5,
		VelocityMS: 1.2,
		Springs:    []coldseam.SpringStops{{Year: 2024, Stopped: 3}, {Year: 2025}},
	}
	require.Equal(t, "the greatest day that two years in three reach, 30 years", w.LimitSource(c))
	require.Equal(t, "stage 8.2 ft; 4.9 ft deep; 3.9 ft/s; days stopped in spring 2024: 3, 2025: 0",
		plain(w.LimitMeans(c)))
}
