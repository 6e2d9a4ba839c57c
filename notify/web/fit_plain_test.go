//go:build !race

package web

import (
	"context"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.org/coldseam/notify/browsertest"
)

// TestNothingIsCut: every page fits a phone of 360 px, and paper of A4 and Letter
// within its margins of 12 mm, at the size its type is printed in.
func TestNothingIsCut(t *testing.T) {
	t.Parallel()
	ctx := browsertest.Start(t, 5*time.Minute)
	srv := httptest.NewServer(testHandler(t, newMemory()))
	defer srv.Close()

	for _, d := range []struct {
		medium string
		width  int64 // px, 96 to the inch
	}{{"print", 703}, {"print", 725}, {"screen", 360}} {
		require.NoError(t, chromedp.Do(ctx, browsertest.Device(d.width, 800, d.medium, "light")))
		for name, p := range withCards() {
			require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(srv.URL+p)), name)
			bad, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](browsertest.CutOff))
			require.NoError(t, err, name)
			require.Empty(t, bad, "%s, %s %d px", name, d.medium, d.width)
		}
	}
}

// TestAccessibilityTree: what a screen reader is given of every page. All that can be
// used has a name, every picture too, there is one main part, and one heading of the
// first level stands before the others.
func TestAccessibilityTree(t *testing.T) {
	t.Parallel()
	ctx := browsertest.Start(t, 5*time.Minute)
	srv := httptest.NewServer(testHandler(t, newMemory()))
	defer srv.Close()
	require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 800, "screen", "light")))

	named := []string{"link", "button", "textbox", "spinbutton", "combobox", "radio", "checkbox", "image", "region",
		"heading"}
	for name, p := range withCards() {
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(srv.URL+p)), name)
		roles := map[string]int{}
		require.NoError(t, chromedp.Do(ctx, chromedp.Func(func(ctx context.Context, tg *chromedp.Target) error {
			tree, err := cdp.Call(ctx, tg, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
			if err != nil {
				return err
			}
			for _, n := range tree.Nodes {
				if n.Ignored || n.Role == nil {
					continue
				}
				role := strings.Trim(string(n.Role.Value), `"`)
				roles[role]++
				said := ""
				if n.Name != nil {
					said = strings.TrimSpace(strings.Trim(string(n.Name.Value), `"`))
				}
				for _, want := range named {
					if role == want && said == "" {
						t.Errorf("%s: a %s without a name", name, role)
					}
				}
			}
			return nil
		})), name)
		require.Equal(t, 1, roles["main"], name)
		require.Positive(t, roles["heading"], name)
		require.Positive(t, roles["contentinfo"]+roles["banner"], name)
	}
}

// TestAxe: axe-core finds nothing on any page, light and dark.
func TestAxe(t *testing.T) {
	t.Parallel()
	axe := browsertest.Axe(t)
	ctx := browsertest.Start(t, 5*time.Minute)
	srv := httptest.NewServer(testHandler(t, newMemory()))
	defer srv.Close()
	for _, scheme := range []string{"light", "dark"} {
		require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 800, "screen", scheme)))
		for name, p := range withCards() {
			require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(srv.URL+p)), name)
			assert.Empty(t, axe(ctx), "%s, %s", name, scheme)
		}
	}
	_, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.querySelector('h1').outerHTML = '<input>'`))
	require.NoError(t, err)
	require.NotEmpty(t, axe(ctx), "it looks")
}

// stop is where the Tab key has come to.
type stop struct {
	Name, Outline            string
	Left, Right, Top, Bottom float64 // on the page
	Seen                     bool    // within the window
}

const tabStop = `(() => { const e = document.activeElement, r = (e.closest('.pick') || e).getBoundingClientRect(), c = getComputedStyle(e);
  return {Name: e === document.body ? '' : e.tagName + ' ' + (e.name || e.textContent).trim().slice(0, 40), Outline: c.outlineStyle + ' ' + c.outlineWidth,
    Left: r.left + scrollX, Right: r.right + scrollX, Top: r.top + scrollY, Bottom: r.bottom + scrollY,
    Seen: r.bottom > 0 && r.top < innerHeight && r.right > 0 && r.left < innerWidth} })()`

// TestTabOrder: the Tab key goes through a page as the eye does, down the lines and
// along each, every stop with a ring around it and in sight, and comes to the end.
func TestTabOrder(t *testing.T) {
	t.Parallel()
	ctx := browsertest.Start(t, 5*time.Minute)
	srv := httptest.NewServer(testHandler(t, newMemory()))
	defer srv.Close()
	require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 800, "screen", "light")))

	for name, p := range withCards() {
		require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(srv.URL+p)), name)
		want, err := chromedp.Run(ctx, chromedp.Evaluate[int](`document.querySelectorAll('main a').length`))
		require.NoError(t, err)
		var last stop
		links := 0
		for n := 0; ; n++ {
			require.Less(t, n, 200, "%s: the keyboard is caught at %s", name, last.Name)
			require.NoError(t, chromedp.Do(ctx, chromedp.KeyEvent("	")))
			at, err := chromedp.Run(ctx, chromedp.Evaluate[stop](tabStop))
			require.NoError(t, err, name)
			if at.Name == "" {
				break
			}
			links += b2i(strings.HasPrefix(at.Name, "A "))
			assert.Regexp(t, `^solid [23]px`, at.Outline, "%s: %s", name, at.Name)
			assert.True(t, at.Seen, "%s: %s is out of sight", name, at.Name)
			below, beside := at.Top >= last.Bottom-6, at.Left >= last.Right-1 && at.Bottom > last.Top
			within := at == last // from hours to minutes of one field
			assert.True(t, n < 2 || below || beside || within, "%s: from %v to %v", name, last, at)
			last = at
		}
		require.GreaterOrEqual(t, links, want, "%s: links that the keyboard does not reach", name)
	}
}

// riverPageMax is what a river's page may weigh: a phone at one bar of signal
// [proposal].
const riverPageMax = 60 << 10

func TestPagesAreLight(t *testing.T) {
	t.Parallel()
	h := testHandler(t, newMemory())
	for name, p := range paths() {
		w := get(h, p)
		require.LessOrEqual(t, w.Body.Len(), riverPageMax, name)
		t.Logf("%s: %d bytes", name, w.Body.Len())
	}
}
