package notify

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

// reasoned is a brief as it is made today: every reason has its numbers.
func reasoned() coldseam.Brief {
	b := tossBrief()
	b.Stops = nil
	b.Reasons = []coldseam.Reason{
		{Code: "hazards_unsurveyed", Kind: "cap", Source: clubRule},
		{Code: "hold_low", Kind: "cap", Source: clubRule, Values: map[string]float64{"hold_odds": .44}},
		{Code: "odds", Kind: "odds", Source: clubRule, Values: map[string]float64{"good_odds": .44, "go_odds": .5}},
	}
	b.Cautions = []coldseam.Reason{
		{
			Code:   "flood_watch",
			Kind:   "caution",
			Source: "Weather service",
			Names:  map[string]string{"event": "Flood Watch"},
			Until:  at(18, 0),
		},
		{Code: "dark", Kind: "caution", Source: clubRule, At: at(6, 2)},
		{
			Code:   "other_window",
			Kind:   "caution",
			Source: "weather forecast",
			From:   at(9, 0),
			Names:  map[string]string{"stop": "wind"},
			Values: map[string]float64{"wind_mps": 12, "limit_mps": 11.2},
		},
	}
	b.Life, b.LifeLine, b.LifeLineSI = coldseam.Reason{Code: "life_jacket", Values: map[string]float64{"water_c": 4}},
		"", ""
	return b
}

// TestWordsComeFromNumbers: the words that are kept for the record change
// nothing in mail and page.
func TestWordsComeFromNumbers(t *testing.T) {
	t.Parallel()
	for _, units := range []string{"us", "metric"} {
		p := coldseam.Preferences{Units: units}
		bare, kept := reasoned(), reasoned()
		SetWording(&kept)
		require.Equal(t, "heaviest weight holds only 4 in 10", kept.Reasons[1].Text)
		require.Equal(t, "stop for the window from 9:00: wind 27 mph; the limit is 25 mph", kept.Cautions[2].Text)
		require.Empty(t, bare.Reasons[1].Text, "the brief that is told is not changed")
		require.Equal(t, Text(bare, p), Text(kept, p))
		require.Equal(t, PageOf(bare, p), PageOf(kept, p))
	}
}

// TestOldBriefKeepsItsWords: a brief that was stored before reasons carried
// values is told as it was issued, also where the code has other words today.
func TestOldBriefKeepsItsWords(t *testing.T) {
	t.Parallel()
	b := tossBrief()
	b.Reasons = []coldseam.Reason{{Code: "hazards_unsurveyed", Kind: "cap", Text: "nobody has looked for hazards yet"}}
	b.Cautions = []coldseam.Reason{
		{Code: "wind", Kind: "caution", Text: "wind 18 mph", TextSI: "wind 29 km/h"},
		{
			Code:   "flood_watch",
			Kind:   "caution",
			Text:   "Flood Watch to Sat 18:00",
			Source: "Weather service",
			Until:  at(18, 0),
		},
	}
	us, si := strings.Join(Text(b, coldseam.Preferences{}), "\n"),
		strings.Join(Text(b, coldseam.Preferences{Units: "metric"}), "\n")
	require.Contains(t, us, "wind 18 mph")
	require.Contains(t, si, "wind 29 km/h")
	why := []string{us}
	for _, s := range PageOf(b, coldseam.Preferences{}).Below {
		why = append(why, s.Items...)
	}
	require.Contains(t, why, "Flood Watch to Sat 18:00 (Weather service)", "the end stands once")
	require.Contains(t, why, "nobody has looked for hazards yet")
}

// TestOldWaterIsToldWithItsDate: neither text nor page print an old reading as
// today's water.
func TestOldWaterIsToldWithItsDate(t *testing.T) {
	t.Parallel()
	b := goBrief()
	b.Temp.NowOK, b.Temp.NowAt = false, time.Date(2027, 3, 1, 18, 0, 0, 0, time.UTC)
	b.Life = coldseam.Reason{Code: "life_jacket_unknown", At: b.Temp.NowAt}
	text := strings.Join(Text(b, coldseam.Preferences{}), "\n")
	require.Contains(t, text, "water not known since 1 Mar")
	require.Contains(t, strings.Join(strings.Fields(text), " "), "Water not known since 1 Mar: wear the life jacket.")
	require.NotContains(t, text, "39F")
}

