package web

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/brieftest"
)

func TestCriticalCells(t *testing.T) {
	t.Parallel()
	b := brieftest.Go() // 68.2 m3/s, 2,410 cfs
	j := coldseam.SpotJig{CriticalM3S: []coldseam.SizeFlow{{Oz: .125, M3S: 0}, {Oz: .1875, M3S: 50}, {Oz: .25, M3S: 80},
		{Oz: .375, M3S: 283, Beyond: true}, {Oz: .5, M3S: math.NaN()}}}
	us, si := notify.WordsFor("us", brieftest.Zone), notify.WordsFor("metric", brieftest.Zone)
	for _, c := range []struct {
		oz   float64
		w    notify.Words
		want critCell
	}{
		{.125, us, critCell{"none", true}}, {.1875, us, critCell{"1,770", true}}, {.25, us, critCell{"2,830", false}},
		{.25, si, critCell{"80.0", false}},
		{.375, us, critCell{"over 9,990", false}}, {.5, us, critCell{"·", false}}, {.625, us, critCell{"·", false}},
	} {
		require.Equal(t, c.want, critCellOf(j, c.oz, b, c.w), "%g oz", c.oz)
	}
}

func TestJigRows(t *testing.T) {
	t.Parallel()
	w := notify.WordsFor("metric", brieftest.Zone)
	j := brieftest.Go().Jig[0]
	r := jigRowOf(j, nil, w, true)
	require.Equal(t, "1/4\u00a0oz (7.1\u00a0g)", r.Tie)
	require.Equal(t, "9\u00a0in\u00a010", r.PackHolds)
	require.Equal(t, "5.5\u00a0m", r.Depth)
	r = jigRowOf(j, nil, w, false)
	require.Empty(t, r.TieHolds, "no odds beside a NO CALL")
	j.PackOz = 0
	require.Equal(t, "none holds", jigRowOf(j, nil, w, true).Pack)
	j.Withheld = coldseam.Reason{Code: "too_fast", Text: "too fast for any weight"}
	require.Contains(t, jigRowOf(j, nil, w, true).Withheld, "too fast")
	require.Empty(t, jigRowOf(j, nil, w, true).Tie, "a withheld weight is not shown")
	j = coldseam.SpotJig{Spot: "x", TieOz: math.NaN()}
	require.NotEmpty(t, jigRowOf(j, nil, w, true).Withheld)
}

func TestKeysInWords(t *testing.T) {
	t.Parallel()
	require.Equal(t, "deep bend holes, then shallow rock, then by the old mill",
		whereWords([]string{"bend_hole_deep", "rock_shallow", "by the old mill"}))
	for _, k := range []string{"bend_hole_deep", "hole_head", "hole_tail", "current_seam", "slack_pocket", "bank_eddy",
		"sand_dune_field", "rock_shallow", "wood_shallow", "tailwater_apron", "tributary_mouth"} {
		require.NotContains(t, notify.Key(k), "_", k)
	}
	require.Equal(t, "0.14 mm braid, about 8 lb", lineWords("braid-0.14"))
	require.Equal(t, "gut", lineWords("gut"))
	for _, o := range presentations() {
		require.NotEqual(t, "", o.Label)
	}
	require.Equal(t, "for itself", presentationWords("for itself"))
	require.Equal(t, "a; b", joined("a", "b"))
	require.Equal(t, "b", joined("", "b"))
	require.Equal(t, "later", dayShort(coldseam.Date{}))
	require.Equal(t, []string{"no", "none", "1-3", "4"}, []string{answerOf(coldseam.Trip{WentNot: true}),
		answerOf(coldseam.Trip{}), answerOf(coldseam.Trip{Fish: 3}), answerOf(coldseam.Trip{Fish: 4})})
	require.Equal(t, "one river is stopped", count(1, "river is stopped", "rivers are stopped"))
	require.Equal(t, "many rivers are stopped", count(40, "river is stopped", "rivers are stopped"))
}

func TestScoreWords(t *testing.T) {
	t.Parallel()
	bins := []ScoreBin{{From: 7, To: 7, Mornings: 20, Good: 13}, {From: 9, To: 10, Mornings: 4, Good: 4}}
	for _, c := range []struct {
		name string
		s    Scorecard
		want string
	}{
		{"said seven", Scorecard{Bins: bins, Mornings: 24}, "Of 20 mornings we said 7 in 10, 13 came true."},
		{"few", Scorecard{Bins: bins, Mornings: 24},
			"24 mornings are too few to say whether the odds beat the usual share of good mornings."},
		{"better", Scorecard{
			Bins:     bins,
			Mornings: 60,
			Brier:    .19,
			Climate:  .23,
			Gain:     [2]float64{.01, .07},
			GainOK:   true,
		}, "Better than always saying the usual share of good mornings: Brier score 0.19 against 0.23 on 60 mornings, the gain likely 0.01 to 0.07."},
		{"not shown", Scorecard{
			Bins:     bins,
			Mornings: 60,
			Brier:    .22,
			Climate:  .23,
			Gain:     [2]float64{-.02, .04},
			GainOK:   true,
		}, "Not shown to be better than always saying the usual share of good mornings: Brier score 0.22 against 0.23 on 60 mornings, the gain likely −0.02 to 0.04."},
		{"no interval", Scorecard{Bins: bins, Mornings: 60, Brier: .22, Climate: .23},
			"Brier score 0.22, against 0.23 for always saying the usual share of good mornings; 60 mornings, smaller is better."},
		{"broken", Scorecard{Bins: bins, Mornings: 60, Brier: math.NaN()}, "60 mornings, not scored."},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			require.Contains(t, scoreOf(c.s).Words, c.want)
		})
	}

	require.Equal(t, "6.5\u00a0in\u00a010", scoreOf(Scorecard{Bins: bins, Mornings: 24}).Rows[0].Came)
	require.Equal(t, "too few", scoreOf(Scorecard{Bins: bins, Mornings: 24}).Rows[1].Came)
}

func TestCalendarStages(t *testing.T) {
	t.Parallel()
	b := brieftest.Go()
	b.Run.Days[4].Stage, b.Run.Days[5].Stage = "spawning", "spawning"
	b.Run.Days[4].StageP = .6
	out, err := calendar("x", "us", testLinks(), []coldseam.Brief{b})
	require.NoError(t, err)
	require.Contains(t, string(out), "DTSTART;VALUE=DATE:20270414")
	require.Contains(t, string(out), "run spawning 6\u00a0in\u00a010")
}

// A warning that already covers Sunday stands in the weekend table; one that ends in
// the first hours of the day says nothing of its morning.
func TestWeekendTellsAStopThatLasts(t *testing.T) {
	t.Parallel()
	b := brieftest.Stop()
	sunday := b.Day.Add(1)
	for until, want := range map[time.Duration]string{18 * time.Hour: "stop likely", 2 * time.Hour: "not yet"} {
		b.Stops = []coldseam.Reason{{Code: "flood_warning", Until: sunday.In(zoneHere(b)).Add(until)}}
		got, _ := dayCell(b, sunday)
		require.Equal(t, want, got, "until %s", until)
	}
	b.Verdict, b.Stops = coldseam.NoCall, nil
	got, _ := dayCell(b, sunday)
	require.Equal(t, "not yet", got)
}
