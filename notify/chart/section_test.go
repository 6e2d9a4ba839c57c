package chart

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// drawnLine are the points of the line, from the jig to the surface, px.
func drawnLine(t require.TestingT, svg string) (out [][2]float64) {
	_, d, _ := strings.Cut(svg, `<path class="obs" d="`)
	d, _, _ = strings.Cut(d, `"`)
	for _, p := range regexp.MustCompile(`[ML]([-\d.]+),([-\d.]+)`).FindAllStringSubmatch(d, -1) {
		x, err := strconv.ParseFloat(p[1], 64)
		require.NoError(t, err)
		y, err := strconv.ParseFloat(p[2], 64)
		require.NoError(t, err)
		out = append(out, [2]float64{x, y})
	}
	return out
}

// The drawing keeps what it says: the line's angle at the surface and its bow, on
// one scale, within its own width, at any depth; with numbers in words beside it.
func TestSectionIsToScale(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		j := coldseam.SpotJig{
			Spot:   "seam <&>",
			DepthM: rapid.Float64Range(.5, 15).Draw(t, "depth"),
			TieOz:  rapid.SampledFrom(coldseam.TradeSizesOz[:]).Draw(t, "size"),
			BowPct: rapid.Float64Range(0, 3).Draw(t, "bow"),
		}
		j.AngleDeg = rapid.Float64Range(15, 65).Draw(t, "angle") * float64(rapid.SampledFrom([]int{-1, 1}).Draw(t, "side"))
		us := rapid.Float64Range(.1, 3).Draw(t, "surface")
		j.ColumnMS = []float64{us, .96 * us, .92 * us, .86 * us, .76 * us}
		svg := string(SectionSVG(j, "us"))
		line := drawnLine(t, svg)
		require.Len(t, line, 13)

		jig, top := line[0], line[12]
		require.InDelta(t, sectionTop, top[1], .1)
		require.LessOrEqual(t, jig[1]-top[1], sectionDeep+.1)
		for _, p := range line {
			require.Greater(t, p[0], sectionLeft)
			require.Less(t, p[0], sectionLeft+sectionReach+30)
		}
		// At the surface the last piece of a curve of twelve stands half a piece below it.
		c := math.Cos(j.AngleDeg * math.Pi / 180)
		turn := 8 * j.BowPct / 100 / (c * c) / 24
		deep, across := line[11][1]-top[1], (jig[0]-top[0])/math.Abs(jig[0]-top[0])*(line[11][0]-top[0])
		require.InDelta(t, math.Tan(math.Abs(j.AngleDeg)*math.Pi/180)-turn, across/deep, .2/deep+.01)
		require.Equal(t, j.AngleDeg > 0, jig[0] > top[0], "downstream is right")

		for _, want := range []string{"ft of water", "off vertical", "ft/s at the surface", "near the bed", coldseam.OzName(j.TieOz) + " oz"} {
			require.Contains(t, svg, want)
		}
		require.NotContains(t, svg, "NaN")
		require.NotContains(t, svg, "<&>")
	})
}

// Without a depth, a weight or a number there is no drawing; a brief of an older
// program has no current to draw.
func TestSectionHoldsBack(t *testing.T) {
	t.Parallel()
	whole := coldseam.SpotJig{DepthM: 5, TieOz: .25, AngleDeg: 30, BowPct: 4}
	require.NotContains(t, SectionSVG(whole, "metric"), "m/s")
	for _, spoil := range []func(*coldseam.SpotJig){
		func(j *coldseam.SpotJig) { j.DepthM = 0 },
		func(j *coldseam.SpotJig) { j.TieOz = 0 },
		func(j *coldseam.SpotJig) { j.AngleDeg = math.NaN() },
		func(j *coldseam.SpotJig) { j.AngleDeg = 88 },
		func(j *coldseam.SpotJig) { j.BowPct = math.Inf(1) },
		func(j *coldseam.SpotJig) { j.DepthM = math.NaN() },
	} {
		j := whole
		spoil(&j)
		require.Empty(t, SectionSVG(j, "us"))
	}
	whole.ColumnMS = []float64{math.NaN(), 0, math.Inf(1)}
	require.NotContains(t, SectionSVG(whole, "us"), "NaN")
}