// TestEveryCodeHasASentence reads the sources of forecast: each reason that is
// made there with a literal code has a sentence, and the sentence names no value
// that its file does not set.
func TestEveryCodeHasASentence(t *testing.T) {
	t.Parallel()
	codeAt := map[string]int{"because": 1, "missing": 0, "capped": 0, "caution": 0, "ofAlert": 1, "about": 1,
		"capIf": 1, "withhold": 1, "note": 0}
	ofReason := map[string]bool{"at": true, "clock": true, "since": true, "from": true, "until": true, "stop": true,
		"leader_range": true}
	made := map[string]bool{}

	err := filepath.WalkDir("../forecast", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		text := stringsIn(file)

		ast.Inspect(file, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			name, ok := call.Fun.(*ast.Ident)
			if method, of := call.Fun.(*ast.SelectorExpr); of {
				name, ok = method.Sel, true
			}
			if !ok {
				return true
			}

			i, ok := codeAt[name.Name]
			if !ok || i >= len(call.Args) {
				return true
			}
			code, ok := literal(call.Args[i])
			if !ok {
				return true // composed: the tests of verdict word what Decide makes
			}
			made[code] = true

			words, ok := reasonWords[code]
			if strings.Contains(path, "/jig/") || code == "none_holds" || code == "own_rig_unweighed" {
				if why := ""; len(call.Args) > 2 {
					if why, ok = literal(call.Args[2]); !ok {
						return true
					} else if why != "" {
						code += "_" + why
					}
				}
				words, ok = jigWords[code]
			}

			require.True(t, ok, "%s: no sentence for %q in reasonWords", path, code)
			for _, m := range placeholder.FindAllString(either.ReplaceAllString(words, ""), -1) {
				value := m[1 : len(m)-1]
				stem, _, _ := strings.Cut(value, "_") // "peak_" + unit
				require.True(t, text[value] || text[stem+"_"] || ofReason[value],
					"%s: the sentence of %q names {%s}, which is set nowhere there", path, code, value)
			}

			return true
		})

		return nil
	})

	require.NoError(t, err)
	require.Greater(t, len(made), 40)
}

// TestForeignWordsArePrintedAsTheyAre: what looks like a part of a sentence in an
// agency's words is no part of it.
func TestForeignWordsArePrintedAsTheyAre(t *testing.T) {
	t.Parallel()
	for _, event := range []string{"Flood {limit_m}", "Flood [x|y]", "{event}", "[{until}]", "Flood {stage_m"} {
		r := coldseam.Reason{
			Code:   "flood_alert",
			Names:  map[string]string{"event": event},
			Values: map[string]float64{"limit_m": 3},
			Until:  at(18, 0),
		}
		require.Equal(t, event+" to Sat 18:00", ReasonText(r, "", zoneName))
		r.Code, r.Names["stop"], r.From = "other_window", "flood_alert", at(9, 0)
		require.Equal(t, "stop for the window from 9:00: "+event+" to Sat 18:00", ReasonText(r, "", zoneName))
	}
}

