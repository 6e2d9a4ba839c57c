package notify

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/coldseam"
)

// anyBrief draws a brief in which anything may be missing, absurd or too long.
func anyBrief(finiteOnly bool) *rapid.Generator[coldseam.Brief] {
	num := rapid.OneOf(rapid.Float64Range(-10, 2000),
		rapid.SampledFrom([]float64{0, -0.0001, 1e-9, 1e12, -999999, .049, .95, 1}))
	if !finiteOnly {
		num = rapid.OneOf(num, rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1)}))
	}
	words := rapid.OneOf(rapid.StringMatching(`[a-z0-9 ;,.]{0,90}`), rapid.StringN(0, 30, 60), rapid.Just(""))
	share := rapid.Float64Range(0, 1)

	clockAt := rapid.Custom(func(t *rapid.T) time.Time {
		if rapid.IntRange(0, 5).Draw(t, "no time") == 0 {
			return time.Time{}
		}
		return at(0, 0).Add(time.Duration(rapid.IntRange(-3000, 3000).Draw(t, "minute")) * time.Minute)
	})
	reason := rapid.Custom(func(t *rapid.T) coldseam.Reason {
		return coldseam.Reason{
			Code: rapid.SampledFrom([]string{"", "stale_gauge", "weather_stale", "rise"}).Draw(t, "code"),
			Kind: rapid.SampledFrom([]string{"safety", "legal", "missing", "odds", "cap", "caution", "note"}).Draw(t,
				"kind"),
			Text:   words.Draw(t, "text"),
			TextSI: words.Draw(t, "si"),
			Source: words.Draw(t, "source"),
			Until:  clockAt.Draw(t, "until"),
		}
	})
	reasons := rapid.SliceOfN(reason, 0, 5)

	three := rapid.Custom(func(t *rapid.T) [3]float64 {
		return [3]float64{num.Draw(t, "a"), num.Draw(t, "b"), num.Draw(t, "c")}
	})
	fact := rapid.Custom(func(t *rapid.T) coldseam.Fact {
		return coldseam.Fact{
			Now:      num.Draw(t, "now"),
			NowOK:    rapid.Bool().Draw(t, "ok"),
			Window:   three.Draw(t, "window"),
			WindowOK: rapid.Bool().Draw(t, "wok"),
			Class:    words.Draw(t, "class"),
			Years:    rapid.IntRange(0, 90).Draw(t, "years"),
			Trend:    words.Draw(t, "trend"),
		}
	})
	jig := rapid.Custom(func(t *rapid.T) coldseam.SpotJig {
		return coldseam.SpotJig{
			Spot:     words.Draw(t, "spot"),
			DepthM:   num.Draw(t, "depth"),
			TieOz:    num.Draw(t, "tie"),
			PackOz:   num.Draw(t, "pack"),
			NextOz:   num.Draw(t, "next"),
			TieHolds: num.Draw(t, "holds"),
			Withheld: coldseam.Reason{Text: words.Draw(t, "why")},
			Line:     words.Draw(t, "line"),
		}
	})

	input := rapid.Custom(func(t *rapid.T) coldseam.Input {
		return coldseam.Input{
			Key: rapid.SampledFrom([]string{"discharge", "stage", "weather", "alerts", "ice", "season_rule",
				"water_temp", ""}).Draw(t, "key"),
			Name:   words.Draw(t, "name"),
			Safety: rapid.Bool().Draw(t, "safety"),
			At:     clockAt.Draw(t, "at"),
			Age:    time.Duration(rapid.Int64().Draw(t, "age")),
			State: rapid.SampledFrom([]string{"good", "stale", "missing", "failed", "none", "unverified", ""}).Draw(t,
				"state"),
		}
	})
	day := rapid.Custom(func(t *rapid.T) coldseam.DayOdds {
		return coldseam.DayOdds{
			Day:     day0.Add(rapid.IntRange(1, 10).Draw(t, "day")),
			Odds:    num.Draw(t, "odds"),
			OddsOK:  rapid.Bool().Draw(t, "ok"),
			PWave:   num.Draw(t, "wave"),
			WaveOK:  rapid.Bool().Draw(t, "wok"),
			WaterC:  three.Draw(t, "water"),
			Note:    words.Draw(t, "note"),
			Verdict: rapid.SampledFrom([]coldseam.Verdict{coldseam.Go, coldseam.Stop, coldseam.NoCall}).Draw(t, "v"),
		}
	})

	return rapid.Custom(func(t *rapid.T) coldseam.Brief {
		b := coldseam.Brief{
			Reach:     "any",
			River:     "River " + words.Draw(t, "river"),
			ReachName: words.Draw(t, "reach"),
			Zone:      rapid.SampledFrom([]string{zoneName, "", "Nowhere/X"}).Draw(t, "zone"),
			Day:       day0,
			Issued:    at(4, 50),
			GoodUntil: clockAt.Draw(t, "until"),
			Verdict: rapid.SampledFrom([]coldseam.Verdict{coldseam.NoCall, coldseam.Stop, coldseam.Stay,
				coldseam.TossUp, coldseam.Go}).Draw(t, "verdict"),
			Odds:     rapid.OneOf(share, num).Draw(t, "odds"),
			OddsOK:   rapid.Bool().Draw(t, "odds ok"),
			OddsNote: coldseam.Reason{Text: words.Draw(t, "note")},
			Cost:     num.Draw(t, "cost"),
			Stops:    reasons.Draw(t, "stops"),
			Reasons:  reasons.Draw(t, "reasons"),
			Cautions: reasons.Draw(t, "cautions"),
			Hazards:  rapid.SliceOfN(words, 0, 3).Draw(t, "hazards"),
			WindowI:  rapid.IntRange(-1, 2).Draw(t, "window"),
			Flow:     fact.Draw(t, "flow"),
			Temp:     fact.Draw(t, "temp"),
			Jig:      rapid.SliceOfN(jig, 0, 3).Draw(t, "jig"),
			Next:     rapid.SliceOfN(day, 0, 5).Draw(t, "next"),
			Inputs:   rapid.SliceOfN(input, 0, 6).Draw(t, "inputs"),
			Sure:     words.Draw(t, "sure"),
			SureWhy:  words.Draw(t, "why"),
			LifeLine: words.Draw(t, "life"),
			Changed:  coldseam.Reason{Text: words.Draw(t, "changed")},
		}

		for range rapid.IntRange(0, 2).Draw(t, "windows") {
			b.Windows = append(b.Windows, coldseam.Window{Start: clockAt.Draw(t, "start"), End: clockAt.Draw(t, "end"),
				Why: words.Draw(t, "w")})
		}
		b.How.Line = words.Draw(t, "how")
		b.Run = coldseam.RunState{
			Active:  rapid.Bool().Draw(t, "run"),
			Why:     words.Draw(t, "run why"),
			Arrived: three.Draw(t, "arrived"),
			Stage:   words.Draw(t, "stage"),
			StageP:  num.Draw(t, "stage p"),
			PWave:   num.Draw(t, "p wave"),
		}
		return b
	})
}

