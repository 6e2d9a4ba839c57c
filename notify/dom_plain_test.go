//go:build !race

package notify

import (
	"regexp"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"
)

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
					require.Contains(t, []string{"row", "col"}, attr(h, "scope"))
				}
			}

			if len(ct.Briefs) > 0 {
				require.NotZero(t, facts, "facts stand in a real table")
			}
		})
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