// TestWeightsInWords: the reasons of the weight in both unit systems, rounded no
// finer than they are known.
func TestWeightsInWords(t *testing.T) {
	t.Parallel()
	type values = map[string]float64
	type names = map[string]string
	ft := coldseam.MetrePerFoot

	for _, c := range []struct {
		r      coldseam.Reason
		us, si string
	}{
		{coldseam.Reason{Code: "weight_from", Names: names{"speed_by": "float"}, Values: values{"spot_depth_m": 12 * ft,
			"current_m_s": 1.9 * ft}},
			"12 ft deep, 1.9 ft/s on top (timed by floats)", "3.7 m deep, 0.58 m/s on top (timed by floats)"},
		{coldseam.Reason{Code: "line_lies", Names: names{"lie": "swept_low"},
			Values: values{"angle_deg": 57.2, "line_out_m": 4.4, "bow_cm": 56, "slack_cm": 19}},
			"line swept low (57 deg off vertical), 14 ft out, bow 22 in, slack 7 in",
			"line swept low (57 deg off vertical), 4.4 m out, bow 56 cm, slack 19 cm"},
		{coldseam.Reason{Code: "line_lies", Names: names{"lie": "leaning", "line": "nylon"},
			Values: values{"angle_deg": 20, "line_out_m": 4.4, "bow_cm": 2, "slack_cm": 19}},
			"line leaning (20 deg off vertical), 14 ft out, bow under 1 in, slack 7 in; nylon bows, takes show late",
			"line leaning (20 deg off vertical), 4.4 m out, bow 2 cm, slack 19 cm; nylon bows, takes show late"},
		{coldseam.Reason{Code: "bed_dunes", Values: values{"low_m": .35, "high_m": .48, "apart_m": 17.8}},
			"dunes likely, 1-2 ft high, about 60 ft apart", "dunes likely, under 0.5 m high, about 20 m apart"},
		{coldseam.Reason{Code: "too_fast", Values: values{"current_m_s": 5.2 * ft, "limit_m_s": 5 * ft}},
			"current 5.2 ft/s, too fast; none is advised from 5 ft/s",
			"current 1.58 m/s, too fast; none is advised from 1.52 m/s"},
		{coldseam.Reason{Code: "wading", Names: names{"case": "product"},
			Values: values{"wade_m": 2.4 * ft, "current_m_s": 2.5 * ft, "product_m2_s": 6 * ft * ft,
				"limit_m2_s": 6 * ft * ft}},
			"do not wade: 2.4 ft times 2.5 ft/s is 6 ft2/s, the limit is 6 ft2/s",
			"do not wade: 0.73 m times 0.76 m/s is 0.56 m2/s, the limit is 0.56 m2/s"},
		{coldseam.Reason{Code: "drift_sensitive", Values: values{"slower_oz": .25}},
			"boat as fast as the surface: over 1 oz; at 3/4 of it: 1/4 oz",
			"boat as fast as the surface: over 1 oz; at 3/4 of it: 1/4 oz (7.1 g)"},
		{coldseam.Reason{Code: "none_holds", Names: names{"case": "box"},
			Values: values{"heaviest_oz": .5, "heaviest_odds": .4}},
			"no weight in your box holds; the heaviest, 1/2 oz, 4 in 10",
			"no weight in your box holds; the heaviest, 1/2 oz (14.2 g), 4 in 10"},
		{coldseam.Reason{Code: "measure_float", Names: names{"spot": "the bend", "sizes": "1/4,3/8", "becomes": "1/4"}},
			"time five floats at the bend, or note a line angle: 1/4 or 3/8 oz becomes 1/4", ""},
		{coldseam.Reason{Code: "measure_log", Names: names{"spot": "the bend", "sizes": "1/8,1/4,3/8",
			"becomes": "1/8,3/16,3/8"}, Values: values{"more": 3}},
			"log held or lost at the bend, 3 more with both: 1/8 to 3/8 oz either way, but surer", ""},
	} {
		require.Equal(t, c.us, ReasonText(c.r, "", ""))
		if c.si != "" {
			require.Equal(t, c.si, ReasonText(c.r, "metric", ""))
		}
	}
}

// TestOldWeightKeepsItsWords: a spot stored with texts in two unit systems is
// told in them.
func TestOldWeightKeepsItsWords(t *testing.T) {
	t.Parallel()
	var j coldseam.SpotJig
	require.NoError(t, json.Unmarshal([]byte(`{"Spot":"seam","Withheld":"too_fast","WithheldText":"too fast: 5 ft/s","WithheldTextSI":"too fast: 1.5 m/s",
		"LineWords":"14 ft out","LineWordsSI":"4.4 m out","Dunes":"1 ft high","DunesSI":"","Why":"12 ft deep","WhySI":"3.7 m deep"}`), &j))
	us, si := WordsFor("us", "UTC"), WordsFor("metric", "UTC")
	require.Equal(t, "too_fast", j.Withheld.Code)
	require.Equal(t, "no weight: too fast: 5 ft/s", us.Withheld(j, []coldseam.SpotJig{j}))
	require.Equal(t, "no weight: too fast: 1.5 m/s", si.Withheld(j, []coldseam.SpotJig{j}))
	require.Equal(t, []string{"14 ft out", "1 ft high", "12 ft deep"}, []string{us.Maybe(j.LineLies), us.Maybe(j.Dunes),
		us.Maybe(j.Why)})
	require.Equal(t, []string{"4.4 m out", "1 ft high", "3.7 m deep"}, []string{si.Maybe(j.LineLies), si.Maybe(j.Dunes),
		si.Maybe(j.Why)})

	stored, err := json.Marshal(j)
	require.NoError(t, err)
	var again coldseam.SpotJig
	require.NoError(t, json.Unmarshal(stored, &again))
	require.Equal(t, j, again)
}

