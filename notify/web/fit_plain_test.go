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
		for name, p := range paths() {
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
	for name, p := range paths() {
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
