package jig

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

func TestParseRigNamesWhatItWants(t *testing.T) {
	t.Parallel()
	rows := []struct{ body, line, metal, pres, want string }{
		{"worm", "", "", "", `body "worm": want one of slim, flutter, paddle, bulky, bucktail`},
		{"", "rope", "", "", `line "rope": want braid-<mm> or nylon-<mm>, such as braid-0.14`},
		{"", "braid-", "", "", `line "braid-"`},
		{"", "wire-0.2", "", "", `line "wire-0.2"`},
		{"", "braid-NaN", "", "", "want 0.05-0.60 mm"},
		{"", "nylon-4", "", "", "diameter 4 mm, want 0.05-0.60 mm"},
		{"", "braid--0.14", "", "", "want 0.05-0.60 mm"},
		{"", "", "gold", "", `jig metal "gold": want lead or tungsten`},
		{"", "", "", "trolling", `presentation "trolling": want one of quartering, anchored, vertical, drift, wading`},
	}
	for _, r := range rows {
		_, err := ParseRig(r.body, r.line, r.metal, r.pres)
		require.ErrorIs(t, err, coldseam.ErrInvalid)
		require.ErrorContains(t, err, r.want)
	}

	r, err := ParseRig("", "", "", "")
	require.NoError(t, err)
	require.Equal(t, [4]string{"slim", "braid-0.14", "lead", "quartering"},
		[4]string{r.Body.Name, r.Line.Name, r.Metal.Name, r.Pres.Name})
	n, err := ParseRig("bulky", "nylon-0.28", "tungsten", "drift")
	require.NoError(t, err)
	require.True(t, n.Line.Nylon)
	require.InDelta(t, .28e-3, n.Line.DiameterM, 1e-12)
	require.Greater(t, n.Metal.RhoKGM3, r.Metal.RhoKGM3)
}

func FuzzParseLine(f *testing.F) {
	for _, s := range []string{"braid-0.14", "nylon-0.28", "", "braid-1e309", "nylon-0x1p-3", "braid-0.1\x00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		l, err := ParseLine(s)
		if err != nil {
			require.ErrorIs(t, err, coldseam.ErrInvalid)
			return
		}
		require.True(t, l.DiameterM >= minLineMM/1000 && l.DiameterM <= maxLineMM/1000)
		require.True(t, s == "" || strings.HasPrefix(s, "braid-") || strings.HasPrefix(s, "nylon-"))
	})
}

func TestAZeroRigGetsNoWeight(t *testing.T) {
	t.Parallel()
	in := seam(t)
	in.Rig = Rig{}
	require.Equal(t, "numeric", Advise(in).Withheld.Code)
	_, ok := Lightest(Rig{}, at(12, 2, 3))
	require.False(t, ok)
}

// Without gaugings one float timing carries the speed, within a factor of 2.
func TestOneFloatTimingIsEnough(t *testing.T) {
	t.Parallel()
	in := seam(t)
	in.Geometry = Geometry{}
	j := Advise(in)
	require.Empty(t, j.Withheld.Code)
	require.InDelta(t, 1.9, coldseam.Feet(j.SurfaceMS), .05)
	require.Greater(t, j.ModelLnSD, .45, "the change of speed with flow is a textbook's")
	in.FlowMembers = flowsAround(95, .1)
	require.Equal(t, "out_of_range", Advise(in).Withheld.Code)
}

func TestClassesHaveKinds(t *testing.T) {
	t.Parallel()
	for class, kind := range coldseam.KindOfClass {
		require.Equal(t, 1, placeRank(coldseam.Spot{Kind: kind}, []string{"elsewhere", class}))
	}
	require.Equal(t, 2, placeRank(coldseam.Spot{Kind: "seam"}, []string{"", "nowhere"}))
}

// Where the minimum mass falls with the flow over a stretch, the lowest
// crossing is the one that counts, and it is said.
func TestTheLowestCrossingCounts(t *testing.T) {
	t.Parallel()
	in := seam(t)
	in.Spot.StageGain = -4 // a pool that fills from below: shallower as the gauge rises
	in.Curve = StageCurve{[]float64{3, 40, 160}, []float64{1.4, 2, 2.5}}
	j := Advise(in)
	require.Contains(t, codes(j), "not_monotone")
	s, _ := in.site()

	for _, f := range j.CriticalM3S {
		if f.M3S == 0 || f.Beyond {
			continue
		}

		for _, below := range []float64{.5, .7, .9, .98} {
			q := f.M3S * below
			if q < in.Geometry.QMin*outsideLow {
				continue
			}
			st, _ := s.at(q).Clamp()
			kg, ok := Lightest(in.Rig, st)
			require.True(t, ok && kg <= f.Oz*coldseam.KgPerOunce*1.001, "%v oz holds below %v", f.Oz, f.M3S)
		}
	}
}

func TestWidthIsFittedToo(t *testing.T) {
	t.Parallel()
	g, err := Fit(river(40, 2, 60, 1))
	require.NoError(t, err)
	require.InEpsilon(t, 20*math.Pow(10, .2), g.WidthM(10), .02)
}

// WidthM is the width at the gauge section at q m3/s.
func (g Geometry) WidthM(q float64) float64 { return g.A * math.Pow(q, g.B) }
