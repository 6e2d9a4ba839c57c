package notify

import (
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
		{Code: "flood_watch", Kind: "caution", Source: "Weather service", Names: map[string]string{"event": "Flood Watch"}, Until: at(18, 0)},
		{Code: "dark", Kind: "caution", Source: clubRule, At: at(6, 2)},
		{Code: "other_window", Kind: "caution", Source: "weather forecast", From: at(9, 0), Names: map[string]string{"stop": "wind"},
			Values: map[string]float64{"wind_mps": 12, "limit_mps": 11.2}},
	}
	b.Life, b.LifeLine, b.LifeLineSI = coldseam.Reason{Code: "life_jacket", Values: map[string]float64{"water_c": 4}}, "", ""
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
		require.Equal(t, "stop for the window from 9:00: wind 12 m/s; the limit is 11 m/s", kept.Cautions[2].TextSI)
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
		{Code: "flood_watch", Kind: "caution", Text: "Flood Watch to Sat 18:00", Source: "Weather service", Until: at(18, 0)},
	}
	us, si := strings.Join(Text(b, coldseam.Preferences{}), "\n"), strings.Join(Text(b, coldseam.Preferences{Units: "metric"}), "\n")
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
	codeAt := map[string]int{"because": 1, "missing": 0, "capped": 0, "caution": 0, "ofAlert": 1, "about": 1, "capIf": 1}
	ofReason := map[string]bool{"at": true, "clock": true, "since": true, "from": true, "until": true, "stop": true}
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
			require.True(t, ok, "%s: no sentence for %q in reasonWords", path, code)
			for _, m := range placeholder.FindAllString(either.ReplaceAllString(words, ""), -1) {
				value := m[1 : len(m)-1]
				stem, _, _ := strings.Cut(value, "_") // "peak_" + unit
				require.True(t, text[value] || text[stem+"_"] || ofReason[value], "%s: the sentence of %q names {%s}, which is set nowhere there", path, code, value)
			}
			return true
		})
		return nil
	})
	require.NoError(t, err)
	require.Greater(t, len(made), 40)
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
