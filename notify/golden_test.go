package notify

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"example.org/coldseam"
)

var update = flag.Bool("update", false, "write the golden files")

const goldenDir = "../testdata/brief"

// golden is a case as it lies on disk: the outbox row.
type golden struct {
	Kind      coldseam.MailKind    `json:"kind"`
	Prefs     coldseam.Preferences `json:"prefs"`
	Admin     bool                 `json:"admin"`
	Reach     coldseam.ReachID     `json:"reach,omitempty"`
	InReplyTo string               `json:"in_reply_to,omitempty"`
	Content   json.RawMessage      `json:"content"`
}

func writeGolden(t *testing.T, path string, got []byte) {
	t.Helper()
	require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
	require.NoError(t, os.WriteFile(path, got, 0o644))
}

func checkGolden(t *testing.T, path, got string) {
	t.Helper()
	if *update {
		writeGolden(t, path, []byte(got))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run with -update to write it")
	require.Equal(t, string(want), got, "%s; run with -update if the change is meant", filepath.Base(path))
}

// TestGolden writes every case from its stored outbox row and compares text
// and HTML.
func TestGolden(t *testing.T) {
	t.Parallel()
	c := composer()

	for name, l := range cases() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			base := filepath.Join(goldenDir, name)
			if *update {
				row, err := json.MarshalIndent(golden{
					Kind:      l.Kind,
					Prefs:     l.Subscriber.Prefs,
					Admin:     l.Subscriber.ID == 0,
					Reach:     l.Reach,
					InReplyTo: l.InReplyTo,
					Content:   l.Payload,
				}, "", "  ")
				require.NoError(t, err)
				writeGolden(t, base+".json", append(row, '\n'))
			}

			l = storedRow(t, base+".json")
			ct, err := ParseContent(l.Payload)
			require.NoError(t, err)
			v := c.view(l, ct, nil, fullBlocks)
			text, html, err := renderParts(v)
			require.NoError(t, err)
			checkGolden(t, base+".txt", "Subject: "+v.Subject+"\n\n"+text)
			checkGolden(t, base+".html", html)
			require.LessOrEqual(t, len(html), MaxHTML)
		})
	}
}

// storedRow is the outbox row of a case as it lies on disk.
func storedRow(t *testing.T, path string) coldseam.OutboxMessage {
	t.Helper()
	raw, err := os.ReadFile(path)
	require.NoError(t, err, "run with -update to write it")
	var g golden
	require.NoError(t, json.Unmarshal(raw, &g))
	l := letterOf(g.Kind, Content{})
	l.Payload, l.Reach, l.InReplyTo, l.Subscriber.Prefs = g.Content, g.Reach, g.InReplyTo, g.Prefs
	if g.Admin {
		l.Subscriber = coldseam.Subscriber{Email: "keeper@club.example"}
	}
	return l
}

// TestOrder: verdict, reason, weight, freshness and caution stand in this
// order in every verdict.
func TestOrder(t *testing.T) {
	t.Parallel()
	const caution = "This is not a safety clearance"

	for _, c := range []struct {
		name string
		want []string
	}{
		{"go_day", []string{"GO Tamsen", "6 in 10 for a good morning", "tie 1/4 oz", "flow -350 cfs",
			"MADE   4:50, good until 10:30", "gauge 4:30", caution}},
		{"toss_up", []string{"TOSS-UP Tamsen", "4 in 10 for a good morning", "wind 18 mph", "tie 1/4 oz",
			"MADE   4:50", "gauge 4:30", caution}},
		{"stay", []string{"STAY Hallam Fork", "2 in 10 for a good morning", "tie 1/8 oz", "MADE   4:50", "gauge 4:30",
			caution}},
		{"stop", []string{"STOP Brandt", "flood warning", "JIG    none on a STOP", "gauge 4:30", "MADE   4:50",
			caution}},
		{"no_call", []string{"NO CALL Little Quern", "gauge silent 7 h", "JIG    no weight", "gauge last Fri 21:50",
			"MADE   4:50", caution}},
		{"no_weather", []string{"NO CALL Tamsen", "weather forecast is 14 h old", "tie 1/4 oz", "weather last 1:00",
			"MADE   4:50", caution}},
		{"replay", []string{"REPLAY, REVISED DATA", "NO CALL Tamsen", "not kept", "odds alone would have said 6 in 10",
			"tie 1/4 oz", "MADE   4:50", caution}},
		{"correction", []string{"STOP replaces GO for the Tamsen", "STOP Tamsen", "flood warning", "MADE   7:12",
			caution}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			text, _ := renderCase(t, c.name)
			text = strings.ReplaceAll(text, "\n       ", " ") // joined again where a line was broken
			at := 0
			for _, w := range c.want {
				i := strings.Index(text[at:], w)
				require.GreaterOrEqual(t, i, 0, "%q missing or out of order in\n%s", w, text)
				at += i
			}
		})
	}
}

