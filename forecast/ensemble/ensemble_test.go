package ensemble

import (
	"math"
	"slices"
	"testing"

	"example.org/coldseam"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestNearestEqualsSorting(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.IntRange(0, 40), 1, 300).Draw(t, "x")
		k := rapid.IntRange(1, 320).Draw(t, "k")
		c := make([]Candidate, len(x))
		for i, v := range x {
			c[i] = Candidate{float64(v), int32(i)}
		}
		want := slices.Clone(c)
		slices.SortFunc(want, func(a, b Candidate) int {
			if less(a, b) {
				return -1
			}
			return 1
		})
		require.Equal(t, want[:min(k, len(want))], Nearest(c, k))
	})
}

func TestHarmonicRecoversItself(t *testing.T) {
	t.Parallel()
	first := coldseam.Date{Year: 2001, Month: 1, Day: 1}
	c := NewCalendar(first, 3*365)
	want := Harmonic{C: [7]float64{8, -7, -2, 1, .5, -.3, .2}}
	x := want.Over(c)
	for i := range x {
		if i%7 == 0 {
			x[i] = math.NaN()
		}
	}
	got := FitHarmonic(c, x)
	for i := range x {
		require.InDelta(t, want.At(c, i), got.At(c, i), .05) // the ridge costs a little
	}
}

func TestNormalSolvesLeastSquares(t *testing.T) {
	t.Parallel()
	n := NewNormal(3)
	for i := range 40 {
		x := float64(i) / 10
		n.Add([]float64{1, x, x * x}, 2-3*x+.5*x*x, 1)
	}
	c, ok := n.Solve(make([]float64, 3))
	require.True(t, ok)
	require.InDeltaSlice(t, []float64{2, -3, .5}, c, 1e-8)
	_, ok = NewNormal(2).Solve(make([]float64, 2))
	require.False(t, ok)
}

func TestBridgeFillsShortGapsOnly(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	got := Bridge([]float64{nan, 1, nan, 3, nan, nan, nan, 7}, 2)
	require.True(t, math.IsNaN(got[0]))
	require.Equal(t, 2., got[2])
	require.True(t, math.IsNaN(got[5]))
}

func TestPoolAroundNewYear(t *testing.T) {
	t.Parallel()
	c := NewCalendar(coldseam.Date{Year: 2019, Month: 1, Day: 1}, 3*365)
	p := NewPool(c, 3*365, func(int) bool { return true })
	for _, i := range p.Within(nil, 3, 20) {
		require.LessOrEqual(t, DoyGap(c.Doy[i], 3), 20)
	}
	require.Len(t, p.Within(nil, 200, 20), 3*41)
}

func TestDrawWithoutReplacementWhileTheyLast(t *testing.T) {
	t.Parallel()
	r := Stream(1, coldseam.Date{Year: 2020, Month: 1, Day: 1}, 0)
	out := Draw(r, []int32{1, 2, 3}, 7)
	require.Len(t, out, 7)
	slices.Sort(out[:3])
	require.Equal(t, []int32{1, 2, 3}, out[:3])
	require.Empty(t, Draw(r, nil, 3))
}

func TestTrainingMasksYearsAndDates(t *testing.T) {
	t.Parallel()
	d := coldseam.Days{First: coldseam.Date{Year: 2019, Month: 12, Day: 30}, WaterC: []float64{1, 2, 3, 4}}
	got := Training{}.Without(2020).Mask(d).WaterC
	require.Equal(t, 2., got[1])
	require.True(t, math.IsNaN(got[2]))
	require.Equal(t, 3., d.WaterC[2]) // the record itself is untouched
	got = Training{Last: coldseam.Date{Year: 2019, Month: 12, Day: 30}}.Mask(d).WaterC
	require.Equal(t, 1., got[0])
	require.True(t, math.IsNaN(got[1]))
}
