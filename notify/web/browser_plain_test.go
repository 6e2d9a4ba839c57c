//go:build !race

package web

import (
	"net/http/httptest"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"example.org/coldseam/notify/browsertest"
)

// TestBrowser looks at every page in Chromium, once for all, in under 90 s.
func TestBrowser(t *testing.T) {
	ctx := browsertest.Start(t, 5*time.Minute)
	srv := httptest.NewServer(testHandler(t, newMemory()))
	defer srv.Close()
	look := func(t *testing.T) findings {
		t.Helper()
		f, err := chromedp.Run(ctx, chromedp.Evaluate[findings](probe))
		require.NoError(t, err)
		return f
	}

	t.Run("widths and schemes", func(t *testing.T) {
		least := 99.
		for _, d := range []struct {
			w      int64
			scheme string
		}{{320, "light"}, {360, "dark"}, {768, "light"}, {1280, "dark"}} {
			require.NoError(t, chromedp.Do(ctx, browsertest.Device(d.w, 800, "", d.scheme)))
			for name, p := range withCards() {
				if d.w == 768 && name != "board" && name != "go" && name != "prefs" && name != "season" {
					continue // between two widths that were looked at
				}
				require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(srv.URL+p)))
				f := look(t)
				require.Empty(t, f.Bad, "%s at %d %s", name, d.w, d.scheme)
				require.Greater(t, f.Texts, 5, name)
				least = min(least, f.Least)
			}
		}

		t.Logf("lowest text contrast %.2f", least)
	})

	t.Run("text of twice the size", func(t *testing.T) {
		require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 800, "", "light")))
		var bad []string
		for name, p := range withCards() {
			require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(srv.URL+p)))
			wide, err := chromedp.Run(ctx,
				chromedp.Evaluate[string](
					`document.documentElement.style.fontSize='200%'; document.documentElement.scrollWidth === innerWidth ? '' : [...document.querySelectorAll('main *')].filter(e => !e.closest('.scroll,svg') && e.getBoundingClientRect().right > innerWidth + 1).map(e => e.tagName + '.' + e.className + ' ' + e.textContent.trim().slice(0, 20)).slice(0, 5).join(' | ')`))
			require.NoError(t, err)
			if wide != "" {
				bad = append(bad, name+": "+wide)
			}
		}
		require.Empty(t, bad)
	})

	t.Run("above the fold", func(t *testing.T) {
		require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 640, "", "light")))
		for page, want := range map[string][]string{"go": {"GO", "Stops", "Water", "Jig"},
			"board": {"STOP", "Brandt River", "GO", "Tamsen River"}, "log": {"None", "Did not go"},
			"signup": {"Your mail address", "Rivers"}} {
			require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(srv.URL+paths()[page])))
			seen, err := chromedp.Run(ctx,
				chromedp.Evaluate[string](
					`[...document.querySelectorAll('main *')].filter(e => !e.children.length && e.getBoundingClientRect().bottom <= 640).map(e => e.textContent.trim()).join('|')`))
			require.NoError(t, err)
			for _, x := range want {
				require.Contains(t, seen, x, page)
			}
		}
	})

	t.Run("focus is visible", func(t *testing.T) {
		require.NoError(t, chromedp.Do(ctx, browsertest.Device(1280, 800, "", "light"),
			chromedp.Navigate(srv.URL+"/signup"), chromedp.KeyEvent("\t\t")))
		got, err := chromedp.Run(ctx,
			chromedp.Evaluate[string](
				`getComputedStyle(document.activeElement).outlineStyle + document.activeElement.tagName`))
		require.NoError(t, err)
		require.Equal(t, "solidA", got)
	})
	t.Run("verdicts differ without colour", func(t *testing.T) {
		require.NoError(t, chromedp.Do(ctx, browsertest.Device(360, 800, "", "light"),
			chromedp.Navigate(srv.URL+"/how")))
		got, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](`[...document.querySelectorAll('.v')].map(e => { const c = getComputedStyle(e), grey = s => { const m = s.match(/\d+/g).map(Number); return m.length > 3 && m[3] === 0 ? 'none' : Math.round((.3 * m[0] + .59 * m[1] + .11 * m[2]) / 24) };
			return [c.borderTopStyle, grey(c.borderTopColor), grey(c.backgroundColor), getComputedStyle(e, '::before').height, e.querySelectorAll('.staff .f').length, e.querySelectorAll('.staff .dash').length].join(' ') })`))
		require.NoError(t, err)
		require.Len(t, got, 5)
		seen := map[string]bool{}
		for _, g := range got {
			require.False(t, seen[g], "two verdicts look alike in grey: %q", got)
			seen[g] = true
		}
	})
	t.Run("print in dark mode", func(t *testing.T) { printed(ctx, t, srv.URL) })
	t.Run("no script runs", func(t *testing.T) { hostile(ctx, t) })
	t.Run("whole path", func(t *testing.T) { wholePath(ctx, t, "127.0.0.1") })
	// A club on plain http: browsers send no Sec-Fetch-Site there.
	t.Run("whole path on http", func(t *testing.T) { wholePath(ctx, t, "club.example") })
	shoot(ctx, t, srv.URL)
}