// TestSpotNamesWhereSomethingHolds: where nothing holds, the other spots help.
func TestSpotNamesWhereSomethingHolds(t *testing.T) {
	t.Parallel()
	w := WordsFor("us", "UTC")
	chute := coldseam.SpotJig{Spot: "Chute", Withheld: coldseam.Reason{Code: "too_fast",
		Names: map[string]string{"case": "ounce"}}}
	hole, pocket := coldseam.SpotJig{Spot: "Bend hole", TieOz: .25}, coldseam.SpotJig{Spot: "Pocket", TieOz: .125}
	require.Equal(t, "no weight: an ounce or more would be needed here; holds at Bend hole 1/4 oz, Pocket 1/8 oz",
		plain(w.Withheld(chute, []coldseam.SpotJig{hole, pocket, chute})))
	require.Contains(t, w.Withheld(chute, []coldseam.SpotJig{chute}), "; nor at any other spot")
}

// stringsIn are the string literals of a file.
func stringsIn(fn *ast.File) map[string]bool {
	out := map[string]bool{}
	ast.Inspect(fn, func(n ast.Node) bool {
		if e, ok := n.(ast.Expr); ok {
			if s, ok := literal(e); ok {
				out[s] = true
			}
		}
		return true
	})
	return out
}

func literal(e ast.Expr) (string, bool) {
	l, ok := e.(*ast.BasicLit)
	if !ok || l.Kind != token.STRING {
		return "", false
	}
	s, err := strconv.Unquote(l.Value)
	return s, err == nil
}

// TestRemarksInWords: what the odds rest on, what is new, what was made of the
// inputs and of the season's water.
func TestRemarksInWords(t *testing.T) {
	t.Parallel()
	type values = map[string]float64
	type names = map[string]string

	for _, c := range []struct {
		r      coldseam.Reason
		us, si string
	}{
		{coldseam.Reason{Code: "odds_few_trips", Values: values{"log_trips": 1}}, "from 1 trip, uncalibrated", ""},
		{coldseam.Reason{Code: "replay_odds", Names: names{"word": "GO", "rests_on": "odds_trips"},
			Values: values{"log_trips": 14, "alone_in10": .62}},
			"odds alone would have said GO, 6 in 10 for a good morning (from 14 trips)", ""},
		{coldseam.Reason{Code: "changed_today", Names: names{"word": "STOP", "was": "GO"}, At: at(4, 50)},
			"STOP replaces GO of 4:50", ""},
		{coldseam.Reason{Code: "newer_failed", Values: values{"newer": 2}}, "2 newer left out by the quality check",
			""},
		{coldseam.Reason{Code: "agency_flow", At: at(1, 30)}, "with the agency's flow forecast of Sat 1:30", ""},
		{coldseam.Reason{Code: "season_open", At: at(0, 0)}, "open, checked 10 April", ""},
		{coldseam.Reason{Code: "water_neighbour", Names: names{"gauge": "x:2"}, Values: values{"by_readings": 0}},
			"from the neighbour gauge x:2 and no member's reading", ""},
		{coldseam.Reason{Code: "water_offset", Values: values{"offset_k": .25, "by_readings": 30}},
			"reach +0.5F against the gauge by 30 members' readings",
			"reach +0.2C against the gauge by 30 members' readings"},
		{coldseam.Reason{Code: "water_winter", Names: names{"day": "2027-02-03"}},
			"water before 3 February not measured, taken as winter water", ""},
		{coldseam.Reason{Code: "water_carried", Values: values{"filled_days": 1}},
			"water temperature of 1 day carried forward", ""},
		{coldseam.Reason{Code: "holes_filling", Values: values{"load_peak": .7}},
			"holes filling: about three quarters of a usual peak", ""},
		{coldseam.Reason{Code: "cost", Names: names{"gear": "nylon-0.28"}, Values: values{"size_oz": .375}},
			"0.28 mm nylon: 3/8 oz", "0.28 mm nylon: 3/8 oz (10.6 g)"},
		{coldseam.Reason{Code: "cost_same", Names: names{"gear": "bulky"}}, "bulky body: same size", ""},
	} {
		require.Equal(t, c.us, ReasonText(c.r, "", zoneName))
		if c.si == "" {
			c.si = c.us
		}
		require.Equal(t, c.si, ReasonText(c.r, "metric", zoneName))
	}
}

