package web

import (
	"context"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"example.org/coldseam"
)

// update rewrites the golden files: go test ./notify/web -update.
var update = flag.Bool("update", false, "rewrite golden files")

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

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

func TestSeasonPaths(t *testing.T) {
	t.Parallel()
	m := newMemory()
	m.season.Replayed = []string{"Tamsen, bend: 2 of 3 mornings read as they were told"}
	h := testHandler(t, m)
	require.Equal(t, 404, get(h, "/season/1999").Code)
	require.Equal(t, 404, get(h, "/season/abc").Code)
	w := get(h, "/season/2027")
	require.Equal(t, 200, w.Code)
	require.Contains(t, w.Body.String(), `href="/season/2026"`)
	require.Contains(t, w.Body.String(), "<li>Tamsen, bend: 2 of 3 mornings read as they were told</li>")
	require.NotContains(t, w.Body.String(), `href="/season/2028"`)
}

type noSeason struct{ *memory }

func (noSeason) Season(context.Context, int) (Season, error) { return Season{}, coldseam.ErrNotFound }

// TestFirstSeason: the link in the head of every page leads somewhere before
// the first trip.
func TestFirstSeason(t *testing.T) {
	t.Parallel()
	cfg := testConfig(nil)
	cfg.Store = noSeason{newMemory()}
	h, err := New(cfg)
	require.NoError(t, err)
	w := get(h, "/season")
	require.Equal(t, 200, w.Code)
	require.Contains(t, w.Body.String(), "No season on record yet")
	require.Equal(t, 404, get(h, "/season/2020").Code)
}
