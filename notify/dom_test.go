package notify

import (
	"regexp"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"example.org/coldseam"
)

// nodes are all elements of a document.
func nodes(t testing.TB, doc string) []*html.Node {
	t.Helper()
	root, err := html.Parse(strings.NewReader(doc))
	require.NoError(t, err)
	var out []*html.Node
	for n := range root.Descendants() {
		if n.Type == html.ElementNode {
			out = append(out, n)
		}
	}
	return out
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func textOf(n *html.Node) string {
	var b strings.Builder
	for c := range n.Descendants() {
		if c.Type == html.TextNode {
			b.WriteString(c.Data)
		}
	}
	return b.String()
}

func named(all []*html.Node, name string) (out []*html.Node) {
	for _, n := range all {
		if n.Data == name {
			out = append(out, n)
		}
	}
	return out
}

// TestDOM holds what a mail reader and a screen reader need in every kind.
func TestDOM(t *testing.T) {
	t.Parallel()
	charts := sampleCharts(t)
	remote := regexp.MustCompile(`url\(|@import|@font-face|src=["']?http|background=`)

	for name, l := range cases() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			ct, err := ParseContent(l.Payload)
			require.NoError(t, err)
			_, doc, err := renderParts(composer().view(l, ct, charts, fullBlocks))
			require.NoError(t, err)
			all := nodes(t, doc)
			require.Len(t, named(all, "h1"), 1)
			require.NotEmpty(t, strings.TrimSpace(textOf(named(all, "h1")[0])))
			require.Equal(t, "en", attr(named(all, "html")[0], "lang"))

			for _, forbidden := range []string{"script", "form", "input", "iframe", "object", "link", "base", "video",
				"svg"} {
				require.Empty(t, named(all, forbidden), forbidden)
			}
			require.False(t, remote.MatchString(doc), "nothing is fetched when the mail is opened")
			for _, n := range named(all, "img") {
				require.True(t, strings.HasPrefix(attr(n, "src"), "cid:"))
				require.True(t, strings.ContainsFunc(attr(n, "alt"), unicode.IsDigit), "the alt text holds the numbers")
				require.NotEmpty(t, attr(n, "width"))
				require.NotEmpty(t, attr(n, "height"))
			}

			for _, n := range named(all, "a") {
				require.Regexp(t, `^https://(club|rules|agency)\.example/?`, attr(n, "href"))
				require.NotEmpty(t, strings.TrimSpace(textOf(n)))
			}

			facts := 0
			for _, n := range named(all, "table") {
				heads := named(elements(n), "th")
				if attr(n, "role") == "presentation" {
					continue
				}
				facts++
				require.NotEmpty(t, heads)
				for _, h := range heads {
					require.Equal(t, "row", attr(h, "scope"))
				}
			}

			if len(ct.Briefs) > 0 {
				require.NotZero(t, facts, "facts stand in a real table")
			}
		})
	}
}

func elements(n *html.Node) (out []*html.Node) {
	for c := range n.Descendants() {
		if c.Type == html.ElementNode {
			out = append(out, c)
		}
	}
	return out
}

// TestVerdictShapes: each verdict is told by its word and its own frame, never
// by colour alone; the staff stands where odds may stand.
func TestVerdictShapes(t *testing.T) {
	t.Parallel()

	for name, want := range map[string]struct {
		word, frame string
		marks       int
	}{
		"go_day":  {"GO", `class="go"`, 10},
		"toss_up": {"TOSS-UP", `border:2px solid #737E84;border-radius`, 10},
		"stay":    {"STAY", `border:2px solid #D2D1C8;border-radius`, 10},
		"stop":    {"STOP", `class="bar"`, 0},
		"no_call": {"NO CALL", `2px dashed`, 0},
	} {
		_, doc := renderCase(t, name)
		words := 0
		for _, n := range named(nodes(t, doc), "p") {
			if textOf(n) == want.word {
				words++
			}
		}
		require.Equal(t, 1, words, name)
		require.Contains(t, doc, want.frame, name)
		require.Equal(t, want.marks, strings.Count(doc, "width:16px;height:9px"), name)
		require.Equal(t, want.marks > 0, strings.Contains(doc, "The staff has ten marks"), name)
	}
}

// TestStaff: as many marks as the odds are printed with, GO above the bracket,
// TOSS-UP within it, STAY below it.
func TestStaff(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		odds, cost     float64
		filled, lo, hi int
	}{
		{.61, .4, 6, 2, 4}, {.46, .4, 5, 2, 4}, {.44, .4, 4, 2, 4}, {.26, .4, 3, 2, 4}, {.24, .4, 2, 2, 4},
		{.04, .4, 0, 2, 4},
		{.8, .7, 8, 5, 7}, {.99, 0, 10, 2, 4},
	} {
		b := goBrief()
		b.Odds, b.Cost = c.odds, c.cost
		s := StaffOf(b.Odds, b.Line())
		require.Equal(t, PageStaff{true, c.filled, c.lo, c.hi}, s)
		require.Equal(t, b.Line().Word(b.Odds) == coldseam.Go, s.Filled > s.Hi)
		require.Equal(t, b.Line().Word(b.Odds) == coldseam.Stay, s.Filled <= s.Lo)
	}
}

// TestReadsWithoutPicturesAndStyles: with every image and the style block
// removed the mail still says all.
func TestReadsWithoutPicturesAndStyles(t *testing.T) {
	t.Parallel()
	_, doc := renderCase(t, "four_rivers") // no pictures at hand
	doc = regexp.MustCompile(`(?s)<style>.*?</style>`).ReplaceAllString(doc, "")
	root, err := html.Parse(strings.NewReader(doc))
	require.NoError(t, err)
	got := plain(textOf(root))
	for _, want := range []string{"GO", "6 in 10 for a good morning", "tie 1/4 oz", "2,410 cfs", "STAY", "STOP",
		"Flood warning", "NO CALL", "Gauge silent 7 h"} {
		require.Contains(t, got, want)
	}
	require.NotContains(t, doc, "<img")
}