// TestOldBriefReads: a brief stored with words in the place of codes is told in
// them, on mail and page, and is stored again as it was.
func TestOldBriefReads(t *testing.T) {
	t.Parallel()
	stored := `{"OddsNote":"from 14 trips","ReplayOdds":"odds alone: none could be made","Changed":"same as yesterday",
		"Windows":[{"Why":"warmest water of the day"}],
		"Flow":{"Class":"much below normal for the date","Trend":"easing to 13:30"},
		"Inputs":[{"Key":"alerts","Name":"Warnings","State":"good","Note":"none"},{"Key":"ice","Name":"Ice state","State":"open","Note":""}],
		"Next":[{"Note":"flow over the club limit"}],
		"Run":{"Why":"no run in this season","HoleWords":"holes filling: about half of a usual peak","Note":"water before 2027-02-03 not measured"},
		"How":{"Line":"ease: flutter tail, lift 4-8 in","LineSI":"ease: flutter tail, lift 10-20 cm","Cadence":"lift 4-8 in, hold 3-5 s","CadenceSI":"lift 10-20 cm, hold 3-5 s",
			"Leader":"10 lb fluorocarbon, 2-3 ft","LeaderSI":"10 lb (4.5 kg) fluorocarbon, 0.6-0.9 m","Colour":"loud: pink","ClaritySource":"gauge turbidity",
			"Bait":"dead minnow","Alternatives":["bucktail: lift"],"AlternativesSI":["bucktail: lift"],"Notes":["keep off wood"]},
		"Jig":[{"Leader":"10 lb, 2-3 ft","CostWords":"0.28 mm nylon: 3/8 oz; bulky body: same size"}]}`

	var b coldseam.Brief
	require.NoError(t, json.Unmarshal([]byte(stored), &b))
	f := formatFor(coldseam.Preferences{}, zoneName)
	for got, want := range map[string]string{
		f.words(b.OddsNote): "from 14 trips", f.words(b.ReplayOdds): "odds alone: none could be made",
		f.words(b.Changed):                "same as yesterday",
		keyed(keyWords, b.Windows[0].Why): "warmest water of the day",
		keyed(dateWords, b.Flow.Class):    "much below normal for the date",
		f.trend(b.Flow):                   "easing to 13:30", inputName(b.Inputs[1]): "Ice state",
		f.notes(b.Inputs[0].Note):       "none",
		f.notes(b.Inputs[1].Note):       "",
		keyed(keyWords, b.Next[0].Note): "flow over the club limit",
		keyed(runWords, b.Run.Why):      "no run in this season",
		f.words(b.Run.Holes):            "holes filling: about half of a usual peak",
		f.notes(b.Run.Note):             "water before 2027-02-03 not measured",
		f.words(b.Jig[0].Leader):        "10 lb, 2-3 ft",
		f.notes(b.Jig[0].Costs):         "0.28 mm nylon: 3/8 oz; bulky body: same size",
	} {
		require.Equal(t, want, got)
	}

	require.Equal(t, How{
		Line:    "ease: flutter tail, lift 4-8 in",
		Cadence: "lift 4-8 in, hold 3-5 s",
		Leader:  "10 lb fluorocarbon, 2-3 ft",
		Colour:  "loud: pink (clarity: gauge turbidity)",
		Bait:    "dead minnow",
		Others:  []string{"bucktail: lift"},
		Notes:   []string{"keep off wood"},
	}, f.how(b.How))
	require.Equal(t, "ease: flutter tail, lift 10-20 cm", format{metric: true}.how(b.How).Line)

	again, err := json.Marshal(b)
	require.NoError(t, err)
	var twice coldseam.Brief
	require.NoError(t, json.Unmarshal(again, &twice))
	require.Equal(t, b, twice)
}