func itemsOf(k riverView, title string) []string {
	for _, s := range k.Below {
		if s.Title == title {
			return s.Items
		}
	}
	return nil
}

// TestFormats holds the ends of the number formats.
func TestFormats(t *testing.T) {
	t.Parallel()
	us, si := format{zone: time.UTC}, format{metric: true, zone: time.UTC}

	for got, want := range map[string]string{
		us.flow(coldseam.CubicMPerCFS * 2412):    "2,410 cfs",
		us.flow(coldseam.CubicMPerCFS * 1234567): "1,230,000 cfs",
		us.flow(coldseam.CubicMPerCFS * 9.874):   "9.87 cfs",
		us.flow(coldseam.CubicMPerCFS * -12.34):  "-12.3 cfs",
		us.flow(0):                               "0 cfs",
		us.flow(math.NaN()):                      unknown,
		si.flow(68.31):                           "68.3 m3/s",
		si.temp(-0.04):                           "0.0C",
		us.temp(-17.9):                           "0F",
		us.temp(coldseam.C(39.4)):                "39F",
		us.weight(.375):                          "3/8 oz",
		si.weight(.25):                           "1/4 oz (7.1 g)",
		us.depth(5.5):                            "18 ft",
		si.wind(8.2):                             "8 m/s",
		odds(.04):                                "under 1 in 10",
		odds(.05):                                "1 in 10",
		odds(.45):                                "5 in 10",
		odds(.951):                               "over 9 in 10",
		odds(math.Inf(1)):                        unknown,
		hours(89 * time.Minute):                  "89 min",
		hours(7 * time.Hour):                     "7 h",
		hours(100 * time.Hour):                   "4 days",
	} {
		require.Equal(t, want, plain(got))
	}

	require.Equal(t, "a b", clean(" a\r\n\tb\x00 "))
	require.Equal(t, "ab", clean("a\xffb"))
	require.Equal(t, "one two ..", clip("one two three four", 13))
}

// plausible leaves out briefs whose drawn words already hold a mark of a broken
// value: the test looks for marks that we make.
func plausible(b coldseam.Brief) bool {
	raw := strings.ReplaceAll(fmt.Sprintf("%+v", b), ":<nil>", ":") // a pointer to nothing is none of its words
	for _, mark := range []string{"%!", "%", "<nil", "ZgotmplZ", "<no value"} {
		if strings.Contains(raw, mark) {
			return false
		}
	}
	return true
}
