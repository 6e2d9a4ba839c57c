package verdict

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

func TestWindowsLieInDaylight(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		day := coldseam.Date{Year: 2026, Month: 1, Day: 1}.Add(rapid.IntRange(0, 364).Draw(t, "day"))
		sun := SunOf(day, rapid.Float64Range(30, 62).Draw(t, "lat"), -92, zone)
		now := day.In(zone).Add(hours(rapid.Float64Range(0, 24).Draw(t, "now")))
		for _, w := range Windows(sun, now) {
			require.False(t, w.Start.Before(sun.Rise.Add(-time.Second)))
			require.False(t, w.End.After(sun.Set))
			require.False(t, w.Start.Before(now.Add(-30*time.Minute)))
			require.GreaterOrEqual(t, w.End.Sub(w.Start), 3*time.Hour)
			require.LessOrEqual(t, w.End.Sub(w.Start), 4*time.Hour)
		}
	})

	sun := SunOf(coldseam.Date{Year: 2026, Month: 3, Day: 20}, 44.5, -92, zone)
	w := Windows(sun, at(4, 50))
	require.GreaterOrEqual(t, len(w), 5)
	require.InDelta(t, 0, w[0].Start.Sub(sun.Rise).Minutes(), 5)
	require.InDelta(t, 0, sun.Set.Sub(w[len(w)-1].End).Minutes(), 5)
	require.Empty(t, Windows(sun, at(18, 0)))
	require.Empty(t, Windows(Sun{}, at(4, 0)))
}

func TestWaitingPaysInColdWater(t *testing.T) {
	t.Parallel()
	for _, r := range []struct {
		water []float64
		want  int
		why   string
	}{
		{[]float64{1.8, 2.2, 2.6, 2.4}, 2, "the warmest"},
		{[]float64{6, 8}, -1, "above 42 F the hour is not decided by warmth"},
		{[]float64{2.4, 2.5}, -1, "a tenth of a degree is not worth the wait"},
		{[]float64{2.6, 2.2}, -1, "the first window is not waited for"},
		{[]float64{math.NaN(), 2}, -1, "not known"},
		{nil, -1, "no window"},
	} {
		require.Equal(t, r.want, WarmestWindow(r.water), r.why)
	}
}

func TestTableLoosensOnlyWithAReason(t *testing.T) {
	t.Parallel()
	tab := DefaultTable()
	require.NoError(t, tab.Set("wind_mph", 20, ""))
	require.InDelta(t, 20, tab.WindMPH, 0)
	err := tab.Set("wind_mph", 30, " ")
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "30 is looser than 25: give a written reason")
	before := tab

	require.NoError(t, tab.Set("wind_mph", 30, "sheltered gorge, committee 2026-02-11"))
	require.Equal(t, "sheltered gorge, committee 2026-02-11", tab.Reasons["wind_mph"])
	require.Empty(t, before.Reasons)
	require.ErrorContains(t, tab.Set("wind", 3, ""), "want one of flood_share")
	require.ErrorContains(t, tab.Set("thunder", math.NaN(), ""), "want 0.02 to 0.9")
	require.ErrorContains(t, tab.Set("chill_f", -10, ""), "looser", "for wind chill lower is looser")
	require.NoError(t, tab.Set("chill_f", 10, ""))
	require.InDelta(t, .30, tab.Value("thunder"), 0)
	require.True(t, math.IsNaN(tab.Value("nothing")))

	keys := map[string]bool{}
	for _, r := range Thresholds() {
		require.False(t, keys[r.Key], r.Key)
		keys[r.Key] = true
		require.True(t, r.Default >= r.Min && r.Default <= r.Max, r.Key)
		require.Contains(t, r.Source, "[", "%s has no source mark", r.Key)
		d := DefaultTable()
		require.InDelta(t, r.Default, d.Value(r.Key), 0)
	}
}

