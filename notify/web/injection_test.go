package web

import (
	"reflect"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
	"pgregory.net/rapid"

	"example.org/coldseam"
	"example.org/coldseam/notify"
	"example.org/coldseam/notify/brieftest"
)

// corpus is what a feed, an admin or a member could bring.
func corpus() []string {
	return []string{
		`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `'><svg onload=alert(1)>`, `javascript:alert(1)`,
		`</title></style></textarea><script src=//evil.example/x.js></script>`,
		`{{.}} {{template "frame"}}`, `<!--`, `]]>`, "line\r\nBcc: x@example.org", "nul\x00byte", "sep\u2028para\u2029",
		"\u202eright to left", `=cmd|' /C calc'!A0`, `&#60;script&#62;`,
		`" style="position:fixed" x="`, `<base href="https://evil.example/">`, `<form action=https://evil.example>`,
		strings.Repeat("A", 5000), "\xff\xfe broken utf-8", `<style>*{display:none}</style>`,
	}
}

// poison puts s into every text of v that is not a key.
func poison(v reflect.Value, s string) {
	keys := map[string]bool{"Zone": true, "Reach": true, "ID": true, "Kind": true, "Key": true, "State": true,
		"Stage": true, "Code": true}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			f := v.Field(i)
			if !v.Type().Field(i).IsExported() || keys[v.Type().Field(i).Name] && f.Kind() == reflect.String {
				continue
			}
			poison(f, s)
		}
	case reflect.Slice:
		for i := range v.Len() {
			poison(v.Index(i), s)
		}
	case reflect.String:
		if v.CanSet() {
			v.SetString(s)
		}
	}
}

func poisoned(s string) *memory {
	m := newMemory()
	poison(reflect.ValueOf(&m.briefs).Elem(), s)
	m.season.Seal = s
	for i := range m.reaches {
		m.reaches[i].River, m.reaches[i].Name = s, s
		for k := range m.reaches[i].Spots {
			m.reaches[i].Spots[k].Name = s
		}
	}
	return m
}

// shape is the skeleton of a page: its elements with the names of their
// attributes.
func shape(t *testing.T, page string) string {
	t.Helper()
	var b strings.Builder
	for _, n := range all(parse(t, page), func(*html.Node) bool { return true }) {
		var names []string
		for _, a := range n.Attr {
			names = append(names, a.Key)
		}
		sort.Strings(names)
		b.WriteString(n.Data + " " + strings.Join(names, ",") + "\n")
	}
	return b.String()
}

// TestLinksFromData: only web addresses become links.
func TestLinksFromData(t *testing.T) {
	t.Parallel()
	m := newMemory()
	for i := range m.briefs {
		m.briefs[i].Sources = []coldseam.Attribution{{Name: "Survey", Text: "Data by the survey.",
			Link: "javascript:alert(1)"}, {Name: "Other", Link: "https://x.example/\"onclick=1"}}
		m.briefs[i].Rules = []coldseam.Rule{{
			Kind:      coldseam.RuleSeason,
			Text:      "open",
			Link:      "data:text/html,x",
			CheckedOn: brieftest.Day,
		}}
	}
	got := get(testHandler(t, m), "/").Body.String()
	require.NotContains(t, got, "javascript:")
	require.NotContains(t, got, "data:")
	require.NotContains(t, got, "x.example")
	require.Contains(t, got, "Data by the survey.")
}

func TestTie(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"good 6 in 10, hold 3 s": "good 6\u00a0in\u00a010, hold 3\u00a0s",
		"lift 4-8 in, hold":      `lift <span class="nb">4–8` + "\u00a0in</span>, hold",
		"3 h 20 min":             "3\u00a0h 20\u00a0min",
		"14 trips":               "14 trips", "Water 39 F: wear": "Water 39\u00a0°F: wear",
		"Water 39F: wear": "Water 39\u00a0°F: wear", "water 3.9C": "water 3.9\u00a0°C", "": "",
		"said TOSS-UP": `said <span class="nb">TOSS-UP</span>`, "Sun 6 in 10": "Sun\u00a06\u00a0in\u00a010",
		"call 555-0100, 2026-04-10, id 04024F, loop:1F": "call 555-0100, 2026-04-10, id 04024F, loop:1F",
		`a<b> & "3-5" 6–8`:                              `a&lt;b&gt; &amp; &#34;3-5&#34; <span class="nb">6–8</span>`,
	} {
		require.Equal(t, want, string(notify.Typeset(in)), in)
	}
}

func TestTens(t *testing.T) {
	t.Parallel()
	require.Equal(t, []int{3, 3, 4}, tens([]float64{.33, .33, .34}))
	require.Equal(t, []int{0, 10, 0}, tens([]float64{.01, .98, .01}))

	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 6).Draw(t, "shares")
		got := tens(x)
		sum, sumX := 0, 0.
		for _, v := range x {
			sumX += v
		}
		if sumX <= 0 {
			require.Nil(t, got)
			return
		}

		for i, n := range got {
			sum += n
			require.InDelta(t, x[i]/sumX*10, float64(n), 1, "no cell is off by more than one")
		}
		require.Equal(t, 10, sum)
	})
}

func TestSharesOf(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := rapid.Float64Range(0, 16).Draw(t, "middle")
		lo, hi := rapid.Float64Range(0, 4).Draw(t, "down"), rapid.Float64Range(0, 4).Draw(t, "up")
		sum := 0.
		for _, s := range sharesOf(coldseam.DefaultBands, [3]float64{m - lo, m, m + hi}) {
			require.GreaterOrEqual(t, s, 0.)
			sum += s
		}
		require.InDelta(t, 1, sum, 1e-9)
	})
	got := sharesOf(coldseam.DefaultBands, [3]float64{coldseam.C(40) - .5, coldseam.C(40), coldseam.C(40) + 1})
	require.InDelta(t, .5, got[0]+got[1], 1e-9, "half lies below the middle")
}