func renderCase(t testing.TB, name string) (text, html string) {
	t.Helper()
	l := cases()[name]
	ct, err := ParseContent(l.Payload)
	require.NoError(t, err)
	text, html, err = renderParts(composer().view(l, ct, nil, fullBlocks))
	require.NoError(t, err)
	return text, html
}

// TestFold: at most 12 lines of at most 60 characters for every verdict, in
// both unit systems.
func TestFold(t *testing.T) {
	t.Parallel()
	briefs := map[string]coldseam.Brief{"go": goBrief(), "toss": tossBrief(), "stay": stayBrief(), "stop": stopBrief(),
		"no call": noCallBrief(), "weather": noWeatherBrief(), "replay": replayBrief()}
	long := tossBrief()
	long.ReachName = strings.Repeat("very long reach ", 5)
	long.Stops = nil

	long.SureBy, long.SureWhy = coldseam.Reason{}, strings.Repeat("many words ", 12)
	long.How.Line = strings.Repeat("lift and hold ", 9)
	briefs["long"] = long
	many := stopBrief()
	for range 9 {
		many.Stops = append(many.Stops,
			coldseam.Reason{Kind: "safety",
				Text: "dam release announced for the whole morning at the upper dam by its operator"})
	}
	many.Cautions = tossBrief().Cautions
	briefs["many stops"] = many

	for name, b := range briefs {
		for _, units := range []string{"us", "metric"} {
			lines := Text(b, coldseam.Preferences{Units: units, SendAt: "04:45"})
			all := strings.Join(lines, "\n")
			require.LessOrEqual(t, len(lines), 12, "%s %s:\n%s", name, units, all)
			for _, l := range lines {
				require.LessOrEqual(t, utf8.RuneCountInString(l), 60, "%s %s: %q", name, units, l)
			}
			require.Contains(t, all, b.Verdict.String())
			require.Contains(t, all, "MADE")
			require.Contains(t, all, "STOPS")
			for _, c := range b.Cautions[:min(2, len(b.Cautions))] {
				require.Contains(t, all, "CARE", c.Code)
			}
		}
	}

	require.Contains(t, strings.Join(Text(many, coldseam.Preferences{}), "\n"), "(more below)")
}

// TestNoOddsWithoutCall: a STOP or NO CALL never prints a chance, whatever the
// brief carries; only a replay may tell what odds alone would have said.
func TestNoOddsWithoutCall(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"stop", "no_call", "no_weather", "correction"} {
		text, html := renderCase(t, name)
		l := cases()[name]
		ct, err := ParseContent(l.Payload)
		require.NoError(t, err)
		for part, s := range map[string]string{"text": text, "html": html,
			"subject": Subject(l.Kind, ct, l.Subscriber.Prefs), "plain html": plain(html)} {
			require.NotContains(t, s, "in 10", "%s of %s", part, name)
		}
	}
	text, _ := renderCase(t, "replay")
	require.Equal(t, 1, strings.Count(text, "in 10"))
}

// TestOddsInReasons: chances that reasons and spots bring along do not slip into
// a verdict without odds.
func TestOddsInReasons(t *testing.T) {
	t.Parallel()
	for _, b := range []coldseam.Brief{stopBrief(), noCallBrief(), noWeatherBrief()} {
		b.Jig = []coldseam.SpotJig{{Spot: "seam", Withheld: coldseam.Reason{Code: "none_holds",
			Text: "no weight in your box holds; the heaviest, 1/2 oz, 4 in 10"}}}
		for _, list := range []*[]coldseam.Reason{&b.Stops, &b.Reasons, &b.Cautions} {
			*list = append([]coldseam.Reason{{Kind: "missing", Code: "hold_low",
				Values: map[string]float64{"hold_odds": .31}},
				{Kind: "missing", Code: "gust", Values: map[string]float64{"gust_mps": 40 * coldseam.MPSPerMPH,
					"limit_mps": 16}}}, *list...)
		}
		l := letterOf(coldseam.MailMorning, Content{Briefs: []coldseam.Brief{b}})
		ct, err := ParseContent(l.Payload)
		require.NoError(t, err)
		v := composer().view(l, ct, nil, fullBlocks)
		text, html, err := renderParts(v)
		require.NoError(t, err)
		require.NotContains(t, plain(text+html+v.Subject), "in 10")
		require.Contains(t, text, "gusts 40 mph")
		require.Contains(t, text, "hold low")
	}
}

