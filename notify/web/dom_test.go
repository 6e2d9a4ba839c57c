package web

import (
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
	"golang.org/x/net/html/atom"
)

func parse(t *testing.T, page string) *html.Node {
	t.Helper()
	n, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	return n
}

// all returns the elements that ok accepts, in document order.
func all(n *html.Node, ok func(*html.Node) bool) []*html.Node {
	var out []*html.Node
	for d := range n.Descendants() {
		if d.Type == html.ElementNode && ok(d) {
			out = append(out, d)
		}
	}
	return out
}

func tags(n *html.Node, names ...string) []*html.Node {
	return all(n, func(d *html.Node) bool {
		for _, x := range names {
			if d.Data == x {
				return true
			}
		}
		return false
	})
}

func attr(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

func has(n *html.Node, key string) bool {
	for _, a := range n.Attr {
		if a.Key == key {
			return true
		}
	}
	return false
}

func text(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return b.String()
}

// formValues are what a browser would post of the page's form.
func formValues(t *testing.T, page string) url.Values {
	t.Helper()
	v := url.Values{}

	for _, n := range tags(parse(t, page), "input", "select", "textarea") {
		name := attr(n, "name")
		switch {
		case n.DataAtom == atom.Select:
			for _, o := range tags(n, "option") {
				if has(o, "selected") {
					v.Add(name, attr(o, "value"))
				}
			}
		case n.DataAtom == atom.Textarea:
			v.Add(name, text(n))
		case attr(n, "type") == "radio" || attr(n, "type") == "checkbox":
			if has(n, "checked") {
				v.Add(name, attr(n, "value"))
			}
		default:
			v.Add(name, attr(n, "value"))
		}
	}

	return v
}

func TestDOMOfEveryPage(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())

	for name, p := range paths() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			doc := parse(t, get(h, p).Body.String())
			require.Len(t, tags(doc, "h1"), 1)
			require.Equal(t, "en", attr(tags(doc, "html")[0], "lang"))
			require.Len(t, tags(doc, "main"), 1)
			require.Empty(t, tags(doc, "script", "iframe", "object", "embed", "style", "base"))
			checkAttributes(t, doc)
			checkTables(t, doc)
			checkForms(t, doc)
			checkHeadings(t, doc)

			for _, s := range tags(doc, "svg") {
				if attr(s, "role") == "img" {
					require.NotEmpty(t, tags(s, "title"), "an svg that speaks has a title")
				} else {
					require.True(t, attr(s, "aria-hidden") == "true" || s.Parent.Data == "svg",
						"an svg without a role is hidden or inside one")
				}
			}

			foot := text(tags(doc, "footer")[0])
			require.Contains(t, foot, "This is not a safety clearance.")
			require.Contains(t, foot, "turn back if in doubt")
			if name != "missing" {
				require.Contains(t, foot, "Meridian water survey", "the page names the agencies")
				require.Contains(t, foot, "last checked 8 April 2027 by secretary")
			}

			body := text(doc)
			for _, bad := range []string{"NaN", "<nil>", "%!", "+Inf", "{{", "&lt;", "undefined", "01 Jan 0001"} {
				require.NotContains(t, body, bad)
			}
			require.NotContains(t, strings.ToLower(body), "is safe")
		})
	}
}

