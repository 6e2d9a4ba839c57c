package web

import (
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// words reads a page the way it is heard: a line for each block, cells apart.
func words(n *html.Node) string {
	var b strings.Builder
	var walk func(*html.Node)

	walk = func(n *html.Node) {
		if n.Type == html.TextNode {
			b.WriteString(strings.Join(strings.FieldsFunc(n.Data, func(r rune) bool {
				return r == ' ' || r == '\n'
			}), " "))
			if strings.HasSuffix(n.Data, " ") {
				b.WriteByte(' ')
			}
			return
		}

		if n.Data == "path" || n.Data == "rect" || attr(n, "aria-hidden") == "true" {
			return
		}
		switch n.Data {
		case "p", "h1", "h2", "h3", "tr", "dt", "li", "table", "caption", "figure", "figcaption", "svg", "desc",
			"legend", "label", "strong", "section":
			b.WriteByte('\n')
		case "td", "th", "dd", "tspan", "text":
			b.WriteString(" | ")
		case "br", "span", "b", "a", "small":
			b.WriteByte(' ')
		}

		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}

	walk(n)
	var out []string
	for _, l := range strings.Split(b.String(), "\n") {
		if l = strings.Join(strings.FieldsFunc(l, func(r rune) bool { return r == ' ' }), " "); l != "" {
			out = append(out, l)
		}
	}

	return strings.Join(out, "\n") + "\n"
}

// TestGoldenPages keeps the words of every page in view: read the diff aloud.
func TestGoldenPages(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	for name, p := range paths() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			doc := parse(t, get(h, p).Body.String())
			golden(t, "page-"+strings.ReplaceAll(name, " ", "-")+".txt", words(tags(doc, "main")[0]))
		})
	}
}
