package verdict

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestWhyNamesEverything(t *testing.T) {
	t.Parallel()
	in := good(.6)
	in.Reach.HazardsSurveyed = false
	require.NoError(t, in.Table.Set("wind_mph", 28, "sheltered gorge"))
	d := Decide(in)
	b := coldseam.Brief{River: "Tamsen", ReachName: "Bend reach", Day: in.Day, Verdict: d.Verdict, Inputs: d.Inputs, Reasons: d.Reasons, Stops: d.Stops,
		Cautions: d.Cautions, Windows: d.Windows, WindowI: d.WindowI}
	text := strings.Join(Why(b, in.Table, zone), "\n")
	for _, want := range []string{
		"Tamsen Bend reach, 2026-03-20: TOSS-UP",
		"discharge: good, 20 Mar 04:45, age 5 min, limit 6 h, safety",
		"alerts: good, 20 Mar 04:46, age 4 min, limit 1 h, safety, none",
		"season_rule: good", "limit 365 d", "open, checked 1 March",
		"cap hazards_unsurveyed: hazards not surveyed (club rule)",
		"07:00-10:30: odds 0.600, p10-p90 0.60-0.60, held at TOSS-UP by hazards_unsurveyed, the best window",
		"wind_mph = 28 mph: sustained wind [proposal]; default 25; reason: sheltered gorge",
	} {
		require.Contains(t, text, want)
	}
	for _, r := range Thresholds() {
		require.Contains(t, text, "  "+r.Key+" = ")
	}
	for _, i := range d.Inputs {
		require.Contains(t, text, "  "+i.Key+": ")
	}
}