// TestMainStop: a warning in force leads, whatever its place among the stops;
// a legal closure never stands before a safety stop.
func TestMainStop(t *testing.T) {
	t.Parallel()
	b := stopBrief()
	b.Stops[0], b.Stops[1] = b.Stops[1], b.Stops[0]
	b.Stops = append(b.Stops, coldseam.Reason{Kind: "legal", Text: "walleye closed", Until: at(23, 0)})
	lines := Text(b, coldseam.Preferences{})
	require.Contains(t, lines[1], "STOPS  flood warning")
	require.Contains(t, lines[2], "rose 1.3 ft")
	require.Contains(t, lines[3], "walleye closed")
	require.Equal(t, "STOP Brandt Sat, flood warning, until Sun 18:00",
		Subject(coldseam.MailMorning, Content{Briefs: []coldseam.Brief{b}}, coldseam.Preferences{}))
	b.Stops = b.Stops[2:]
	require.Equal(t, "STOP Brandt Sat, walleye closed, until 23:00",
		Subject(coldseam.MailMorning, Content{Briefs: []coldseam.Brief{b}}, coldseam.Preferences{}))
}

// TestVerdictWithoutOdds: GO in the brief without computed odds is told as NO
// CALL.
func TestVerdictWithoutOdds(t *testing.T) {
	t.Parallel()
	for _, v := range []coldseam.Verdict{coldseam.Go, coldseam.TossUp, coldseam.Stay} {
		b := goBrief()
		b.Verdict, b.OddsOK = v, false
		all := strings.Join(Text(b, coldseam.Preferences{}), "\n")
		require.Contains(t, all, "NO CALL")
		require.Contains(t, all, "This is not a go.")
		require.NotContains(t, all, v.String()+" Tamsen")
	}
}

// TestSubjects: at most 55 characters, verdict first.
func TestSubjects(t *testing.T) {
	t.Parallel()
	want := map[string]string{
		"go_day":     "GO Tamsen Sat, good morning 6 in 10, 39F warming",
		"go_metric":  "GO Tamsen Sat, good morning 6 in 10, 4.0C warming",
		"stop":       "STOP Brandt Sat, flood warning, until Sun 18:00",
		"no_call":    "NO CALL Little Quern Sat, gauge silent 7 h",
		"correction": "STOP replaces GO: Tamsen, flood warning",
	}

	for name, l := range cases() {
		ct, err := ParseContent(l.Payload)
		require.NoError(t, err)
		got := Subject(l.Kind, ct, l.Subscriber.Prefs)
		require.LessOrEqual(t, utf8.RuneCountInString(got), 55, got)
		if w := want[name]; w != "" {
			require.Equal(t, w, got)
		}
	}

	lost := noCallBrief()
	got := Subject(coldseam.MailCorrection, Content{Was: coldseam.TossUp, Briefs: []coldseam.Brief{lost}},
		coldseam.Preferences{})
	require.True(t, strings.HasPrefix(got, "NO CALL replaces TOSS-UP: Little Quern"), got)
}

// TestNonsenseIsRefused: a number that is none holds the mail; it is never
// printed.
func TestNonsenseIsRefused(t *testing.T) {
	t.Parallel()
	require.Equal(t, "NaN", nonsense("flow NaN cfs"))
	require.Empty(t, nonsense("flow 12 cfs"))
	require.Equal(t, "NaN", nonsense("NaN cfs, see https://club.example/b/aNaNb"))
	l := letterOf(coldseam.MailMorning, Content{Briefs: []coldseam.Brief{goBrief()}})
	l.Payload = bytes.Replace(l.Payload, []byte(`"easing"`), []byte(`"trend %!s(MISSING)"`), 1)
	_, err := composer().Compose(l, nil)
	require.ErrorIs(t, err, coldseam.ErrInvalid)
	require.ErrorContains(t, err, "%!")
}

// TestDrawnTokenHoldsNoMail: a token in which the letters of a mark come up by
// chance is no value of ours.
func TestDrawnTokenHoldsNoMail(t *testing.T) {
	t.Parallel()
	c := composer()
	l := cases()["go_day"]
	for id := int64(1); ; id++ {
		require.Less(t, id, int64(1_000_000), "no token with the letters")
		if strings.Contains(c.Links.Unsubscribe(id), "NaN") {
			l.Subscriber.ID = id
			break
		}
	}
	m, err := c.Compose(l, nil)
	require.NoError(t, err)
	require.Contains(t, string(m.Bytes), "NaN")
}
