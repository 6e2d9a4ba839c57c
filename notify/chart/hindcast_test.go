package chart

import (
	"bytes"
	"image/png"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify/brieftest"
)

type drawer interface{ PNG() ([]byte, error) }

func TestPictures(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	var fan [][5]float64
	for _, f := range b.Chart.FlowFan {
		for k := range f {
			f[k] = coldseam.CFS(f[k])
		}
		fan = append(fan, f)
	}

	var before []coldseam.Point
	for _, o := range b.Chart.FlowObs {
		before = append(before, coldseam.Point{At: o.At, V: coldseam.CFS(o.V)})
	}
	var after []coldseam.Point
	for i, v := range b.Chart.Valid {
		after = append(after, coldseam.Point{At: v,
			V: coldseam.CFS(b.Chart.FlowFan[i][2]) * (1 + .02*math.Sin(float64(i)/4))})
	}

	for _, c := range []struct {
		name string
		d    drawer
	}{
		{"reliability", Reliability{"Crossed 40 °F and stays, within 7 days",
			[]ReliabilityBin{{.03, .02, 210}, {.22, .18, 41}, {.38, .41, 33}, {.6, .63, 28}, {.81, .75, 8},
				{.97, 1, 61}}}},
		{"pit", PIT{"Water temperature, lead 3 days", []int{61, 72, 80, 75, 70, 66, 79, 81, 74, 58}}},
		{"skill", Skill{"CRPS skill, water temperature", []int{1, 3, 5, 7, 10}, []SkillSeries{
			{"against persistence", []float64{.31, .45, .5, .52, .55}, []float64{.25, .4, .44, .45, .47},
				[]float64{.37, .5, .56, .59, .63}},
			{"against dressed persistence", []float64{.12, .2, .18, .11, math.NaN()},
				[]float64{.06, .15, .12, .02, -.05}, []float64{.18, .25, .24, .2, .17}}}}},
		{"sample", SampleFan{
			Title:  "Flow issued 10 April 2027",
			Unit:   "cfs",
			Zone:   brieftest.Zone,
			Before: before,
			Valid:  b.Chart.Valid,
			Fan:    fan,
			After:  after,
		}},
		{"rig", Rig{
			Title:    "Tamsen, main seam: flutter, braid 0.14 mm, quartering",
			Critical: b.Jig[0].CriticalM3S,
			Members:  members(66, 4),
			NowM3S:   68.2,
			Note:     "Each line is the lightest size that holds bottom; 1/4 oz to 2,790 cfs.",
		}},
		{"rig-metric", Rig{Title: "Main seam", Units: "metric", Critical: b.Jig[0].CriticalM3S}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			got, err := c.d.PNG()
			require.NoError(t, err)
			keep(t, c.name+".png", got)
			img, err := png.Decode(bytes.NewReader(got))
			require.NoError(t, err)
			require.GreaterOrEqual(t, img.Bounds().Dx(), 900)

			seen := map[[3]uint32]bool{}
			for x := 0; x < img.Bounds().Dx(); x += 7 {
				for y := 0; y < img.Bounds().Dy(); y += 7 {
					r, g, b, _ := img.At(x, y).RGBA()
					seen[[3]uint32{r, g, b}] = true
				}
			}
			require.Greater(t, len(seen), 10, "the picture is not empty")
		})
	}
}

func members(mean, sd float64) []float64 {
	out := make([]float64, 100)
	for i := range out {
		out[i] = mean + sd*math.Sin(float64(i))*1.6
	}
	return out
}

func TestPicturesRefuse(t *testing.T) {
	t.Parallel()
	now := []time.Time{brieftest.Issued}

	for _, c := range []struct {
		name string
		d    drawer
		want error
	}{
		{"no odds", Reliability{Title: "x"}, coldseam.ErrNotFound},
		{"empty bins", Reliability{"x", []ReliabilityBin{{.5, .5, 0}, {math.NaN(), 1, 4}}}, coldseam.ErrNotFound},
		{"no cases", PIT{"x", []int{0, 0}}, coldseam.ErrNotFound},
		{"no leads", Skill{Title: "x"}, coldseam.ErrNotFound},
		{"short series", Skill{"x", []int{1, 3}, []SkillSeries{{Name: "a", Skill: []float64{1}}}}, coldseam.ErrInvalid},
		{"short interval", Skill{"x", []int{1}, []SkillSeries{{"a", []float64{1}, []float64{0}, nil}}},
			coldseam.ErrInvalid},
		{"times do not fit", SampleFan{Title: "x", Valid: now}, coldseam.ErrInvalid},
		{"zone", SampleFan{Title: "x", Zone: "No/Where", Valid: now, Fan: make([][5]float64, 1)}, coldseam.ErrInvalid},
		{"no critical flow", Rig{Title: "x"}, coldseam.ErrInvalid},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, err := c.d.PNG()
			require.ErrorIs(t, err, c.want)
		})
	}
}

func TestStairs(t *testing.T) {
	t.Parallel()
	// 3/16 lets go before 1/8 does: it is never the lightest that holds.
	crit := []coldseam.SizeFlow{{Oz: .25, M3S: 80}, {Oz: .125, M3S: 60}, {Oz: .1875, M3S: 50},
		{Oz: .375, M3S: math.Inf(1)}}
	require.Equal(t, []rigStep{{.125, 0, 60, false}, {.25, 60, 80, false}}, stairs(crit))
	require.InDeltaSlice(t, []float64{.4, .4}, Rig{Members: []float64{10, 60, 61, 80, 90}}.shares(stairs(crit)), 1e-12)
	require.Equal(t, []float64{0, 0}, Rig{}.shares(stairs(crit)))
}