// TestAdviceInWords: lift, pause and leader in both unit systems, the HOW line
// within its width, what does not fit left off from the end.
func TestAdviceInWords(t *testing.T) {
	t.Parallel()
	const ft = coldseam.MetrePerFoot
	way := coldseam.AdviceWay{
		Action:   "flutter tail",
		Hook:     "light wire",
		Cadence:  "lift {lift}, hold {pause}",
		LiftM:    [2]float64{ft / 3, ft * 2 / 3},
		PauseS:   [2]float64{3, 5},
		LeaderLB: [2]float64{10, 10},
		LeaderM:  [2]float64{2 * ft, 3 * ft},
	}
	h := coldseam.Advice{
		Band:          "ease",
		AdviceWay:     way,
		Tail:          "flutter tail",
		Verb:          "lift",
		Where:         []string{"hole_head"},
		Colour:        "colour_by_clarity",
		ClaritySource: "unknown",
		Bait:          "minnow",
		Others:        []coldseam.AdviceWay{way},
		Notes:         coldseam.Notes{{Code: "eggs", Names: map[string]string{"day": "2026-04-26"}}},
	}

	us, si := format{}, format{metric: true}
	require.Equal(t, How{
		Line:    "ease: flutter tail, lift 4-8 in, hold 4 s, hole heads",
		Cadence: "lift 4-8 in, hold 3-5 s",
		Leader:  "10 lb fluorocarbon, 2-3 ft",
		Colour:  "if stained, loud: chartreuse, orange or pink; if clear, pale: pearl, silver or grey (clarity: unknown)",
		Bait:    "salted or dead minnow when they refuse",
		Others:  []string{"flutter tail: lift 4-8 in, hold 3-5 s; light wire, 10 lb fluorocarbon, 2-3 ft"},
		Notes:   []string{"eggs lie in the gravel to about 26 April: keep off it"},
	}, us.how(h))
	metric := si.how(h)
	require.Equal(t, "ease: flutter tail, lift 10-20 cm, hold 4 s, hole heads", metric.Line)
	require.Equal(t, "10 lb (4.5 kg) fluorocarbon, 0.6-0.9 m", metric.Leader)
	require.Equal(t, []string{"flutter tail: lift 10-20 cm, hold 3-5 s; light wire, 10 lb (4.5 kg) fluorocarbon, 0.6-0.9 m"}, metric.Others)

	h.Tail = "a flutter tail of quite some length"
	require.Equal(t, "ease: a flutter tail of quite some length, lift 4-8 in", us.how(h).Line)
	require.Zero(t, us.how(coldseam.Advice{}).Line)
}

// TestSubjectsNeedNoPunctuation: a subject holds the first clause of our own
// sentence; a semicolon in an agency's words cuts nothing.
func TestSubjectsNeedNoPunctuation(t *testing.T) {
	t.Parallel()
	b := stopBrief()
	b.Stops = []coldseam.Reason{{
		Code:  "flood_alert",
		Kind:  "safety",
		Names: map[string]string{"event": "Flood; Brandt"},
		Until: at(18, 0),
	}}
	require.Equal(t, "STOP Brandt Sat, Flood; Brandt to Sat 18:00",
		Subject(coldseam.MailMorning, Content{Briefs: []coldseam.Brief{b}}, coldseam.Preferences{}))
	b.Stops = []coldseam.Reason{{Code: "wind", Kind: "safety", Values: map[string]float64{"wind_mps": 12,
		"limit_mps": 11.2}}}
	require.Equal(t, "STOP Brandt Sat, wind 27 mph", Subject(coldseam.MailMorning, Content{Briefs: []coldseam.Brief{b}},
		coldseam.Preferences{}))
	require.Equal(t, []part{{Text: "wind 27" + nbsp + "mph; the limit is 25" + nbsp + "mph", Strong: true}},
		blockOf(b, coldseam.Preferences{}).Head)

	silent := Content{Subject: "Gauge silent: Tamsen, Bend reach; Brandt, Lower reach",
		Lines: []string{"Tamsen, Bend reach: no row"}}
	require.Equal(t, "Gauge silent: Tamsen, Bend reach; Brandt, Lower reach", Subject(coldseam.MailSilent, silent,
		coldseam.Preferences{}))
}