func TestPersonal(t *testing.T) {
	t.Parallel()
	in := good(.55)
	in.Candidates = []Candidate{candidate(at(6, 10), at(9, 40), .55), candidate(at(13, 0), at(16, 30), .44)}
	d := Decide(in)
	require.Equal(t, coldseam.Go, d.Verdict)
	b := coldseam.Brief{
		Day:     in.Day,
		Verdict: d.Verdict,
		Odds:    d.Odds,
		OddsOK:  true,
		Cost:    d.Cost,
		Windows: d.Windows,
		WindowI: d.WindowI,
		Reasons: d.Reasons,
		Jig: []coldseam.SpotJig{{Spot: "main seam", TieOz: .25, PackOz: .375,
			Holds: []coldseam.SizeOdds{{Oz: .125, Holds: .2}, {Oz: .25, Holds: .6}, {Oz: .375, Holds: .95}}}},
	}
	o := PersonalOptions{Loc: zone}
	same := Personal(b, coldseam.Preferences{}, o)
	require.Equal(t, coldseam.Go, same.Verdict)
	require.Equal(t, 0, same.WindowI)

	strict := Personal(b, coldseam.Preferences{Cost: .6}, o)
	require.Equal(t, coldseam.TossUp, strict.Verdict, "own threshold")
	require.InDelta(t, .55, strict.Odds, 1e-9)
	why := strict.Reasons[len(strict.Reasons)-1]
	require.InDelta(t, .55, why.Values["good_odds"], 1e-9)
	require.InDelta(t, .65, why.Values["go_odds"], 1e-9, "printed as 7 in 10")
	afternoon := Personal(b, coldseam.Preferences{WindowFrom: "12:00", WindowTo: "17:00"}, o)
	require.Equal(t, 1, afternoon.WindowI)
	require.Equal(t, coldseam.TossUp, afternoon.Verdict)

	short := Personal(b, coldseam.Preferences{WindowFrom: "07:00", WindowTo: "09:00"}, o)
	require.True(t, short.Windows[0].Start.Equal(at(7, 0)) && short.Windows[0].End.Equal(at(9, 0)),
		"cut to the member's hours")
	require.True(t, b.Windows[0].Start.Equal(at(6, 10)), "the brief is not touched")
	night := Personal(b, coldseam.Preferences{WindowFrom: "20:00", WindowTo: "23:00"}, o)
	require.Equal(t, coldseam.NoCall, night.Verdict)
	require.Equal(t, map[string]string{"hours": "20:00-23:00"}, night.Reasons[0].Names)
	for from, want := range map[string]coldseam.Verdict{"07:02": coldseam.Go, "07:04": coldseam.NoCall} {
		own := Personal(b, coldseam.Preferences{WindowFrom: from, WindowTo: "11:00"}, o)
		require.Equal(t, want, own.Verdict, "three quarters of a window are judged, less are none: %s", from)
	}

	light := Personal(b, coldseam.Preferences{BoxOz: []float64{.125}}, o)
	require.Equal(t, coldseam.TossUp, light.Verdict)
	require.Equal(t, "none_holds", light.Jig[0].Withheld.Code)
	require.InDelta(t, .125, light.Jig[0].Withheld.Values["heaviest_oz"], 0)
	require.Contains(t, codes(light.Reasons, KindCap), "hold_low_box")
	box := Personal(b, coldseam.Preferences{BoxOz: []float64{.25}}, o)
	require.Equal(t, coldseam.Go, box.Verdict)
	require.InDelta(t, .25, box.Jig[0].PackOz, 0)
	require.InDelta(t, .375, b.Jig[0].PackOz, 0, "the brief is not touched")
}

// A member's rig that was not weighed has no weight; the club's never stands in.
func TestAnUnweighedRigTakesNobodysWeight(t *testing.T) {
	t.Parallel()
	club := []coldseam.SpotJig{{SpotID: "seam", Spot: "main seam", DepthM: 5, TieOz: .25, PackOz: .375, NextOz: .375,
		Holds: []coldseam.SizeOdds{{Oz: .25, Holds: .9}}, CriticalM3S: []coldseam.SizeFlow{{Oz: .25, M3S: 80}}}}
	b := coldseam.Brief{Verdict: coldseam.Go, Odds: .7, OddsOK: true, Cost: .3, Jig: club,
		Windows: []coldseam.Window{{Start: at(6, 0), End: at(9, 0), Odds: .7, OddsOK: true}}}
	for _, p := range []coldseam.Preferences{{Body: "bulky"}, {Line: "nylon-0.26"}, {Metal: "tungsten"}, {Presentation: "vertical"}} {
		require.True(t, OwnRig(p))
		got := Personal(b, p, PersonalOptions{Loc: zone, Weights: func(int) []coldseam.SpotJig { return WithholdWeights(club) }})
		require.Len(t, got.Jig, 1)
		require.Equal(t, "own_rig_unweighed", got.Jig[0].Withheld.Code)
		require.Zero(t, got.Jig[0].TieOz+got.Jig[0].PackOz+got.Jig[0].NextOz)
		require.Empty(t, got.Jig[0].Holds)
		require.Empty(t, got.Jig[0].CriticalM3S)
	}
	require.False(t, OwnRig(coldseam.Preferences{Units: "metric", Craft: "canoe"}))
}
