package jig

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// What anglers commonly tie on [common practice, no source]. The presentation
// constants were chosen and then seen to agree with these facts: this is
// calibration, not validation.

// spotOf is a sounded and timed spot of ft and fps, uncalibrated, with a 10 %
// flow forecast.
func spotOf(t testing.TB, kind coldseam.SpotKind, ft, fps float64, body, pres string) SpotInput {
	in := seam(t)
	in.Spot.Kind = kind
	in.Spot.DepthRefM, in.Spot.FloatMS = ptr(ft*coldseam.MetrePerFoot), ptr(fps*coldseam.MetrePerFoot)
	in.Rig = rig(t, body, braid, pres)
	return in
}

func TestTradeAnEighthInSlackWater(t *testing.T) {
	t.Parallel()
	for _, ft := range []float64{3, 4, 5, 6, 7, 8} {
		for _, fps := range []float64{.2, .5, .8, 1.2} {
			for _, pres := range []string{"quartering", "anchored"} {
				j := Advise(spotOf(t, coldseam.SpotSlack, ft, fps, "slim", pres))
				require.Empty(t, j.Withheld.Code)
				require.Equal(t, 1./8, j.TieOz, "%v ft %v ft/s %s", ft, fps, pres)
			}
		}
	}
}

func TestTradeAQuarterStartsTheMainChannel(t *testing.T) {
	t.Parallel()
	for _, x := range [][2]float64{{8, 2.5}, {12, 1.9}, {12, 2.1}, {15, 1.6}, {15, 1.8}, {20, 1.5}} {
		j := Advise(spotOf(t, coldseam.SpotMain, x[0], x[1], "slim", "quartering"))
		require.Equal(t, 1./4, j.TieOz, "%v ft %v ft/s", x[0], x[1])
	}
}

func TestTradeABulkyBodyNeedsOneSizeMore(t *testing.T) {
	t.Parallel()
	index := func(oz float64) int {
		for i, s := range coldseam.TradeSizesOz {
			if s == oz {
				return i
			}
		}
		return -1
	}
	var same, one, cells int
	slim, bulky := rig(t, "slim", braid, "quartering"), rig(t, "bulky", braid, "quartering")

	for _, ft := range []float64{6, 8, 10, 12, 15, 18, 20, 25} {
		for _, fps := range []float64{1, 1.25, 1.5, 1.75, 2, 2.25, 2.5, 2.75, 3} {
			a, okA := Lightest(slim, at(ft, fps, 3))
			b, okB := Lightest(bulky, at(ft, fps, 3))
			sa, inA := SizeFor(a)
			sb, inB := SizeFor(b)
			if !okA || !okB || !inA || !inB {
				continue
			}
			cells++

			switch index(sb) - index(sa) {
			case 0:
				same++
			case 1:
				one++
			default: // the steps above 1/2 oz are small: two of them at 25 ft
				require.Greater(t, ft, 20.0, "%v ft/s: %v slim, %v bulky", fps, sa, sb)
				require.Equal(t, 2, index(sb)-index(sa))
			}
		}
	}

	t.Logf("%d cells: %d the same, %d one more", cells, same, one)
	require.Greater(t, one, same)
	require.GreaterOrEqual(t, same+one, cells-2)
}

func TestTradeBucktail(t *testing.T) {
	t.Parallel()
	j := Advise(spotOf(t, coldseam.SpotHole, 12, 1.9, "bucktail", "quartering"))
	require.Equal(t, 1./4, j.TieOz)
	j = Advise(spotOf(t, coldseam.SpotHole, 12, 2.4, "bucktail", "quartering"))
	require.Equal(t, 3./8, j.TieOz)
}

func TestTradeNylonCostsSizeAndBow(t *testing.T) {
	t.Parallel()
	in := spotOf(t, coldseam.SpotMain, 12, 1.9, "slim", "quartering")
	thin := Advise(in)
	in.Rig = rig(t, "slim", nylon, "quartering")
	thick := Advise(in)
	require.Greater(t, thick.TieOz, thin.TieOz)
	in.Limits.FloorOz = thick.TieOz // the same jig on both lines
	in.Rig = rig(t, "slim", braid, "quartering")
	same := Advise(in)
	require.Equal(t, thick.TieOz, same.TieOz)
	require.Greater(t, thick.SlackM, 2*same.SlackM)
	require.Equal(t, "nylon", thick.LineLies.Names["line"])
	require.Equal(t, "nylon-0.28", thin.Costs[0].Names["gear"])
	require.Equal(t, map[string]float64{"size_oz": .375}, thin.Costs[0].Values)
}
