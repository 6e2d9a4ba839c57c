package jig

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// The table names the sizes of the solver, for any current and rig.
func TestTableIsTheSolver(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(21, 1))
	in := TableInput{WaterC: 3.4, WaterOK: true, Spots: []TableSpot{{"a", "slack", .8}, {"b", "seam", 3.62},
		{"c", "hole", 6.1}, {"d", "deep", 9.3}, {"e", "no water", .2}}}
	tab := NewTable(in)
	require.Len(t, tab.Spots, 4)
	bytes := 0
	for _, r := range tab.Rows {
		bytes += len(r)
	}
	require.LessOrEqual(t, bytes, 15_000)

	withheld := 0
	for range 1500 {
		spot, way, body, line := rng.IntN(4), rng.IntN(3), rng.IntN(5), rng.IntN(4)
		us, flow := .05+rng.Float64()*1.6, 1.
		row := tab.Rows[((spot*3+way)*5+body)*4+line]
		j := Advise(SpotInput{Here: true, FlowM3S: flow, WaterC: in.WaterC, WaterOK: true,
			Rig: rig(t, tab.Bodies[body], tab.Lines[line], tab.Ways[way]),
			Spot: coldseam.Spot{DepthRefM: &tab.Spots[spot].DepthM, FlowRef: &flow, FloatMS: &us, FloatFlow: &flow,
				Kind: coldseam.SpotMain}})
		first := func(from int) int {
			for i := range tab.Oz {
				n := 0
				for _, c := range row[(from+i)*tableDigits : (from+i+1)*tableDigits] {
					if c > '\\' {
						c--
					}
					n = n*tableBase + int(c-tableFirst)
				}
				if us <= float64(n)*tableUnitMS {
					return i
				}
			}
			return -1
		}

		tie, pack := first(0), first(len(tab.Oz))
		if tie < 0 {
			withheld++
			require.Zero(t, j.TieOz, "%s %s %s, %.4f m/s", tab.Bodies[body], tab.Lines[line], tab.Ways[way], us)
			continue
		}
		if pack < 0 {
			pack = len(tab.Oz) - 1
		}
		require.Equal(t, [2]float64{tab.Oz[tie], tab.Oz[max(tie, pack)]}, [2]float64{j.TieOz, j.PackOz},
			"%s %s %s at %s, %.5f m/s: %v", tab.Bodies[body], tab.Lines[line], tab.Ways[way], tab.Spots[spot].Name, us,
			j.Withheld)
	}
	require.Greater(t, withheld, 100)
	require.Less(t, withheld, 1100)
}

func BenchmarkNewTable(b *testing.B) {
	for b.Loop() {
		NewTable(TableInput{Spots: []TableSpot{{"a", "a", 2}, {"b", "b", 4}, {"c", "c", 6}, {"d", "d", 7}}})
	}
}
