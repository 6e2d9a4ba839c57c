package coldseam_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// The lower of the agency's and the admin's limits counts, of the reach's own
// gauge alone; nothing is made higher, and no flow limit comes out of nowhere.
func TestWithFloodLevels(t *testing.T) {
	t.Parallel()
	at := func(v float64) *float64 { return &v }
	level := func(kind string, p coldseam.Parameter, v float64) coldseam.FloodLevel {
		return coldseam.FloodLevel{Kind: kind, Param: p, Value: v, Gauge: "0100"}
	}
	levels := []coldseam.FloodLevel{level(coldseam.FloodMinor, coldseam.Stage, 3), level(coldseam.FloodAction, coldseam.Stage, 2),
		level(coldseam.FloodMinor, coldseam.Discharge, 80)}

	high := coldseam.Reach{Site: "us:G-0100", FloodStageM: at(4), MaxFlowM3S: at(100)}.WithFloodLevels(levels)
	require.Equal(t, []float64{3, 2, 80}, []float64{*high.FloodStageM, *high.ActionStage, *high.MaxFlowM3S})
	low := coldseam.Reach{Site: "us:G-0100", FloodStageM: at(1), ActionStage: at(.5)}.WithFloodLevels(levels)
	require.Equal(t, []float64{1, .5}, []float64{*low.FloodStageM, *low.ActionStage})
	require.Nil(t, low.MaxFlowM3S)
	other := coldseam.Reach{Site: "us:G-0200"}.WithFloodLevels(levels)
	require.Nil(t, other.FloodStageM)
}