// TestGapsInWords: which entry of the warnings lacks, and why.
func TestGapsInWords(t *testing.T) {
	t.Parallel()
	r := coldseam.Reason{Code: "alerts_incomplete", Names: map[string]string{"entry": "Flood Watch", "why": "unread"}}
	require.Equal(t, "warnings are not complete: Flood Watch did not load", ReasonText(r, "", zoneName))
	delete(r.Names, "why")
	require.Equal(t, "warnings are not complete: Flood Watch cannot be read", ReasonText(r, "", zoneName))
	for _, why := range []string{"no_link", "unread", "unreadable", "too_deep", "too_many", "damaged_shape",
		"exchanged_shape"} {
		require.NotContains(t, GapWords(coldseam.FeedGap{Entry: "urn:x", Why: why}), "_", why)
	}
}

// TestStaleInputIsNamed: an input without a name of its own has the words of its
// key.
func TestStaleInputIsNamed(t *testing.T) {
	t.Parallel()
	for key, want := range map[string]string{"alerts": "warnings: 70 min old; the limit is 1 h",
		"Flow": "Flow: 70 min old; the limit is 1 h"} {
		r := coldseam.Reason{Code: "input_stale", Names: map[string]string{"input": key},
			Values: map[string]float64{"age_h": 7. / 6, "limit_h": 1}}
		require.Equal(t, want, ReasonText(r, "", zoneName))
	}
	require.Equal(t, "Water temperature", InputName(coldseam.Input{Key: "water_temp"}))
}

// Flow words look back a day and ahead to the window.
func TestFlowWordsLookBackADay(t *testing.T) {
	t.Parallel()
	f := formatFor(coldseam.Preferences{}, "UTC")
	noon := time.Date(2026, 4, 18, 12, 0, 0, 0, time.UTC)
	x := coldseam.Fact{Trend: "steady", TrendTo: noon, RiseDay: 1.04}
	require.Equal(t, "up 104"+nbsp+"% in a day, steady to noon", f.trend(x))
	x.RiseDay = -.12
	require.Equal(t, "down 12"+nbsp+"% in a day, steady to noon", f.trend(x))
	x.RiseDay = .04
	require.Equal(t, "steady to noon", f.trend(x))
}

// The weight told first is of a timed current; the place with a guessed one is
// named apart, as a range.
func TestJigLineWithAGuessedCurrent(t *testing.T) {
	t.Parallel()
	f := formatFor(coldseam.Preferences{}, "UTC")
	hole := coldseam.SpotJig{SpotID: "hole", Spot: "Bend hole", TieOz: .375, PackOz: .5,
		MayNeedOz: [2]float64{.1875, .625}}
	seam := coldseam.SpotJig{SpotID: "seam", Spot: "main seam", TieOz: .25, PackOz: .375}
	words := func(spots ...coldseam.SpotJig) (s string) {
		k := block{Brief: coldseam.Brief{Jig: spots}}
		for _, p := range k.jig(f, "").Items[0] {
			s += p.Text + "|"
		}
		return strings.ReplaceAll(s, nbsp, " ")
	}
	require.Equal(t, "tie 1/4 oz|pack 3/8 oz|(main seam)|Bend hole 3/16–5/8 oz, current not timed, start light|",
		words(hole, seam))
	require.Equal(t, "3/16–5/8 oz, current not timed, start light|(Bend hole)|", words(hole))
}