func checkAttributes(t *testing.T, doc *html.Node) {
	t.Helper()
	ids := map[string]bool{}
	for _, n := range all(doc, func(*html.Node) bool { return true }) {
		for _, a := range n.Attr {
			require.NotEqual(t, "style", a.Key, "no inline style: the policy forbids it")
			require.False(t, strings.HasPrefix(a.Key, "on"), "no event handler")
			if a.Key == "id" {
				require.False(t, ids[a.Val], "id %s twice", a.Val)
				ids[a.Val] = true
			}

			remote := strings.HasPrefix(a.Val, "http") || strings.HasPrefix(a.Val, "//")
			if (a.Key == "href" && n.Data != "a" || a.Key == "src" || a.Key == "action") && remote {
				t.Errorf("remote resource %s=%s", a.Key, a.Val)
			}
			if a.Key == "href" {
				require.NotContains(t, strings.ToLower(a.Val), "javascript:")
			}
		}
	}

	for _, n := range all(doc, func(n *html.Node) bool {
		return has(n, "aria-labelledby") || has(n, "aria-describedby")
	}) {
		for _, id := range strings.Fields(attr(n, "aria-labelledby") + " " + attr(n, "aria-describedby")) {
			require.True(t, ids[id], "label %s is missing", id)
		}
	}
}

func checkTables(t *testing.T, doc *html.Node) {
	t.Helper()

	for _, tab := range tags(doc, "table") {
		cols := 0
		for _, th := range tags(tab, "th") {
			require.Contains(t, []string{"col", "row"}, attr(th, "scope"))
			require.NotEmpty(t, strings.TrimSpace(text(th)))
			cols += map[string]int{"col": 1}[attr(th, "scope")]
		}
		require.Positive(t, cols)

		for _, tr := range tags(tab, "tr") {
			n := 0
			for _, c := range tags(tr, "td", "th") {
				span := 1
				if s := attr(c, "colspan"); s != "" {
					span = int(s[0] - '0')
				}
				n += span
			}
			require.Equal(t, cols, n, "every row has a cell for each head: %s", text(tr))
		}
	}
}

func checkForms(t *testing.T, doc *html.Node) {
	t.Helper()
	labels := map[string]bool{}
	for _, l := range tags(doc, "label") {
		labels[attr(l, "for")] = true
	}
	for _, in := range tags(doc, "input", "select", "textarea") {
		inLabel := false
		for p := in.Parent; p != nil; p = p.Parent {
			inLabel = inLabel || p.Data == "label"
		}
		require.True(t, inLabel || labels[attr(in, "id")], "%s has a label", attr(in, "name"))
	}
	for _, f := range tags(doc, "form") {
		require.Equal(t, "post", attr(f, "method"))
		require.True(t, strings.HasPrefix(attr(f, "action"), "/"))
		names := map[string]bool{}
		for _, b := range tags(f, "button") {
			require.Equal(t, attr(b, "name") == "", attr(b, "value") == "", "a button with a value is one of a choice")
			names[attr(b, "name")] = true
		}
		require.Len(t, names, 1, "one button, or one choice of them")
	}
}

func checkHeadings(t *testing.T, doc *html.Node) {
	t.Helper()
	last := 0
	for _, h := range tags(doc, "h1", "h2", "h3") {
		n := int(h.Data[1] - '0')
		require.LessOrEqual(t, n, last+1, "headings step down one at a time: %s", text(h))
		last = n
	}
}

// TestStopAndNoCallHaveNoOdds looks at everything but the foot.
func TestStopAndNoCallHaveNoOdds(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	for _, name := range []string{"stop", "nocall"} {
		doc := parse(t, get(h, paths()[name]).Body.String())
		s := strings.ReplaceAll(text(tags(doc, "main")[0])+text(tags(doc, "title")[0]), "\u00a0", " ")
		require.NotContains(t, s, "in 10", name)
		require.NotContains(t, s, "Band calendar")
		require.NotContains(t, s, "Run clock")
		require.NotContains(t, s, "Jig for each spot")
	}

	board := parse(t, get(h, "/").Body.String())
	for _, li := range tags(board, "li") {
		if c := attr(li, "class"); c == "stop" || c == "nocall" {
			require.NotContains(t, strings.ReplaceAll(text(li), "\u00a0", " "), "in 10")
		}
	}
	require.Contains(t, get(h, paths()["nocall"]).Body.String(), "This is not a go")
	require.Contains(t, get(h, paths()["stop"]).Body.String(), "Regional weather service")
}
