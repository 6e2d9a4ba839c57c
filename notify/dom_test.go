package notify

import (
	"strings"
	"testing"

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
		s := StaffOf(b, b.Odds)
		require.Equal(t, PageStaff{true, 10, c.filled, c.lo, c.hi}, s)
		require.Equal(t, b.Line().Word(b.Odds) == coldseam.Go, s.Filled > s.Hi)
		require.Equal(t, b.Line().Word(b.Odds) == coldseam.Stay, s.Filled <= s.Lo)
	}
}
